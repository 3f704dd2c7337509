"""A copy is a file of its own, made from checked rows."""

import stat
from pathlib import Path

import pytest

from slackwater.errors import LedgerDamagedError
from slackwater.ledger.copying import copy_live
from slackwater.ledger.store import LedgerFile
from tests.ledger.samples import FOOTING, kept, new_ledger
from tests.ledger.test_audit import tamper


@pytest.fixture
def ledger(tmp_path: Path) -> LedgerFile:
    """A ledger of a few entries."""
    return new_ledger(tmp_path / "live.ledger", [kept(n) for n in range(5)])


def test_a_copy_is_a_ledger_that_can_be_gone_on_with(
    ledger: LedgerFile, tmp_path: Path
) -> None:
    """The same identity, head and rows, and nothing wrong with it."""
    copy_live(ledger, tmp_path / "copy")
    with LedgerFile.open(tmp_path / "copy", footing=FOOTING) as copy:
        assert (ledger.made, ledger.head) == (copy.made, copy.head)
        assert ([], list(ledger.rows())) == (copy.verify_all(), list(copy.rows()))
        assert 7 == copy.append([kept(9)]).seq


def test_a_copy_is_for_the_owner_and_the_group(
    ledger: LedgerFile, tmp_path: Path
) -> None:
    """As the ledger is."""
    copy_live(ledger, tmp_path / "copy")
    assert 0o640 == stat.S_IMODE((tmp_path / "copy").stat().st_mode)


def test_a_copy_holds_what_was_there_when_it_was_opened(
    ledger: LedgerFile, tmp_path: Path
) -> None:
    """What comes in meanwhile is not of it."""
    path = tmp_path / "live.ledger"
    with LedgerFile.open(path, writable=False, footing=FOOTING) as source:
        ledger.append([kept(9)])
        copy_live(source, tmp_path / "copy")
    with LedgerFile.open(tmp_path / "copy", footing=FOOTING) as copy:
        assert 6 == copy.head.seq


def test_a_row_that_was_changed_is_not_copied(
    ledger: LedgerFile, tmp_path: Path
) -> None:
    """It is told by its number."""
    tamper(tmp_path / "live.ledger", "UPDATE entries SET at = '2020' WHERE seq = 3")
    with pytest.raises(LedgerDamagedError, match="entry 3 is damaged"):
        copy_live(ledger, tmp_path / "copy")


def test_a_copy_replaces_no_file(ledger: LedgerFile, tmp_path: Path) -> None:
    """Also an empty one."""
    (tmp_path / "copy").touch()
    with pytest.raises(FileExistsError):
        copy_live(ledger, tmp_path / "copy")
