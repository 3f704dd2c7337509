"""The show: an invented reef, from its files to the final table, in real time.

Outside every floor; never imports Slackwater: it speaks the command line and looks at
the reef's own account. One subject: the order of the show. Laws here: the exit code
says whether ledger and water agree; nothing is shown that was not asked of the
program at that moment.
"""

import argparse
import json
import math
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from demo.house import House, ShowError, free_port, until

CONFIG = Path(__file__).resolve().parent / "config"
PUMPS = ("carbonate", "calcium")
RUNS = 3
# How the program asks what a shot gave.
ASKED = "Measured in the cylinder"
# Invented drop tests, a day apart, the newest an hour ago: 0.45 dKH a day are used.
TESTS_DKH = (10.72, 10.21, 9.84, 9.33, 8.91, 8.41, 8.02)
SAMPLED_DAYS_AGO = 3
# The solutions take turns, since they must not meet in the water: both are dosed every
# 24 s, and what begins a minute earlier comes in the middle between the other's doses.
DOSES = 15
MINUTES = 6
EARLIER_MINUTES = {"carbonate": 0, "calcium": 1}
# Nothing of the show may fall on another day of the reef's: near midnight it lies where
# it is about noon of the same date.
NOON_ZONES = {0: "Etc/GMT-12", 23: "Etc/GMT+12"}
# Ledger and water may differ by what a pump's rate differs from its calibration, and
# by the moments a busy machine lets the virtual output run on, whatever the volume; a
# pump at fault gives half as much again.
AGREE_PERCENT = 5.0
AGREE_UL = 100.0
MINUTE_S = 60
# With a space before each word and the sign that the line goes on.
TYPED_COLUMNS = 76
# Of a dose that is to be cut short: so much has flowed when the daemon is killed.
KILL_AFTER_UL = 200.0
# Longest waits: for a dose of either pump, and for one of each.
DOSE_S = 60.0
EACH_S = 150.0
SWING = {"tank": "reef", "dkh_per_s": 0.25, "until_dkh": 10.2}


