"""Each system call of a commit struck in turn: by an error, or by the death of it.

strace(1) does it to the real library on a real file (`inject=`). What must come: an
append that was vouched for is there, nothing is there by half, the file opens again,
and the next append works. Hazards: H01, H05, H30.
"""

import json
import os
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from slackwater.service.memory import LIVE_NAME
from tests.faults.struck import BATCH, BATCHES
from tests.ledger.samples import kept, new_ledger

TOP = Path(__file__).parents[2]
# More calls than two appends make of any kind.
WHEN = 200
KILL = "signal=SIGKILL"
# Call by call: how it is struck, and how many calls of it a life of two appends makes.
STRIKES = {
    "fdatasync": ((KILL, "error=EIO", "error=ENOSPC"), 16),
    "pwrite64": ((KILL, "error=EIO", "error=ENOSPC"), 70),
    "unlink": ((KILL, "error=EIO", "error=EROFS"), 3),
    "openat": ((KILL, "error=EMFILE", "error=EIO"), 12),
    "pread64": ((KILL, "error=EIO"), 40),
}
# An error of its own stops no opening: a folder may refuse a sync, and SQLite goes on.
SLICE = ("unlink", KILL)


class Struck(NamedTuple):
    """One life under strace: which call of it, how it ended, what is left of it."""

    number: int
    code: int
    said: str
    left: str


def strike(folder: Path, strace: str, call: str, how: str, most: int) -> list[Struck]:
    """Strike the first such call of a life, the second of another, and so on."""
    path = folder / LIVE_NAME
    new_ledger(path, [kept(1)]).close()
    places = (folder, path, path.with_name(f"{LIVE_NAME}-journal"))
    words = [strace, "-f", "-qq", "-o", str(folder / "trace")]
    # With filters of its own kernel strace is faster, and sends no signals.
    words += [] if how == KILL else ["--seccomp-bpf"]
    for place in places:
        words += ["-P", str(place)]
    words += ["-e", f"trace={call}", "-e", f"inject={call}:{how}:when={WHEN}"]
    words += [sys.executable, "-m", "tests.faults.struck", str(path), str(WHEN), call]
    paths = os.pathsep.join((str(TOP / "daemon"), str(TOP)))
    done = subprocess.run(
        [*words, str(most)],
        cwd=TOP,
        env={**os.environ, "PYTHONPATH": paths},
        capture_output=True,
        text=True,
        check=False,
    )
    assert 0 == done.returncode, done.stderr
    return [Struck(**json.loads(line)) for line in done.stdout.splitlines()]


def wrong(lives: list[Struck]) -> list[str]:
    """What is not as it must be of these lives; each appends after the one before."""
    found, before = [], 2
    for life in lives:
        if not life.left.isdigit():
            found.append(f"{life}: the ledger is not whole")
            return found
        vouched = life.said.count("v")
        batches, rest = divmod(int(life.left) - before, BATCH)
        # What was not vouched for may be there all the same, and then as a whole.
        if rest or not vouched <= batches <= min(vouched + 1, BATCHES):
            found.append(f"{life}: {before} entries before")
        if life.code not in (0, -signal.SIGKILL):
            found.append(f"{life}: it ended by itself")
        # Whoever looked appended one entry.
        before = int(life.left) + 1
    return found


def hits(lives: list[Struck]) -> int:
    """Lives that came to an end, or to an error, by the strike."""
    return sum(life.code != 0 or life.said != "v" * BATCHES for life in lives)


def test_h01_a_kill_at_each_deletion_of_a_journal_keeps_all_or_nothing(
    tmp_path: Path, strace: str
) -> None:
    """The moment of a commit is the one at which its journal goes."""
    lives = strike(tmp_path, strace, *SLICE, most=2)

    assert [] == wrong(lives)
    assert len(lives) == hits(lives)


@pytest.mark.long
@pytest.mark.timeout(900)
def test_h05_whatever_call_is_struck_all_or_nothing_is_kept(
    tmp_path: Path, strace: str, tell: Callable[[str], None]
) -> None:
    """Every call of two appends of every kind, by every error and by a kill."""
    met: Counter[str] = Counter()
    for call, (ways, most) in STRIKES.items():
        for way in ways:
            folder = tmp_path / f"{call}-{way}"
            folder.mkdir()
            lives = strike(folder, strace, call, way, most)
            assert [] == wrong(lives)
            met[f"{call} {way}"] = hits(lives)
    tell(f"system calls struck: {met.total()}, each with all or nothing kept:")
    for name, count in met.items():
        tell(f"  {count:4}  {name}")
    assert all(met.values())
    assert met.total() >= 200
