"""The daemon dies at one bytecode after another, from deciding a dose to settling it.

`python -m tests.faults.steps KILLS [SEED]` sails to a minute before a dose is due, then
counts the bytecodes of the project's own code from the due moment on, until the dose is
settled. A second life of the same forks at so many of them, laid evenly: there the
child is the machine on which the daemon was killed, with the files as they lay at that
bytecode; nothing of the dead daemon runs on, not even what would tidy up. It sails on
with a new daemon, and the judge looks at the water.

It covers every point inside the daemon's own code. What is inside SQLite or the system
it does not: there the system calls are struck (`test_system_calls.py`), and the real
process is killed (`tests/service/test_kills.py`).
"""

import gc
import json
import os
import shutil
import sys
import tempfile
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import entries
from tests.faults import judge
from tests.faults.disk import AT_ONCE
from tests.faults.sea import SECOND_MS, Sea, embark
from tests.faults.voyage import SHELF, evidence, flows_of
from tests.properties.play import hush

OURS = f"{os.sep}slackwater{os.sep}"
# A daemon has heard its nodes so long before the dose is due; all is settled after it.
BEFORE_MS, AFTER_MS = 40 * SECOND_MS, 60 * SECOND_MS
LATER_MS = 5 * 60 * SECOND_MS
DAYS = 3.0
Trace = Callable[[FrameType, str, object], "Trace | None"]
# A small household, and one with many pumps.
SEEDS = [10, 5]
WORDS_AT_MOST = 4000


@dataclass(slots=True)
class Counter:
    """Counts bytecodes of our own code; calls `strike` at some of them, in order."""

    points: list[int] = field(default_factory=list)
    strike: Callable[[int], None] = print
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
            if self.points and self.points[0] == self.count:
                self.strike(self.points.pop(0))
        return self._step


@dataclass(slots=True, kw_only=True)
class Killed:
    """One life that was ended: where, and what came of it."""

    at: int
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


def on_a_copy(sea: Sea, folder: Path) -> None:
    """Go on with the files as they lie now, an open journal among them."""
    copy = folder / f"{os.getpid()}"
    shutil.copytree(sea.disk.folder, copy)
    sea.disk.folder = copy
    sea.disk.look_anew()


def live(sea: Sea, counter: Counter) -> None:
    """Start a daemon, and let the counter look from the due moment on."""
    due_ms = sea.ends_ms - LATER_MS
    sea.starts_at_ms, sea.down_for_ms = sea.times.t_ms, SECOND_MS
    sea.run(due_ms - 1)
    with counted(counter):
        sea.run(due_ms + AFTER_MS)
    sea.run(sea.ends_ms)


def bytecodes(sea: Sea, folder: Path) -> int:
    """How many there are until the dose is settled; none if that life breaks a law."""

    def count() -> list[object]:
        counter = Counter()
        on_a_copy(sea, folder)
        live(sea, counter)
        return [0 if judge.findings(evidence(sea)) else counter.count]

    counted_there, *_ = apart(count)
    return int(str(counted_there or 0))


def killed(sea: Sea, folder: Path, at: int) -> Killed:
    """The daemon is gone at this very bytecode: what becomes of the household."""

    def sail_on() -> list[object]:
        on_a_copy(sea, folder)
        sea.kill(SECOND_MS)
        # What became durable and nobody was told of: a start reads it too.
        with LedgerFile.open(sea.disk.path, footing=AT_ONCE) as file:
            durable = [entry.event for entry in entries(file)]
        sea.disk.note(durable[len(sea.book.entries) :])
        sea.run(sea.ends_ms)
        shutil.rmtree(sea.disk.folder)
        return [len(flows_of(sea)), *judge.findings(evidence(sea))[:3]]

    flows, *broken = apart(sail_on)
    return Killed(
        at=at, flows=int(str(flows or 0)), broken=[str(one) for one in broken]
    )


def apart(work: Callable[[], list[object]]) -> list[object]:
    """What a forked process found; one that falls over is a finding."""
    mouth, ear = os.pipe()
    child = os.fork()
    if child == 0:
        said: list[object]
        try:
            said = work()
        except Exception:  # noqa: BLE001 -- whatever ends it is a finding
            said = [0, traceback.format_exc(limit=-3)]
        os.write(ear, json.dumps(said).encode()[:WORDS_AT_MOST])
        os._exit(0)
    os.close(ear)
    heard = b"".join(iter(lambda: os.read(mouth, 4096), b""))
    os.close(mouth)
    os.waitpid(child, 0)
    try:
        found: list[object] = json.loads(heard)
    except ValueError:
        return [0, "the process fell over"]
    return found


def kills(seed: int, many: int) -> tuple[int, list[Killed]]:
    """How many bytecodes there are, and what came of so many kills among them."""
    hush()
    lives: list[Killed] = []
    with tempfile.TemporaryDirectory(dir=SHELF if SHELF.is_dir() else None) as name:
        folder = Path(name)
        (folder / "home").mkdir()
        sea = before_a_dose(seed, folder / "home")
        total = bytecodes(sea, folder)
        # What lies there already is not looked at again: a fork then copies little.
        gc.freeze()
        live(
            sea,
            Counter(
                points=sorted(
                    {1 + total * n // many for n in range(many)} if total else ()
                ),
                strike=lambda at: lives.append(killed(sea, folder, at)),
            ),
        )
        gc.unfreeze()
    return total, lives


def main() -> int:
    """Kill, print, end with 1 when any life broke a law."""
    many = int(sys.argv[1])
    seeds = [int(sys.argv[2])] if len(sys.argv) > 2 else SEEDS
    done, failed = 0, False
    for seed in seeds:
        total, lives = kills(seed, many // len(seeds))
        broken = [life for life in lives if life.broken]
        done += len(lives)
        failed = failed or bool(broken) or not lives
        sys.stdout.write(
            f"seed {seed}: {len(lives)} kills among {total} bytecodes from due to "
            f"settled, {len(broken)} broke a law\n"
        )
        for life in broken[:10]:
            sys.stdout.write(f"  at {life.at}: {'; '.join(life.broken[:3])}\n")
    spent = os.times()
    seconds = spent.user + spent.system + spent.children_user + spent.children_system
    sys.stdout.write(f"{done} kills in {seconds:.0f} processor seconds\n")
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