class Show:
    """One run of the show in one household."""

    def __init__(self, house: House, fault: str, *, embedded: bool) -> None:
        """Keep the house, the fault of the live part, and which broker is wanted."""
        self.house = house
        self.fault = fault
        self.embedded = embedded
        self.begin_s = time.monotonic()
        self.zone = zone_of(datetime.now(UTC))
        self.start_ul: dict[str, float] = {}

    def say(self, text: str) -> None:
        """One line with the seconds since the show began."""
        passed_s = time.monotonic() - self.begin_s
        sys.stdout.write(f"[{passed_s:5.1f} s] {text}\n")
        sys.stdout.flush()

    def run(self) -> bool:
        """The whole show; True when the accounts agree."""
        self.say("An invented reef: 200 L, two pumps, one node, one probe.")
        broker = self.house.start_broker(embedded=self.embedded)
        self.say(f"Broker: {broker} on the loopback.")
        self.house.start_reef()
        self.prepare()
        self.live()
        return self.compare()

    def prepare(self) -> None:
        """Ledger, tests, proposal, calibration, check, rehearsal, approval."""
        write_machine(self.house, self.zone)
        self.command("init", "--dosed-nothing", "--by", "demo", show=4)
        self.take_tests()
        for pump in PUMPS:
            self.calibrate(pump)
        self.propose()
        self.command("check", show=60)
        # An approval wants a fortnight ahead.
        self.command("rehearse", "--faults", "--days", "14", show=12)
        highest = self.document("check")["highest_daily_ul"]
        volume = f"{math.ceil(int(str(highest)) / 1000)} mL"
        self.command("approve", "--now", "--by", "demo", "--yes-highest-daily", volume)

    def take_tests(self) -> None:
        """Hand tests of the last days and a laboratory's report, and what they say."""
        self.say("The keeper's drop tests of the last days, while nothing was dosed:")
        now = datetime.now(UTC) - timedelta(hours=1)
        undosed = (now - timedelta(days=len(TESTS_DKH))).strftime("%Y-%m-%dT%H:%M:%SZ")
        self.command("event", "nothing_dosed", "--at", undosed, "--by", "demo")
        for number, level in enumerate(TESTS_DKH, start=1 - len(TESTS_DKH)):
            at = (now + timedelta(days=number)).strftime("%Y-%m-%dT%H:%M:%SZ")
            words = ("record", f"alkalinity={level} dKH", "--at", at)
            self.quietly(*words, "--method", "drops", "--by", "demo")
        levels = ", ".join(f"{level:.2f}" for level in TESTS_DKH)
        sys.stdout.write(f"  alkalinity {levels} dKH, a day apart\n")
        others = ("record", "calcium=416 mg/L", "magnesium=1300 mg/L")
        self.command(*others, "--method", "drops", "--by", "demo", show=5)
        sampled = (now - timedelta(days=SAMPLED_DAYS_AGO)).strftime(
            "%Y-%m-%dT%H:%M:%SZ"
        )
        report = ("import", str(CONFIG / "report.csv"), "--sampled-at", sampled)
        self.command(*report, "--by", "demo", show=8)
        self.command("assess", show=30)

    def propose(self) -> None:
        """The plan that the tests ask for, in the minutes of this show."""
        path = self.house.config / "plan.toml"
        now = datetime.now(ZoneInfo(self.zone))
        words = ("--write", str(path), "--from", str(now.date()))
        self.command("propose", *words, show=13)
        path.write_text(in_these_minutes(path.read_text(), now))
        self.say("So that there is something to see, its doses are moved to these")
        self.say("minutes, the solutions in turn; the amounts as proposed.")

    def calibrate(self, pump: str) -> None:
        """Short and long shots into an imagined cylinder, and what they come to."""
        document = self._shots(pump)
        if not document.get("ok"):
            message = f"calibrate {pump} was refused: {document.get('errors')}"
            raise ShowError(message)
        rate = document["rate_nl_per_s"] * MINUTE_S / 1_000_000
        self.say(f"Calibrated {pump}: {rate:.2f} mL/min from {RUNS} shots.")

    def _shots(self, pump: str) -> dict[str, Any]:
        """What the program says of a few shots: the reef's own hose is the measure."""
        volumes = ["--volume", "0.5 mL", "--volume", "1 mL"]
        # A short show: the virtual pump is steady, so a few single shots will do.
        few = ["--runs", str(RUNS), "--shots", "1"]
        words = ["calibrate", pump, *few, *volumes, "--by", "demo", "--json"]
        process = subprocess.Popen(
            [*self.house.slackwater(), *words],
            cwd=CONFIG.parents[1],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        total = self.house.truth()[pump]
        if process.stdin is not None:
            # The outlet hangs in a cylinder, and the hose is full.
            process.stdin.write("yes\nyes\n")
            process.stdin.flush()
        for _ in range(RUNS):
            total = self._measure(process, pump, total)
        output, _ = process.communicate("yes\nyes\nyes\n")
        return dict(json.loads(output or "{}"))

    def _measure(
        self, process: "subprocess.Popen[str]", pump: str, before: float
    ) -> float:
        """Type in what the cylinder shows, once the program asks for it."""
        if process.stdin is None or process.stderr is None:
            message = "the calibration cannot be answered"
            raise ShowError(message)
        said = ""
        while ASKED not in said and (letter := process.stderr.read(1)):
            said += letter
        if ASKED not in said:
            # It gave up; its document says why.
            return before
        total = self.house.truth(datetime.now(UTC))[pump]
        process.stdin.write(f"{(total - before) / 1000:.3f} mL\n")
        process.stdin.flush()
        return total

    def live(self) -> None:
        """Shadow, enabling, live doses, kill -9 mid-dose, a swing and its hold."""
        self.start_ul = self.house.truth()
        self.house.control(self._faults())
        if self.fault == "over-deliver":
            self.say("Fault on: the carbonate hose gives 1.6 times what is reported.")
        self.say("The daemon starts, in shadow: it commands nothing.")
        daemon = self.house.start_daemon()
        until(self.has_imagined_a_dose, "a dose of the shadow run", DOSE_S)
        self.command("status", show=16)
        self.command("enable", "--by", "demo")
        self.say("Enabled. From here on doses are live.")
        until(self.believed, "a live dose", DOSE_S)
        self.say("The first live dose has ended, by the node's own word.")
        flowed = self.flowed_ul() + KILL_AFTER_UL
        until(lambda: self.flowed_ul() > flowed, "the dose to kill in", DOSE_S)
        daemon.kill()
        daemon.wait()
        self.say("kill -9 in the middle of a dose. The node ends it by itself.")
        self.house.start_daemon()
        self.say("Restarted. An open intent is settled by proof, never sent again.")
        until(lambda: len(self.believed()) == len(PUMPS), "a dose of each", EACH_S)
        self.house.control(self._faults() | {"swing": SWING})
        self.say("Alkalinity starts to climb, by a hand we do not know.")
        until(self.is_held, "the hold of the ceiling", 40)
        self.say("Held, and it says why:")
        self.command("status", show=16)

    def _faults(self) -> dict[str, object]:
        if self.fault == "over-deliver":
            return {"over-deliver": {"carbonate": 1.6}}
        return {}

    def has_imagined_a_dose(self) -> bool:
        """Whether the shadow run, in a ledger of its own, has come through a dose."""
        begun = (self.house.state / "shadow.ledger").exists()
        return begun and bool(self.entries("dose_ended", "--shadow"))

    def is_held(self) -> bool:
        """Whether the ledger holds an entry of a raised ceiling hold."""
        return any(
            "alkalinity-ceiling" in json.dumps(entry)
            for entry in self.entries("hold_raised")
        )

    def flowed_ul(self) -> float:
        """What all hoses gave since the daemon started, by the reef's own account."""
        return sum(self.house.truth().values()) - sum(self.start_ul.values())

    def entries(self, kind: str, *more: str) -> list[dict[str, object]]:
        """Ledger entries of one kind, as the program exports them."""
        found = self.document("ledger", "--kind", kind, *more)["entries"]
        return list(found) if isinstance(found, list) else []

    def command(self, *words: str, show: int = 3) -> None:
        """Run one command, show the first lines of what it prints, say what is left."""
        done = self.house.call(*words)
        sys.stdout.write(f"\n{as_typed(words)}\n")
        text = done.stdout if done.returncode == 0 else done.stdout + done.stderr
        lines = [line for line in text.splitlines() if line.strip()]
        for line in lines[:show]:
            sys.stdout.write(f"  {line}\n")
        if lines[show:]:
            sys.stdout.write(f"  … {len(lines) - show} lines more\n")
        if done.returncode:
            message = f"`slackwater {words[0]}` ended with {done.returncode}"
            raise ShowError(message)

    def quietly(self, *words: str) -> None:
        """Run one command of which nothing needs to be seen.

        Raises: ShowError when it ends with anything but 0.
        """
        done = self.house.call(*words)
        if done.returncode:
            message = f"`slackwater {words[0]}`: {done.stdout}{done.stderr}"
            raise ShowError(message)

    def document(self, *words: str) -> dict[str, object]:
        """What a command answers as a document.

        Raises: ShowError when it is refused.
        """
        done = self.house.call(*words, "--json")
        if done.returncode:
            message = f"`slackwater {words[0]}`: {done.stdout}{done.stderr}"
            raise ShowError(message)
        return dict(json.loads(done.stdout))

    def compare(self) -> bool:
        """The final table: ledger against the water; True when they agree."""
        until(lambda: not self.open_runs(), "the last run to be settled", 40)
        ledger = self.believed()
        truth = self.house.truth()
        sys.stdout.write("\n  pump        by ledger    by the water   difference\n")
        agree = True
        for pump in PUMPS:
            given = truth[pump] - self.start_ul[pump]
            by_ledger = ledger.get(pump, 0.0)
            percent = 100 * abs(given - by_ledger) / max(by_ledger, 1.0)
            most = AGREE_UL + by_ledger * AGREE_PERCENT / 100
            agree = agree and abs(given - by_ledger) <= most and by_ledger > 0
            sys.stdout.write(
                f"  {pump:<10}{by_ledger / 1000:9.3f} mL{given / 1000:13.3f} mL"
                f"{percent:11.2f} %\n"
            )
        words = "agree" if agree else "DO NOT AGREE"
        within = f"within {AGREE_PERCENT:.0f} % and {AGREE_UL / 1000} mL"
        self.say(f"Ledger and water {words} ({within}).")
        return agree

    def open_runs(self) -> bool:
        """Whether an intent has no end in the ledger yet."""
        ends = ("dose_ended", "dose_voided", "dose_sealed")
        closed = {entry["attempt"] for kind in ends for entry in self.entries(kind)}
        return any(
            attempt_of(entry) not in closed for entry in self.entries("dose_intended")
        )

    def believed(self) -> dict[str, float]:
        """What the ledger believes each pump gave to the water, µL."""
        pumps = {
            attempt_of(entry): inner(entry, "dose", "pump")
            for entry in self.entries("dose_intended")
            if entry["in_water"]
        }
        sums: dict[str, float] = {}
        for entry in self.entries("dose_ended"):
            pump = pumps.get(str(entry["attempt"]))
            if pump:
                sums[pump] = sums.get(pump, 0.0) + float(str(entry["believed_ul"]))
        return sums


def as_typed(words: Sequence[str]) -> str:
    """A command as a person types it, on as many lines of a shell as it needs."""
    parts = [shlex.quote(word) for word in words]
    lines = ["$ slackwater"]
    for part in parts:
        if len(lines[-1]) + len(part) > TYPED_COLUMNS:
            lines[-1] += " \\"
            lines.append("   ")
        lines[-1] += f" {part}"
    return "\n".join(lines)


def inner(entry: Mapping[str, object], outer: str, name: str) -> str:
    """One text inside a record of an entry, empty when it is not there."""
    record = entry.get(outer)
    return str(record.get(name, "")) if isinstance(record, dict) else ""


def attempt_of(entry: Mapping[str, object]) -> str:
    """The attempt an intent was sent as."""
    return inner(entry, "command", "attempt")


def write_machine(house: House, zone: str) -> None:
    """The demo's machine file with this broker's port, its reef in a time zone."""
    house.config.mkdir(exist_ok=True)
    machine = (CONFIG / "slackwater.toml").read_text()
    machine = machine.replace("port = 1883", f"port = {house.port}")
    machine = machine.replace('zone = "UTC"', f'zone = "{zone}"')
    (house.config / "slackwater.toml").write_text(machine)


def zone_of(now: datetime) -> str:
    """Where the reef lies, so that midnight does not come into its show."""
    return NOON_ZONES.get(now.hour, "UTC")


def in_these_minutes(plan: str, now: datetime) -> str:
    """A plan with its solutions' windows moved to the minutes from now on.

    Amounts, days and everything else stay as they were proposed. `now` is the time on
    the reef's own clock, with half an hour of the same day before and after it.
    """
    blocks = plan.split("[[line]]")
    for number, block in enumerate(blocks):
        for pump, earlier in EARLIER_MINUTES.items():
            if f'pump = "{pump}"' in block:
                start = now - timedelta(minutes=earlier)
                end = start + timedelta(minutes=MINUTES)
                window = f'windows = ["{start:%H:%M}-{end:%H:%M}"]'
                moved = re.sub(r"windows = .*", window, block)
                blocks[number] = re.sub(r"doses = \d+", f"doses = {DOSES}", moved)
    return "[[line]]".join(blocks)


def main() -> int:
    """Run the show; 0 when ledger and water agree, 1 when not, 2 when it broke."""
    parser = argparse.ArgumentParser(prog="demo/run", description=__doc__)
    parser.add_argument("--fault", choices=("over-deliver",), default="")
    parser.add_argument("--keep", action="store_true", help="keep the folder")
    parser.add_argument(
        "--embedded", action="store_true", help="use the embedded broker in any case"
    )
    wishes = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="slackwater-demo-"))
    house = House(folder=folder, port=free_port())
    house.state.mkdir()
    try:
        show = Show(house, wishes.fault, embedded=wishes.embedded)
        return 0 if show.run() else 1
    except ShowError as error:
        sys.stderr.write(f"demo: {error}\n  Logs: {folder}\n")
        wishes.keep = True
        return 2
    finally:
        house.close()
        if not wishes.keep:
            shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    sys.exit(main())
