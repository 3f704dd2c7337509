"""What an open ledger refuses, and what it reads in more than one part."""

import shutil
from pathlib import Path

import pytest

from slackwater.errors import (
    LedgerDamagedError,
    LedgerMovedError,
    LedgerStorageError,
)
from slackwater.ledger.store import LedgerFile
from tests.ledger.reopening import reopened
from tests.ledger.samples import (
    another_program,
    intended,
    kept,
    made,
)


def test_news_come_in_thousands_at_most(ledger: LedgerFile, path: Path) -> None:
    """A long absence is read in bounded parts, none lost between them."""
    with reopened(path) as other:
        other.append([kept(number) for number in range(2500)])
    parts = [ledger.news() for _ in range(4)]

    assert [len(part) for part in parts] == [1000, 1000, 500, 0]
    assert list(range(2, 2502)) == [entry.seq for part in parts for entry in part]


@pytest.mark.parametrize("content", [b"", b"not a database" * 100, b"\0" * 8192])
def test_h32_an_empty_or_foreign_file_is_damage(path: Path, content: bytes) -> None:
    """An empty file is not an unused day budget; it is left as it was found."""
    path.write_bytes(content)

    with pytest.raises(LedgerDamagedError):
        LedgerFile.open(path)
    assert content == path.read_bytes()


def test_a_shadow_ledger_is_never_opened_as_live(tmp_path: Path) -> None:
    """The two roles are two file formats by identity."""
    shadow, live = tmp_path / "shadow.ledger", tmp_path / "live.ledger"
    LedgerFile.create(shadow, made(), "shadow").close()
    LedgerFile.create(live, made(), "live").close()

    with pytest.raises(LedgerDamagedError, match="this is a shadow ledger"):
        LedgerFile.open(shadow, "live")
    with pytest.raises(LedgerDamagedError, match="this is a live ledger"):
        LedgerFile.open(live, "shadow")


def test_h33_a_file_put_back_in_place_while_open_is_damage(
    ledger: LedgerFile, path: Path, tmp_path: Path
) -> None:
    """An older copy written over the open file is noticed at the next look."""
    old = tmp_path / "copy"
    shutil.copyfile(path, old)
    ledger.append([kept(1), kept(2)])
    with another_program(old) as source, another_program(path) as target:
        source.backup(target)

    with pytest.raises(LedgerDamagedError, match="rolled back while it was open"):
        ledger.news()
    with pytest.raises(LedgerDamagedError, match="rolled back while it was open"):
        ledger.append([kept(3)])


def test_h32_a_file_deleted_while_open_takes_no_entry(
    ledger: LedgerFile, path: Path
) -> None:
    """Nothing is written into a file that has no name any more."""
    path.unlink()

    with pytest.raises(LedgerStorageError):
        ledger.append([kept(1)])
    with pytest.raises(LedgerStorageError, match="no longer be used"):
        ledger.append([kept(1)])


def test_h08_a_dose_is_intended_once_for_ever(ledger: LedgerFile) -> None:
    """The second intent of a dose is refused even on the right head."""
    head = ledger.append([intended(7)])

    with pytest.raises(LedgerMovedError, match="dose already intended"):
        ledger.append([kept(1), intended(7, attempt="f" * 32)])
    assert (head, 3) == (ledger.head, ledger.append([intended(8)]).seq)


def test_h08_one_turn_cannot_intend_a_dose_twice(ledger: LedgerFile) -> None:
    """Two intents of one dose in one append are refused together."""
    with pytest.raises(LedgerMovedError, match="dose already intended"):
        ledger.append([intended(7), intended(7, attempt="f" * 32)])
    assert ledger.select("SELECT count(*) FROM entries") == [(1,)]


def test_an_attempt_is_used_once_for_ever(ledger: LedgerFile) -> None:
    """Two doses never share the identity of a command."""
    ledger.append([intended(7, attempt="a" * 32)])

    with pytest.raises(LedgerMovedError, match="attempt already used"):
        ledger.append([intended(8, attempt="a" * 32)])
