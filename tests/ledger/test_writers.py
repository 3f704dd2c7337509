"""Several programs at one ledger: nothing is lost, doubled or torn."""

import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from slackwater.errors import LedgerBusyError, LedgerError, LedgerMovedError
from slackwater.facts.events import DoseIntended, ReadingKept
from slackwater.ledger.connection import Footing
from slackwater.ledger.store import LedgerFile
from tests.ledger.samples import (
    FOOTING,
    PATIENT,
    another_program,
    intended,
    kept,
    new_ledger,
)

ROOT = Path(__file__).parents[2]
EACH = 500


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A closed ledger with its first entry."""
    place = tmp_path / "live.ledger"
    new_ledger(place).close()
    return place


def appender(path: Path, name: str, count: int) -> subprocess.Popen[str]:
    """A process that waits for the word to append."""
    paths = os.pathsep.join((str(ROOT / "daemon"), str(ROOT)))
    return subprocess.Popen(
        [sys.executable, "-m", "tests.ledger.appender", str(path), name, str(count)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": paths},
        cwd=ROOT,
    )


def line(process: subprocess.Popen[str]) -> str:
    """The next line the process says."""
    assert process.stdout is not None
    return process.stdout.readline().strip()


@pytest.mark.timeout(120)
def test_h34_two_processes_write_throughout_and_a_third_reads(path: Path) -> None:
    """All entries of both are there in their own order, on one whole chain."""
    writers = [appender(path, name, EACH) for name in ("left", "right")]
    assert [line(writer) for writer in writers] == ["ready", "ready"]
    heard: list[int] = []
    reading = LedgerFile.open(path, writable=False, footing=PATIENT)
    for writer in writers:
        assert writer.stdin is not None
        writer.stdin.write("go\n")
        writer.stdin.flush()

    with reading:
        while len(heard) < 2 * EACH and any(w.poll() is None for w in writers):
            heard.extend(entry.seq for entry in reading.news())
        told = [int(writer.communicate(timeout=60)[0]) for writer in writers]
        heard.extend(entry.seq for entry in reading.news())

    assert [writer.returncode for writer in writers] == [0, 0]
    assert list(range(2, 2 * EACH + 2)) == heard
    with LedgerFile.open(path) as ledger:
        assert not ledger.verify_all()
        events = [entry.event for entry in ledger.load().entries[1:]]
    probes = [event.probe for event in events if isinstance(event, ReadingKept)]
    # They wrote at the same time, or this test showed nothing. How often they took
    # turns is the scheduler's choice: on a busy machine one waits long for the lock.
    assert sum(one != other for one, other in pairwise(probes)) > 1
    assert sum(told) > 20
    for name in ("left", "right"):
        own = [e for e in events if isinstance(e, ReadingKept) and e.probe == name]
        assert [kept(number).at for number in range(EACH)] == [e.at for e in own]


def intend_all(path: Path, worker: int, doses: int, won: Counter[int]) -> None:
    """Intend each dose, deciding anew whenever somebody was first."""
    with LedgerFile.open(path, footing=PATIENT) as ledger:
        known = {event_dose(entry.event) for entry in ledger.load().entries}
        for ordinal in range(1, doses + 1):
            intent = intended(ordinal, attempt=f"{worker:016x}{ordinal:016x}")
            while intent.dose.id not in known:
                try:
                    ledger.append([intent])
                except LedgerMovedError:
                    known |= {event_dose(entry.event) for entry in ledger.news()}
                except LedgerBusyError:
                    continue
                else:
                    known.add(intent.dose.id)
                    won[ordinal] += 1


def event_dose(event: object) -> str:
    """The dose an intent is for, nothing for other entries."""
    return event.dose.id if isinstance(event, DoseIntended) else ""


@pytest.mark.timeout(120)
def test_h08_of_eight_threads_exactly_one_intends_each_dose(path: Path) -> None:
    """The ledger decides, not the timer: two hundred doses, eight racing workers."""
    workers, doses = 8, 200
    counts = [Counter[int]() for _ in range(workers)]
    threads = [
        threading.Thread(target=intend_all, args=(path, worker, doses, counts[worker]))
        for worker in range(workers)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert dict.fromkeys(range(1, doses + 1), 1) == dict(sum(counts, Counter[int]()))
    with LedgerFile.open(path) as ledger:
        assert not ledger.verify_all()
        assert ledger.head.seq == doses + 1


def test_h08_eight_threads_on_one_head_have_one_winner(path: Path) -> None:
    """All decide on the same head, all append at once: seven decide anew."""
    workers = 8
    barrier = threading.Barrier(workers)
    outcomes: list[str] = []

    def intend(worker: int) -> None:
        with LedgerFile.open(path, footing=PATIENT) as ledger:
            barrier.wait()
            try:
                ledger.append([intended(7, attempt=f"{worker:032x}")])
            except LedgerMovedError:
                outcomes.append("moved")
            else:
                outcomes.append("won")

    threads = [threading.Thread(target=intend, args=(n,)) for n in range(workers)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sorted(outcomes) == ["moved"] * (workers - 1) + ["won"]


@pytest.fixture
def ledger(path: Path) -> Iterator[LedgerFile]:
    """The same ledger, opened by the daemon, with a short busy limit."""
    with LedgerFile.open(path, footing=FOOTING) as opened:
        yield opened


@pytest.mark.parametrize("lock", ["BEGIN IMMEDIATE", "BEGIN EXCLUSIVE"])
def test_h29_a_locked_ledger_refuses_in_time_and_recovers(
    ledger: LedgerFile, path: Path, lock: str
) -> None:
    """The wait is the busy limit, nothing is written, and the next append works."""
    with another_program(path) as holder:
        holder.execute(lock)
        began = time.monotonic()
        with pytest.raises(LedgerBusyError, match="Nothing was written"):
            ledger.append([kept(1)])
        waited_s = time.monotonic() - began
        holder.execute("ROLLBACK")

    assert FOOTING.busy_ms / 1000 * 0.5 < waited_s < 5.0
    assert ledger.append([kept(2)]).seq == 2


def test_h29_a_reader_that_holds_a_cursor_makes_the_commit_busy(
    ledger: LedgerFile, path: Path
) -> None:
    """Nothing of that append is on disk, and the next one works."""
    with another_program(path) as reader:
        cursor = reader.execute("SELECT seq FROM entries UNION ALL SELECT 2")
        cursor.fetchone()
        with pytest.raises(LedgerBusyError):
            ledger.append([kept(1), intended(7)])
        cursor.close()
        assert reader.execute("SELECT count(*) FROM entries").fetchone() == (1,)

    assert ledger.append([kept(2), intended(7)]).seq == 3


def test_h29_a_locked_ledger_cannot_be_opened_but_is_not_damaged(path: Path) -> None:
    """Opening waits as long as an append does."""
    with another_program(path) as holder:
        holder.execute("BEGIN EXCLUSIVE")
        with pytest.raises(LedgerBusyError):
            LedgerFile.open(path, footing=Footing(busy_ms=50))


def test_h34_a_question_leaves_no_lock_behind(ledger: LedgerFile, path: Path) -> None:
    """After every reading method another program can take the file for itself."""
    ledger.append([kept(number) for number in range(1200)])
    with another_program(path) as stranger:
        stranger.execute("PRAGMA busy_timeout = 0")
        for read in (ledger.load, ledger.news, ledger.verify_all):
            read()
            stranger.execute("BEGIN EXCLUSIVE")
            stranger.execute("ROLLBACK")


def append_until_killed(path: Path, acknowledge: int) -> None:
    """Append pairs for ever; one byte goes out after each pair that is durable."""
    try:
        ledger = LedgerFile.open(path, footing=PATIENT)
        number = ledger.head.seq
        while True:
            ledger.append([kept(number), intended(number)])
            os.write(acknowledge, b".")
            number += 2
    finally:
        os._exit(1)


def killed_after(path: Path, pairs: int, delay_s: float) -> int:
    """Kill an appending process in the middle; gives how many pairs it vouched for."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        append_until_killed(path, writing)
    os.close(writing)
    vouched = sum(len(os.read(reading, 1)) for _ in range(pairs))
    until = time.perf_counter() + delay_s
    while time.perf_counter() < until:
        pass
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    while rest := os.read(reading, 4096):
        vouched += len(rest)
    os.close(reading)
    return vouched


