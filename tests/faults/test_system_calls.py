"""Each system call of a ledger's life struck, by an error or by the death of it.

The kernel does it to the real library on real files (`border`). What must come: what
was vouched for is there, nothing is there by half, the file opens again, the next
append works, and no dose is given twice. Hazards: H01, H05, H30.
"""

import errno
import os
import signal
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from slackwater.cli.opening import daemon_is_here
from slackwater.ledger.store import LedgerFile
from slackwater.service.memory import LIVE_NAME
from slackwater.service.standing import LOCK_NAME
from tests.faults.acts import ACTS, VOUCH, Act, left_open
from tests.faults.border import GO, KILL, SHORT, Life, Say, watched
from tests.faults.dosing import dosing
from tests.faults.life import AT_ONCE, batch
from tests.faults.struck import ALL, FAULTS, KILLED, Bench, Strike, strikes, struck
from tests.faults.voyage import SHELF

STRIKES, SLICE = 4000, 30
BY_NAME = {act.name: act for act in ACTS}
TEXT = b"0123456789"


@pytest.fixture
def bench() -> Iterator[Bench]:
    """A place to live acts in."""
    with tempfile.TemporaryDirectory(dir=SHELF if SHELF.is_dir() else None) as name:
        yield Bench(Path(name))


def written(path: Path, verdict: int) -> Life:
    """A child that writes a text, whatever it takes; its first write meets this."""

    def write(_say: Say) -> str:
        file, rest, counts = os.open(path, os.O_CREAT | os.O_WRONLY), TEXT, []
        try:
            while rest:
                counts.append(os.write(file, rest))
                rest = rest[counts[-1] :]
        except OSError as error:
            return errno.errorcode[error.errno or 0]
        return f"{counts}"

    def rule(number: int, name: str) -> int:
        return verdict if (number, name) == (1, "write") else GO

    return watched(write, rule, lambda _word: None)


@pytest.mark.usefixtures("border")
def test_a_call_that_is_refused_is_not_made(tmp_path: Path) -> None:
    """The child gets the error, the file not a byte."""
    life = written(tmp_path / "file", errno.ENOSPC)

    assert (0, "ENOSPC") == (life.code, life.said)
    assert b"" == (tmp_path / "file").read_bytes()


@pytest.mark.usefixtures("border")
def test_who_is_killed_at_a_call_never_makes_it(tmp_path: Path) -> None:
    """The process is gone, by the signal that nobody can catch."""
    life = written(tmp_path / "file", KILL)

    assert (-signal.SIGKILL, "") == (life.code, life.said)
    assert ["openat", "write"] == life.calls
    assert b"" == (tmp_path / "file").read_bytes()


@pytest.mark.usefixtures("border")
def test_a_short_write_writes_half_and_says_so(tmp_path: Path) -> None:
    """The kernel itself cuts it short; what comes after it is whole again."""
    life = written(tmp_path / "file", SHORT)

    assert "[5, 5]" == life.said
    assert TEXT == (tmp_path / "file").read_bytes()


@pytest.mark.usefixtures("border")
def test_a_child_that_says_nothing_more_is_over(tmp_path: Path) -> None:
    """Its end is no last word, and its code is told."""
    life = watched(lambda _say: os._exit(3), lambda *_: GO, lambda _word: None)

    assert (3, "", []) == (life.code, life.said, list(tmp_path.iterdir()))


def too_early(folder: Path, say: Say) -> str:
    """A fault on purpose: vouches before it writes."""
    ledger = left_open(LedgerFile.open(folder / LIVE_NAME, footing=AT_ONCE))
    say(VOUCH)
    ledger.append(batch(0))
    return ""


def by_half(folder: Path, say: Say) -> str:
    """A fault on purpose: what belongs together is written one by one."""
    ledger = left_open(LedgerFile.open(folder / LIVE_NAME, footing=AT_ONCE))
    for event in batch(0):
        ledger.append([event])
    say(VOUCH)
    return ""


