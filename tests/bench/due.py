"""From the moment a dose is due to its command in the socket, beside a bare timer.

`python -m tests.bench.due [SECONDS] [ROUNDS]` lets a real daemon give an invented dose
every other second through a real Mosquitto. Its connections pass a tap, and the system
itself notes when the bytes of each command came out of the daemon's socket, so that
nobody's own slowness counts. In the seconds between, a bare process that does nothing
else waits for its moment and commits one row to SQLite with the same promises on the
same disk: the floor. Both fall due on whole seconds, as much else on a machine does.

The machine is shared and its noise is larger than what is looked for, so each dose is
compared with the floor a second later. What counts is the median of these ratios, round
by round, with the 95 % interval that the order of the ratios alone allows; the medians
and 99th percentiles of both stand beside it, and how busy the machine was.
"""

import os
import re
import select
import socket
import sqlite3
import statistics
import struct
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from math import comb
from pathlib import Path

from slackwater.facts.events import DoseEnded, DoseIntended
from slackwater.ledger.connection import PRAGMAS
from tests.outside.peers import LOOPBACK
from tests.service.floods import ledger_of
from tests.service.household import (
    MACHINE,
    TOP,
    Household,
    approve,
    dense_plan,
    enable,
    environment,
    household,
    until,
)
from tests.service.kills import DOSE_UL, machine, true_reef

SECONDS, ROUNDS = 60, 5
EVERY_S, MINUTES = 2, 8
GOAL = 1.5
# As long as the two entries of a dose that begins.
ROW = b"x" * 1400
# socket(7): a control message with the time the bytes arrived, as a timespec.
SO_TIMESTAMPNS = 35
TIMESPEC = struct.Struct("qq")
BYTES_AT_ONCE = 65_536
COMMAND = re.compile(rb'"act":"run","id":"([0-9a-f]{32})"')


@dataclass(slots=True)
class Tap:
    """Stands between a daemon and its broker; when each command came, by its id."""

    listening: socket.socket
    broker: int = 0
    commands: dict[str, float] = field(default_factory=dict)
    open: list[socket.socket] = field(default_factory=list)

    @property
    def port(self) -> int:
        """Where the daemon finds it."""
        return int(self.listening.getsockname()[1])

    def serve(self) -> None:
        """Take connections until it is closed, each with two threads of its own."""
        with suppress(OSError):
            while True:
                near, _ = self.listening.accept()
                far = socket.create_connection((LOOPBACK, self.broker))
                near.setsockopt(socket.SOL_SOCKET, SO_TIMESTAMPNS, 1)
                for one in (near, far):
                    one.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                self.open += [near, far]
                threading.Thread(target=self._pass_on, args=(near, far)).start()
                threading.Thread(target=self._pass_on, args=(far, near)).start()

    def close(self) -> None:
        """End it, and its threads."""
        for one in (self.listening, *self.open):
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()

    def _pass_on(self, source: socket.socket, target: socket.socket) -> None:
        room = socket.CMSG_SPACE(TIMESPEC.size)
        with suppress(OSError):
            while True:
                content, notes, _, _ = source.recvmsg(BYTES_AT_ONCE, room)
                if not content:
                    break
                target.sendall(content)
                # The daemon hears its commands again; those bytes bear no time.
                for found in COMMAND.finditer(content) if notes else ():
                    self.commands[found[1].decode()] = _moment_s(notes[0][2])
            target.shutdown(socket.SHUT_WR)


def _moment_s(timespec: bytes) -> float:
    seconds, nanoseconds = TIMESPEC.unpack(timespec)
    return float(seconds + nanoseconds / 1e9)


@contextmanager
def tapped() -> Iterator[Tap]:
    """A tap that listens; its broker is told later."""
    tap = Tap(listening=socket.create_server((LOOPBACK, 0)))
    thread = threading.Thread(target=tap.serve)
    thread.start()
    try:
        yield tap
    finally:
        tap.close()
        thread.join()


def stand_for_the_floor(folder: Path, phase: int) -> None:
    """Wait, commit, say how late it is; until whoever listens says that it is over.

    `phase` is what is left of the seconds it takes when they are halved.
    """
    with closing(sqlite3.connect(folder / "floor", isolation_level=None)) as file:
        for name, value, _ in PRAGMAS:
            file.execute(f"PRAGMA {name} = {value}")
        file.execute("CREATE TABLE entries (id INTEGER PRIMARY KEY, row BLOB)")
        while not select.select([sys.stdin], [], [], 0)[0]:
            soon_s = int(time.time()) + 1
            due_s = soon_s + (soon_s - phase) % EVERY_S
            time.sleep(max(0.0, due_s - time.time()))  # the timer of the experiment
            file.execute("BEGIN IMMEDIATE")
            file.execute("INSERT INTO entries (row) VALUES (?)", (ROW,))
            file.execute("COMMIT")
            sys.stdout.write(f"{due_s} {time.time() - due_s}\n")


