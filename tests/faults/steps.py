"""The daemon dies at one bytecode after another, from deciding a dose to settling it.

`python -m tests.faults.steps KILLS [SEED]` sails to a minute before a dose is due, then
forks: each child starts a daemon on its own copy of the ledger, counts the bytecodes of
the project's own code from the due moment on, and ends the daemon at its own one; it
sails on with a new daemon, and the judge looks at the water. The kills are laid evenly
over all bytecodes there are until the dose is settled.

It covers every point inside the daemon's own code. What is inside SQLite or the system
it does not: there the system calls are struck (`test_system_calls.py`), and the real
process is killed (`tests/service/test_kills.py`).
"""

import json
import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import FrameType

from tests.faults import judge
from tests.faults.sea import SECOND_MS, Sea, embark
from tests.faults.voyage import SHELF, evidence, flows_of
from tests.properties.play import hush
from tests.properties.shell import CrashError

OURS = f"{os.sep}slackwater{os.sep}"
# A daemon has heard its nodes so long before the dose is due; all is settled after it.
BEFORE_MS, AFTER_MS = 40 * SECOND_MS, 60 * SECOND_MS
LATER_MS = 12 * 60 * SECOND_MS
DAYS = 3.0
Trace = Callable[[FrameType, str, object], "Trace | None"]
SEED = 5


@dataclass(slots=True)
class Counter:
    """Counts bytecodes of our own code, and ends the daemon at one; 0: never."""

    last: int = 0
    count: int = 0

    def look(self, frame: FrameType, _event: str, _about: object) -> "Trace | None":
        """One new frame: only ours are counted."""
        if OURS not in frame.f_code.co_filename:
            return None
        frame.f_trace_opcodes = True
        frame.f_trace_lines = False
        return self._step

    def _step(self, _frame: FrameType, event: str, _about: object) -> "Trace":
        if event == "opcode":
            self.count += 1
            if self.count == self.last:
                sys.settrace(None)
                raise CrashError
        return self._step


@dataclass(slots=True, kw_only=True)
class Killed:
    """One life that was ended: where, and what came of it."""

    at: int
    counted: int
    flows: int
    broken: list[str]


@contextmanager
def counted(counter: Counter) -> Iterator[None]:
    """Let the counter see all that happens inside, and nothing after."""
    sys.settrace(counter.look)
    try:
        yield
    finally:
        sys.settrace(None)


def before_a_dose(seed: int, folder: Path) -> Sea:
    """A calm household whose daemon is away, shortly before its second dose is due."""
    sea = embark(seed, DAYS, folder)
    # Nobody visits, nothing befalls: the kill is all there is.
    sea.later.clear()
    sea.run(sea.ends_ms // 3)
    while sea.daemon is None or sea.daemon.wake_ms - sea.times.t_ms < 2 * BEFORE_MS:
        sea.run(sea.times.t_ms + BEFORE_MS // 2)
    due_ms = sea.daemon.wake_ms
    sea.run(due_ms - BEFORE_MS)
    sea.daemon, sea.starts_at_ms = None, None
    sea.disk.look_anew()
    sea.ends_ms = due_ms + LATER_MS
    return sea


def live_and_die(sea: Sea, folder: Path, at: int) -> Killed:
    """In a process of its own: one life on a copy, ended at a bytecode, and another."""
    copy = folder / f"{os.getpid()}"
    shutil.copytree(sea.disk.folder, copy)
    sea.disk.folder = copy
    due_ms = sea.ends_ms - LATER_MS
    sea.starts_at_ms, sea.down_for_ms = sea.times.t_ms, SECOND_MS
    sea.run(due_ms - 1)
    counter = Counter(at)
    with counted(counter):
        sea.run(due_ms + AFTER_MS)
    sea.run(sea.ends_ms)
    found = judge.findings(evidence(sea))
    shutil.rmtree(copy)
    return Killed(at=at, counted=counter.count, flows=len(flows_of(sea)), broken=found)


def forked(sea: Sea, folder: Path, at: int) -> Killed:
    """The same from a child; a child that falls over is a finding."""
    mouth, ear = os.pipe()
    child = os.fork()
    if child == 0:
        code = 1
        try:
            made = live_and_die(sea, folder, at)
            words = [made.at, made.counted, made.flows, made.broken]
            os.write(ear, json.dumps(words).encode()[:4000])
            code = 0
        finally:
            os._exit(code)
    os.close(ear)
    said = b"".join(iter(lambda: os.read(mouth, 4096), b""))
    os.close(mouth)
    _, status = os.waitpid(child, 0)
    if status or not said:
        return Killed(at=at, counted=0, flows=0, broken=["the process fell over"])
    at, count, flows, broken = json.loads(said)
    return Killed(at=at, counted=count, flows=flows, broken=broken)


def kills(seed: int, many: int) -> tuple[int, list[Killed]]:
    """How many bytecodes there are, and what came of so many kills among them."""
    hush()
    with tempfile.TemporaryDirectory(dir=SHELF if SHELF.is_dir() else None) as name:
        folder = Path(name)
        (folder / "home").mkdir()
        sea = before_a_dose(seed, folder / "home")
        whole = forked(sea, folder, 0)
        if whole.broken or not whole.counted:
            return 0, [whole]
        points = sorted({1 + whole.counted * n // many for n in range(many)})
        return whole.counted, [forked(sea, folder, at) for at in points]


def main() -> int:
    """Kill, print, end with 1 when any life broke a law."""
    many = int(sys.argv[1])
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else SEED
    total, lives = kills(seed, many)
    broken = [life for life in lives if life.broken]
    sys.stdout.write(
        f"{len(lives)} kills among {total} bytecodes from due to settled, "
        f"{len(broken)} broke a law\n"
    )
    for life in broken[:10]:
        sys.stdout.write(f"  at {life.at}: {'; '.join(life.broken[:3])}\n")
    return int(bool(broken) or not total)


if __name__ == "__main__":
    sys.exit(main())