@pytest.mark.usefixtures("border")
@pytest.mark.parametrize(
    ("live", "words"),
    [
        (too_early, "2 entries, 1 batches were vouched for"),
        (by_half, "3 entries, 0 batches were vouched for"),
    ],
)
def test_a_program_that_breaks_a_law_is_found_out(
    bench: Bench, live: Callable[[Path, Say], str], words: str
) -> None:
    """Somewhere on the way a kill shows it; without one nobody would see it."""
    act: Act = replace(BY_NAME["append an intent"], live=live)
    bench.ready(act)
    kills = [
        one
        for one in strikes(act, bench.calls(act))
        if one.fault == KILLED and one.call in ("fdatasync", "unlink")
    ]

    found = [bench.strike(act, one)[1] for one in kills]

    assert [words] in found


@pytest.mark.usefixtures("border")
def test_h01_a_kill_at_each_deletion_of_a_journal_keeps_all_or_nothing(
    bench: Bench,
) -> None:
    """The moment of a commit is the one at which its journal goes."""
    act = BY_NAME["intent, then outcome"]
    bench.ready(act)
    deletions = bench.calls(act).count("unlink")

    for number in range(1, deletions + 1):
        life, found = bench.strike(act, Strike(act.name, "unlink", number, KILLED))
        assert (-signal.SIGKILL, []) == (life.code, found)
        # Of two writes in a row what came before the kill was vouched for.
        assert [VOUCH] * (number - 1) == life.heard
    assert deletions == 2


@pytest.mark.usefixtures("border")
@pytest.mark.parametrize("call", ["stat", "fchmod", "unlink", "link"])
def test_h05_a_disk_that_fails_while_a_ledger_is_made_is_told_as_such(
    bench: Bench, call: str
) -> None:
    """Whatever call it is: an error of the ledger, never a bare one of the system."""
    act = BY_NAME["create"]
    bench.ready(act)

    tries = [one for one in strikes(act, bench.calls(act)) if one.call == call][::5]
    found = {one: bench.strike(act, one)[1] for one in tries}

    assert {} == {one: wrong for one, wrong in found.items() if wrong}
    assert tries


@pytest.mark.usefixtures("border")
def test_a_lock_that_the_system_refuses_is_no_second_daemon(bench: Bench) -> None:
    """Nobody is sent to stop what does not run, and no verb says that it does."""
    act = BY_NAME["lock"]
    bench.ready(act)
    life, found = bench.strike(act, Strike(act.name, "flock", 1, "ENOLCK"))
    assert ("LedgerMissingError", []) == (life.said, found)

    (bench.folder / LOCK_NAME).touch()
    asked = watched(
        lambda _say: str(daemon_is_here(bench.folder)),
        lambda _number, name: errno.ENOLCK if name == "flock" else GO,
        lambda _word: None,
    )
    assert "None" == asked.said


@pytest.mark.usefixtures("border")
def test_h05_a_few_calls_of_each_act_struck_keep_all_or_nothing() -> None:
    """A slice of all there is."""
    tally = struck(ALL, SLICE)

    assert [] == tally.broken
    assert len(tally.struck) >= SLICE


@pytest.mark.long
@pytest.mark.timeout(3600)
@pytest.mark.usefixtures("border")
def test_h05_whatever_call_is_struck_all_or_nothing_is_kept(
    tell: Callable[[str], None],
) -> None:
    """Calls of every act of a ledger, and of a daemon's start and dose."""
    acts = [*ALL, dosing()]

    tally = struck(acts, STRIKES)

    tell(str(tally))
    assert [] == tally.broken
    assert len(tally.struck) >= STRIKES
    assert {act.name for act in acts} == {one.act for one in tally.struck}
    assert set(FAULTS) - {"access"} <= {one.call for one in tally.struck}
    assert set().union(*FAULTS.values()) == {one.fault for one in tally.struck}
