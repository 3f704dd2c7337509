"""A whole invented household for tests: broker, reef, configuration, daemon."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from types import MappingProxyType
from typing import cast

from slackwater.errors import LedgerBusyError, LedgerMovedError
from slackwater.facts.events import (
    AnyEvent,
    LedgerMade,
    PlanApproved,
    PumpsDisabled,
    PumpsEnabled,
)
from slackwater.facts.now import proven_ms
from slackwater.facts.plan import Approval, Plan, PlanLine, Window
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.ledger.store import LedgerFile
from slackwater.outside.approved import machine_text, plan_text
from slackwater.outside.clock import SystemClock
from slackwater.outside.settings import read_machine
from slackwater.pump.outcome import Stamp
from slackwater.service.memory import LIVE_NAME, read_state
from tests.outside.peers import LOOPBACK, Broker, free_port

TOP = Path(__file__).resolve().parents[2]
WAIT_S = 40.0
DAY_MINUTES = 1440

MACHINE = """
site = "home"
[tank.reef]
name = "Invented reef"
net_volume = "200 L"
zone = "UTC"
targets = { alkalinity = "8.0 dKH" }
[tank.reef.caps]
alkalinity = { gross = "5 dKH/day" }
[solution.carbonate]
formula = "Na2CO3"
hydrate = "anhydrous"
strength = "100 g/L"
purity = "100 %"
[reservoir.carbonate]
content = "2 L"
[node.shelf]
day_limit = "120 mL"
longest_run = "20 s"
[pump.carbonate]
tank = "reef"
node = "shelf"
channel = "a"
solution = "carbonate"
reservoir = "carbonate"
rate = "30 mL/min"
smallest_dose = "0.5 mL"
most_per_dose = "4 mL"
most_per_day = "100 mL"
most_per_calibration = "60 mL"
[broker]
host = "127.0.0.1"
port = PORT
[timing]
start_hold_off = "1 s"
start_beats = 1
same_pump_gap = "1 s"
clock_confirmed = true
starts_allowed = 1000
"""


@dataclass(slots=True)
class Household:
    """Where everything of one test is, and what runs."""

    folder: Path
    port: int
    reef: "subprocess.Popen[bytes]"
    broker: Broker
    daemons: "list[subprocess.Popen[bytes]]" = field(default_factory=list)

    @property
    def config(self) -> Path:
        """The configuration directory."""
        return self.folder / "config"

    @property
    def state(self) -> Path:
        """The state directory."""
        return self.folder / "state"

    def start(self, *launcher: str) -> "subprocess.Popen[bytes]":
        """Start the daemon, through a launcher module's arguments if given."""
        command = [sys.executable, "-m", "tests.service.launch", *launcher]
        places = [str(self.config), str(self.state)]
        with (self.folder / "daemon.log").open("ab") as log:
            daemon = subprocess.Popen(
                [*command, *places], cwd=TOP, env=environment(), stderr=log, stdout=log
            )
        self.daemons.append(daemon)
        return daemon

    def events(self) -> list[AnyEvent]:
        """Everything in the live ledger, the first thousand entries."""
        with LedgerFile.open(self.state / LIVE_NAME, writable=False) as ledger:
            return [entry.event for entry in ledger.load().entries]

    def append(self, make: Callable[[State, Stamp], AnyEvent]) -> None:
        """Append one entry as a person on the machine would, anew when overtaken."""
        until(lambda: self._appends(make), "an entry of a person")

    def _appends(self, make: Callable[[State, Stamp], AnyEvent]) -> bool:
        try:
            with LedgerFile.open(self.state / LIVE_NAME) as ledger:
                state = read_state(ledger)
                ledger.append([make(state, stamp_of(state))])
        except (LedgerMovedError, LedgerBusyError):
            return False
        return True

    def delivered_ul(self) -> float:
        """The reef's own integral of what its first hose gave, in µL."""
        account = json.loads((self.folder / "delivered.json").read_text())
        return float(account["delivered_ul"]["carbonate"])

    def control(self, faults: dict[str, object]) -> None:
        """Switch faults of the reef on."""
        path = self.folder / "control.json"
        fresh = path.with_suffix(".new")
        fresh.write_text(json.dumps(faults))
        fresh.replace(path)


def stamp_of(state: State) -> Stamp:
    """The clocks of now for an entry on top of a state."""
    now = SystemClock().now()
    passed = 0 if state.mark is None else proven_ms(state.mark, now)
    return {"at": now.utc, "boot_s": now.boot_s, "proven_ms": passed}


def until(question: Callable[[], bool], what: str, wait_s: float = WAIT_S) -> None:
    """Wait for a condition, polled, with a deadline."""
    end = time.monotonic() + wait_s
    while not question():
        if time.monotonic() > end:
            message = f"not seen within {wait_s} s: {what}"
            raise AssertionError(message)
        time.sleep(0.05)


