"""Killing the daemon at named points, and the water's own account of it."""

import json
import os
import random
import select
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

from slackwater.facts.events import AnyEvent
from slackwater.facts.plan import Plan, PlanLine, Window
from slackwater.facts.tank import Machine
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import entries
from slackwater.outside.settings import read_machine
from slackwater.service.memory import LIVE_NAME
from tests.service.household import (
    MACHINE,
    TOP,
    Household,
    approve,
    enable,
    environment,
    household,
    until,
)
from tests.service.launch import NO_WISH

ANYWHERE = "anywhere"
SWAP = "setup_read"
# In an order in which each finds what it waits for: an intent that was never sent is
# voided at the next start, one that was sent is settled there. All of a cycle's points
# are reached, whatever the one before left behind.
POINTS = (
    "before_append:dose_intended>before_commit",
    "decided:dose_intended",
    "before_append:dose_intended",
    "appended:dose_intended",
    "before_append:dose_voided",
    "before_send",
    "appended:dose_voided",
    "sent",
    "heard:Handed",
    "heard:Result",
    "before_append:dose_taken",
    "appended:dose_taken",
    "before_append:dose_ended",
    "appended:dose_ended",
    SWAP,
    ANYWHERE,
)
# One microlitre a millisecond, in truth as by the plate: water and report agree to the
# drop, and a dose given twice cannot hide in a hose that gives a little less.
RATE_UL_PER_S = 1000
DOSE_UL, SWAPPED_UL = 200, 160
EVERY_S = 1
# A slow machine comes to the later lines: their doses are rarer, because every start
# lays out the doses of three days.
LATER_S = 4
LINES, LINE_MINUTES = 3, 4
# Far longer than a start, a second's wait for a dose and its deadline take.
PATIENCE_S = 30.0
DAY_MINUTES = 24 * 60


@dataclass(slots=True)
class Lane:
    """One household, the daemons that die in it, and the water as it was seen."""

    home: Household
    nursery: "subprocess.Popen[bytes]"
    chance: random.Random
    begun: datetime
    killed: Counter[str] = field(default_factory=Counter)
    seen: list[tuple[datetime, float]] = field(default_factory=list)
    swaps: int = 0

    def kill_at(self, wish: str, *, fresh: bool) -> None:
        """Start a daemon and let it die at a point; fresh: by a new interpreter."""
        if fresh and wish not in (ANYWHERE, SWAP):
            daemon = self.home.start(wish, "1")
            until(lambda: daemon.poll() is not None, f"death at {wish}")
            code = daemon.returncode
        else:
            code = self._kill_forked(wish)
        assert -signal.SIGKILL == code, f"{wish}: {code}"
        self.killed[wish] += 1
        self.look()

    def look(self) -> None:
        """Keep what the reef last wrote of its hoses."""
        account = json.loads((self.home.folder / "delivered.json").read_text())
        at = datetime.fromisoformat(account["at"])
        self.seen.append((at, float(account["delivered_ul"]["carbonate"])))

    def settle(self) -> None:
        """Let one daemon live until nothing is open, and end it in peace."""
        process = self._begin(NO_WISH)
        begun = datetime.now(UTC)
        until(lambda: self._is_settled(begun), "a settled ledger", PATIENCE_S)
        os.kill(process, signal.SIGTERM)
        assert 0 == self._answer()
        ended = datetime.now(UTC)
        until(lambda: self._is_past(ended), "the reef's last account")

    def events(self) -> list[AnyEvent]:
        """Every entry of the ledger."""
        with LedgerFile.open(self.home.state / LIVE_NAME, writable=False) as ledger:
            return [entry.event for entry in entries(ledger)]

    def _kill_forked(self, wish: str) -> int:
        if wish == ANYWHERE:
            process = self._begin(NO_WISH)
            time.sleep(self.chance.uniform(0.0, 1.5))  # the moment is the experiment
            os.kill(process, signal.SIGKILL)
            return self._answer()
        self._begin(wish)
        while wish == SWAP and not self._answers_within(1.5):
            self._swap()
        return self._answer()

    def _begin(self, wish: str) -> int:
        assert self.nursery.stdin is not None
        line = f"{wish} 1 {self.home.config} {self.home.state}\n"
        self.nursery.stdin.write(line.encode())
        self.nursery.stdin.flush()
        return self._answer()

    def _answers_within(self, wait_s: float) -> bool:
        assert self.nursery.stdout is not None
        return bool(select.select([self.nursery.stdout], [], [], wait_s)[0])

    def _answer(self) -> int:
        assert self.nursery.stdout is not None
        assert self._answers_within(PATIENCE_S), "the daemon neither came nor went"
        return int(self.nursery.stdout.readline())

    def _swap(self) -> None:
        """Another plan with the same identities, in force at once."""
        self.swaps += 1
        volume_ul = SWAPPED_UL if self.swaps % 2 else DOSE_UL
        approve(self.home, plan(self.begun, volume_ul), machine(self.home.config))

    def _is_settled(self, begun: datetime) -> bool:
        events = [event for event in self.events() if event.at >= begun]
        ended = {getattr(e, "attempt", "") for e in events if e.kind == "dose_ended"}
        begun_here = {e.command.attempt for e in events if e.kind == "dose_intended"}
        return bool(ended & begun_here)

    def _is_past(self, moment: datetime) -> bool:
        self.look()
        return self.seen[-1][0] > moment


