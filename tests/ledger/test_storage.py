"""A disk that refuses: nothing is half kept, and the file tells what survived.

The limit on file size (setrlimit(2), RLIMIT_FSIZE) makes real writes of the real
library fail at a byte of our choice, without root.
"""

import resource
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from slackwater.errors import LedgerStorageError
from slackwater.facts.events import AnyEvent
from slackwater.ledger.store import LedgerFile
from tests.ledger.samples import FOOTING, approved, intended, kept, made, new_ledger


@contextmanager
def no_file_longer_than(size: int) -> Iterator[None]:
    """Writes beyond this size fail (Python ignores the signal that comes with it)."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the ledger of a test lies."""
    return tmp_path / "live.ledger"


def test_h30_a_disk_that_refuses_ends_the_object_not_the_ledger(path: Path) -> None:
    """The object is of no further use; opened again, the file goes on."""
    ledger = new_ledger(path, [intended(7)])
    large = replace(approved(), plan="x" * 200_000)
    with no_file_longer_than(path.stat().st_size + 4096):
        with pytest.raises(LedgerStorageError, match="the disk refused"):
            ledger.append([intended(8), large])
        with pytest.raises(LedgerStorageError, match="no longer be used"):
            ledger.append([kept(1)])

    with LedgerFile.open(path, footing=FOOTING) as again:
        assert not again.verify_all()
        assert again.head.seq == 2
        assert again.append([intended(8), large]).seq == 4


def test_h05_at_whatever_byte_the_disk_fails_all_or_nothing_is_kept(path: Path) -> None:
    """The limit walks over journal and file, page by page and inside pages."""
    new_ledger(path, [kept(1)]).close()
    batch: list[AnyEvent] = [intended(7), replace(approved(), plan="x" * 20_000)]
    original = path.read_bytes()
    refused = 0
    for size in range(0, len(original) + 40_000, 1500):
        path.write_bytes(original)
        ledger = LedgerFile.open(path, footing=FOOTING)
        with no_file_longer_than(size):
            try:
                head = ledger.append(batch)
            except LedgerStorageError:
                refused += 1
                head = None
        with LedgerFile.open(path, footing=FOOTING) as again:
            assert not again.verify_all()
            assert again.head.seq == (2 if head is None else 4)
        if head is not None:
            ledger.close()
            path.with_name("live.ledger.witness").unlink()

    assert refused > 10


def test_h30_a_probe_writes_durably_and_adds_no_entry(path: Path) -> None:
    """The file changes on disk, the chain does not."""
    with new_ledger(path) as ledger:
        before = path.read_bytes()
        ledger.probe_write()

        assert before != path.read_bytes()
        assert (ledger.head.seq, ledger.verify_all()) == (1, [])
        assert ledger.append([kept(1)]).seq == 2


def test_h30_a_probe_finds_a_disk_that_refuses(path: Path) -> None:
    """Before a dose is due, not when it is."""
    ledger = new_ledger(path)
    with (
        no_file_longer_than(512),
        pytest.raises(LedgerStorageError, match="the disk refused"),
    ):
        ledger.probe_write()


def test_h30_a_probe_finds_a_file_nobody_may_write(path: Path) -> None:
    """A ledger opened for reading is the same to SQLite as a read-only disk."""
    new_ledger(path).close()
    with (
        LedgerFile.open(path, writable=False) as ledger,
        pytest.raises(LedgerStorageError, match="readonly"),
    ):
        ledger.probe_write()


def test_h30_a_disk_without_room_makes_no_ledger(path: Path, tmp_path: Path) -> None:
    """A failed init leaves the place as it was, to be tried again."""
    with (
        no_file_longer_than(8192),
        pytest.raises(LedgerStorageError, match="the disk refused"),
    ):
        LedgerFile.create(path, made())

    assert not path.exists()
    assert not [place for place in tmp_path.iterdir() if place.suffix == ".ledger"]


def test_h30_a_disk_without_room_for_the_witness_is_said(path: Path) -> None:
    """The ledger closes all the same."""
    ledger = new_ledger(path)
    ledger.append([kept(1)])
    with (
        no_file_longer_than(10),
        pytest.raises(LedgerStorageError, match="witness"),
    ):
        ledger.close()

    with pytest.raises(LedgerStorageError, match="it was closed"):
        ledger.news()
    with LedgerFile.open(path) as again:
        assert again.head.seq == 2