def dense_plan(begin: datetime, minutes: int, every_s: int, ul: int) -> Plan:
    """Doses every so many seconds for some minutes from now, for tests only.

    What lies beyond midnight stands at the begin of the day, for the plan is daily.
    """
    start = begin.hour * 60 + begin.minute
    end = start + minutes
    count = minutes * 60 // every_s
    windows = [Window(start_minute=start, end_minute=min(end, DAY_MINUTES))]
    if end > DAY_MINUTES:
        windows.insert(0, Window(start_minute=0, end_minute=end - DAY_MINUTES))
    line = PlanLine(
        id="carbonate",
        tank="reef",
        solution="carbonate",
        pump="carbonate",
        per_day_ul=count * ul,
        count=count,
        windows=tuple(windows),
    )
    return Plan(name="test", starts=begin.date(), lines=(line,))


def approve(home: Household, plan: Plan, resolved: Machine | None = None) -> None:
    """Approve a plan that takes over at once; the machine is the file's or another."""
    machine = resolved or read_machine(home.config)

    def made(state: State, stamp: Stamp) -> AnyEvent:
        approval = Approval(
            serial=state.last_serial + 1,
            digest="0" * 64,
            takes_over_at=stamp["at"],
            expires_at=stamp["at"] + timedelta(days=180),
            by="keeper",
            highest_daily_ul=48_000,
        )
        return PlanApproved(
            **stamp,
            approval=approval,
            machine=machine_text(machine),
            plan=plan_text(plan),
            files={},
        )

    home.append(made)


def enable(home: Household) -> None:
    """Let the daemon command pumps."""

    def made(_state: State, stamp: Stamp) -> AnyEvent:
        return PumpsEnabled(**stamp, by="keeper", serial=1)

    home.append(made)


def disable(home: Household) -> None:
    """Back to shadow."""

    def made(_state: State, stamp: Stamp) -> AnyEvent:
        return PumpsDisabled(**stamp, by="keeper")

    home.append(made)


@contextmanager
def household(
    folder: Path,
    machine: str = MACHINE,
    reef: Mapping[str, str] = MappingProxyType({}),
) -> Iterator[Household]:
    """Broker, reef and an empty ledger; ends everything it started.

    `machine` is the text of the machine file, `reef` further options of the reef.
    """
    port = free_port()
    broker = Broker(folder / "mosquitto.conf", port, ("allow_anonymous true",))
    broker.start()
    (folder / "config").mkdir()
    (folder / "state").mkdir()
    text = machine.replace("PORT", str(port))
    (folder / "config" / "slackwater.toml").write_text(text)
    _make_ledger(folder / "state")
    home = Household(
        folder=folder, port=port, reef=_start_reef(folder, port, reef), broker=broker
    )
    try:
        yield home
    finally:
        for process in (*home.daemons, home.reef):
            _end(process)
        home.broker.stop()


def _make_ledger(state: Path) -> None:
    now = SystemClock().now()
    made = LedgerMade(
        at=now.utc,
        boot_s=now.boot_s,
        proven_ms=0,
        ledger_id="test",
        boot_id=now.boot_id,
        answered=True,
        by="keeper",
    )
    LedgerFile.create(state / LIVE_NAME, made).close()


def _start_reef(
    folder: Path, port: int, more: Mapping[str, str]
) -> "subprocess.Popen[bytes]":
    options = {
        "--host": LOOPBACK,
        "--port": str(port),
        "--delivered": str(folder / "delivered.json"),
        "--control": str(folder / "control.json"),
        "--beat-s": "0.5",
        "--reading-s": "2",
        "--self-test-s": "0.1",
        **more,
    }
    flat = [word for pair in options.items() for word in pair]
    with (folder / "reef.log").open("wb") as log:
        return subprocess.Popen(
            [sys.executable, "-m", "demo.reef", *flat],
            cwd=TOP,
            env=environment(),
            stderr=log,
            stdout=log,
        )


def environment() -> dict[str, str]:
    """What a process of ours needs to find the source."""
    paths = os.pathsep.join((str(TOP / "daemon"), str(TOP)))
    return {**os.environ, "PYTHONPATH": paths}


def _end(process: "subprocess.Popen[bytes]") -> None:
    if process.poll() is None:
        process.send_signal(signal.SIGTERM)
        try:
            process.wait(timeout=35)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def today() -> date:
    """The date of the tests' zone."""
    return datetime.now(UTC).date()


def kinds(events: list[AnyEvent]) -> list[str]:
    """The kinds of entries in order."""
    return [cast("str", event.kind) for event in events]