@pytest.mark.kill
@pytest.mark.timeout(120)
def test_h01_fifty_kills_leave_every_vouched_pair_and_no_half_one(path: Path) -> None:
    """After each kill -9 the chain is whole; some kills fell inside a commit."""
    torn, expected = 0, 1
    for number in range(50):
        # Commits take a millisecond or two: the kills walk across one.
        vouched = killed_after(path, 1 + number % 3, number * 60e-6)
        torn += path.with_name(path.name + "-journal").exists()
        with LedgerFile.open(path, footing=FOOTING) as ledger:
            assert not ledger.verify_all()
            pairs, half = divmod(ledger.head.seq - expected, 2)
            expected = ledger.head.seq
        assert (half, vouched <= pairs <= vouched + 1) == (0, True)

    assert torn > 0


def test_h01_a_journal_left_by_a_kill_hinders_nobody(path: Path) -> None:
    """The half written pages of a dead process never show, and work goes on."""
    while not path.with_name(path.name + "-journal").exists():
        killed_after(path, 1, 0.0005)
    with LedgerFile.open(path, footing=FOOTING) as ledger:
        head = ledger.head.seq
        assert (head % 2, head + 1) == (1, ledger.append([kept(1)]).seq)
        assert not path.with_name(path.name + "-journal").exists()


def test_the_object_belongs_to_the_thread_that_opened_it(ledger: LedgerFile) -> None:
    """Use from another thread is a fault of the program, said as such."""
    caught: list[type[BaseException]] = []

    def use() -> None:
        try:
            ledger.append([kept(1)])
        except (sqlite3.ProgrammingError, LedgerError) as error:
            caught.append(type(error))

    thread = threading.Thread(target=use)
    thread.start()
    thread.join()

    assert [sqlite3.ProgrammingError] == caught