def machine(config: Path) -> Machine:
    """The machine of the file with waits that no file may ask for."""
    read = read_machine(config)
    timing = replace(
        read.timing,
        start_hold_off_s=0.05,
        deadline_s=0.5,
        same_pump_gap_s=0.0,
        lateness_share=1.0,
    )
    pump = replace(read.pumps["carbonate"], smallest_dose_ul=100)
    return replace(read, timing=timing, pumps={"carbonate": pump})


def plan(begun: datetime, volume_ul: int) -> Plan:
    """A dose a second from a moment on, rarer ones for some minutes after these."""
    start = begun.hour * 60 + begun.minute
    lines = tuple(
        _line(start + LINE_MINUTES * n, LATER_S if n else EVERY_S, volume_ul)
        for n in range(LINES)
    )
    return Plan(name="kills", starts=begun.date(), lines=lines)


def _line(start: int, every_s: int, volume_ul: int) -> PlanLine:
    """Some minutes of doses; a line may have no more than 288 a day."""
    count = LINE_MINUTES * 60 // every_s
    return PlanLine(
        id=f"from-{start}",
        tank="reef",
        solution="carbonate",
        pump="carbonate",
        per_day_ul=count * volume_ul,
        count=count,
        windows=_windows(start % DAY_MINUTES),
    )


def _windows(start: int) -> tuple[Window, ...]:
    """The minutes of one line, in two windows where they pass midnight."""
    end = start + LINE_MINUTES
    evening = Window(start_minute=start, end_minute=min(end, DAY_MINUTES))
    if end <= DAY_MINUTES:
        return (evening,)
    return (Window(start_minute=0, end_minute=end - DAY_MINUTES), evening)


@contextmanager
def lane(folder: Path, seed: int) -> Iterator[Lane]:
    """A household with a plan in force and pumps enabled; ends what it started."""
    folder.mkdir()
    text = MACHINE.replace('"30 mL/min"', '"60 mL/min"')
    options = {"--reef": str(true_reef(folder)), "--beat-s": "0.1"}
    with household(folder, text, options) as home:
        begun = datetime.now(UTC)
        approve(home, plan(begun, DOSE_UL), machine(home.config))
        enable(home)
        with (folder / "daemon.log").open("ab") as log:
            nursery = subprocess.Popen(
                [sys.executable, "-m", "tests.service.launch", "--nursery"],
                cwd=TOP,
                env=environment(),
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=log,
                bufsize=0,
            )
        try:
            chance = random.Random(seed)  # noqa: S311 -- moments, not secrets
            yield Lane(home=home, nursery=nursery, chance=chance, begun=begun)
        finally:
            nursery.kill()
            nursery.communicate()


def true_reef(folder: Path) -> Path:
    """A reef file whose hose gives one microlitre a millisecond; its place."""
    reef = json.loads((TOP / "demo/reef/reef.json").read_text())
    head = reef["nodes"]["shelf"]["channels"]["a"]
    head["true_ul_per_s"] = float(RATE_UL_PER_S)
    head["nominal_ul_per_min"] = 60 * RATE_UL_PER_S
    path = folder / "reef.json"
    path.write_text(json.dumps(reef))
    return path