@contextmanager
def floor(folder: Path, phase: int) -> Iterator[dict[int, float]]:
    """The bare process; by the second how late it was, once it has ended."""
    late_s: dict[int, float] = {}
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.bench.due", "--floor", str(folder), str(phase)],
        cwd=TOP,
        env=environment(),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        yield late_s
    finally:
        told, _ = process.communicate("over\n")
        for line in told.splitlines():
            due_s, late = line.split()
            late_s[int(due_s)] = float(late)


@contextmanager
def dosing(folder: Path) -> Iterator[tuple[Household, Tap]]:
    """A household whose daemon doses every other second; its first dose has ended."""
    options = {"--reef": str(true_reef(folder)), "--beat-s": "5"}
    with tapped() as tap:
        text = MACHINE.replace('"30 mL/min"', '"60 mL/min"')
        text = text.replace("PORT", str(tap.port))
        with household(folder, text, options) as home:
            tap.broker = home.port
            plan = dense_plan(datetime.now(UTC), MINUTES, EVERY_S, DOSE_UL)
            approve(home, plan, machine(home.config))
            enable(home)
            home.start()
            until(lambda: has_dosed(home), "a dose")
            yield home, tap


def has_dosed(home: Household) -> bool:
    """Whether a dose has ended."""
    return any(isinstance(event, DoseEnded) for event in ledger_of(home))


def measure(folder: Path, span_s: float) -> list[tuple[float, float]]:
    """Seconds from due: to each command of a span, and of the floor beside it."""
    folder.mkdir()
    with dosing(folder) as (home, tap):
        phase = 1 + int(min(due_by_name(home).values()))
        with floor(folder, phase % EVERY_S) as bare_s:
            time.sleep(span_s)  # the span is the experiment
        due_s = due_by_name(home)
    return [
        (at - due_s[name], bare_s[int(due_s[name]) + 1])
        for name, at in tap.commands.items()
        if name in due_s and int(due_s[name]) + 1 in bare_s
    ]


def due_by_name(home: Household) -> dict[str, float]:
    """When each dose that was decided fell due, by the name of its command."""
    return {
        event.command.attempt: event.dose.due_at.timestamp()
        for event in ledger_of(home)
        if isinstance(event, DoseIntended)
    }


def middle(sorted_values: Sequence[float]) -> tuple[float, float, float]:
    """The median with its 95 % interval, which no shape of their spread can widen.

    Source: the count of values below the median is binomial, one half each; W. J.
    Conover, Practical Nonparametric Statistics, 3rd ed. (1999), section 3.2.
    """
    count = len(sorted_values)
    below, rank = 0.0, 0
    while rank < count // 2:
        below += comb(count, rank) / 2**count
        if below > 0.025:
            break
        rank += 1
    low = max(rank - 1, 0)
    return (
        statistics.median(sorted_values),
        sorted_values[low],
        sorted_values[count - 1 - low],
    )


def words(name: str, late_s: list[float]) -> str:
    """Median and 99th percentile, briefly."""
    p50, p99 = statistics.median(late_s), statistics.quantiles(late_s, n=100)[98]
    return f"{name} p50 {1000 * p50:.1f} ms, p99 {1000 * p99:.1f} ms"


def told(found: list[tuple[float, float]]) -> str:
    """All there is to say of some pairs, on one line."""
    ratio, low, high = middle(sorted(ours / bare for ours, bare in found))
    return (
        f"{ratio:.2f} times the floor ({low:.2f} to {high:.2f}, {len(found)} pairs); "
        f"{words('daemon', [ours for ours, _ in found])}; "
        f"{words('floor', [bare for _, bare in found])}; "
        f"load {os.getloadavg()[0]:.1f}"
    )


def main() -> None:
    """Measure some rounds, print each and all of them together."""
    span_s = float(sys.argv[1]) if len(sys.argv) > 1 else SECONDS
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else ROUNDS
    found: list[tuple[float, float]] = []
    kept = 0
    for number in range(rounds):
        with tempfile.TemporaryDirectory() as name:
            these = measure(Path(name) / "home", span_s)
        found += these
        kept += statistics.median(ours / bare for ours, bare in these) <= GOAL
        sys.stdout.write(f"{number + 1}: {told(these)}\n")
        sys.stdout.flush()
    sys.stdout.write(f"all: {told(found)}\n")
    sys.stdout.write(f"{kept} of {rounds} rounds at most {GOAL} times the floor\n")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--floor"]:
        stand_for_the_floor(Path(sys.argv[2]), int(sys.argv[3]))
    else:
        main()
