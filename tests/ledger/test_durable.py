"""Nothing is vouched for that a power cut could take back.

The calls are watched in this process; `tests/faults/test_power.py` cuts the power at
each of them.
"""

import os
import sqlite3
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import ClassVar

import pytest

from slackwater.errors import InputError, LedgerStorageError, RefusedError
from slackwater.ledger import birth, witness
from slackwater.ledger.archive import unpack
from slackwater.ledger.store import LedgerFile
from tests.ledger.disk import Disk
from tests.ledger.samples import FOOTING, intended, kept, made, new_ledger
from tests.ledger.test_archive import packed
from tests.ledger.test_witness import seen

# A journal that is deleted, and EXTRA, which reads back as 3 and syncs the directory
# after that too (sqlite.org/pragma.html).
SURE = ("delete", 3)


class Watched(sqlite3.Connection):
    """A connection that tells what it is set to whenever a file is committed."""

    commits: ClassVar[list[tuple[object, ...]]]

    def execute(self, statement: str, values: Sequence[str] = ()) -> sqlite3.Cursor:  # type: ignore[override]  # as ours are called
        """Carry it out, and look first if it commits."""
        ask = super().execute
        if statement == "COMMIT" and ask("PRAGMA database_list").fetchone()[2]:
            said = (ask(f"PRAGMA {name}") for name in ("journal_mode", "synchronous"))
            self.commits.append(tuple(one.fetchone()[0] for one in said))
        return ask(statement, values)


@pytest.fixture
def disk(monkeypatch: pytest.MonkeyPatch) -> Disk:
    """Watches from now on."""
    return Disk(monkeypatch)


def test_h01_every_commit_is_synced_with_its_directory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From the making of the file on: two steps of the schema, one entry, an append."""
    monkeypatch.setattr(Watched, "commits", [], raising=False)
    connect = partial(sqlite3.connect, factory=Watched)
    monkeypatch.setattr(sqlite3, "connect", connect)
    with new_ledger(tmp_path / "live.ledger", [intended()]) as ledger:
        ledger.probe_write()

    assert [SURE] * 5 == Watched.commits


def test_h33_a_witness_is_whole_before_it_has_its_name(
    tmp_path: Path, disk: Disk
) -> None:
    """And its name is sure when it is vouched for."""
    witness.write(tmp_path / "witness", seen(5))
    witness.write(tmp_path / "witness", seen(6))

    assert ([], set()) == (disk.early, disk.unsure)


def test_h32_a_new_ledger_has_its_name_for_sure(tmp_path: Path, disk: Disk) -> None:
    """So has one that was put back; SQLite syncs what is in it."""
    LedgerFile.create(tmp_path / "live.ledger", made(), footing=FOOTING).close()
    birth.place(tmp_path / "live.ledger", tmp_path / "again.ledger")

    assert not disk.unsure


def test_h33_a_backup_is_whole_before_it_has_its_name(
    tmp_path: Path, disk: Disk
) -> None:
    """What a keeper carries away on a stick is on the stick."""
    with new_ledger(tmp_path / "live.ledger", [kept(1)]) as ledger:
        disk.early.clear()
        packed(ledger, tmp_path / "reef.tar")
        assert ([], set()) == (disk.early, disk.unsure)


def test_h33_what_a_backup_held_is_sure_before_it_is_used(
    tmp_path: Path, disk: Disk
) -> None:
    """A ledger that is put back from it lies on the disk already."""
    with new_ledger(tmp_path / "live.ledger", [kept(1)]) as ledger:
        packed(ledger, tmp_path / "reef.tar")
    (tmp_path / "again").mkdir()
    held = unpack(tmp_path / "reef.tar", tmp_path / "again").members

    assert [True, True] == [disk.is_sure(tmp_path / "again" / name) for name in held]


def test_a_file_that_came_while_a_backup_was_made_is_left(
    tmp_path: Path, disk: Disk
) -> None:
    """Somebody else chose the same name meanwhile: theirs stays, ours is not named."""
    target = tmp_path / "reef.tar"
    with new_ledger(tmp_path / "live.ledger") as ledger:
        disk.then = lambda _path: target.write_text("theirs", "utf-8")
        with pytest.raises(RefusedError, match="stands here already"):
            packed(ledger, target)

    assert "theirs" == target.read_text("utf-8")


def test_a_disk_that_keeps_another_letter_makes_no_backup(
    tmp_path: Path, disk: Disk
) -> None:
    """What reads back well and is not what was to be written is refused."""

    def misremember(path: Path) -> None:
        if path.name.startswith(".reef.tar."):
            text = path.read_bytes()
            path.write_bytes(text.replace(b'"software":"0.1"', b'"software":"0.2"'))

    with new_ledger(tmp_path / "live.ledger") as ledger:
        disk.then = misremember
        with pytest.raises(InputError, match="reads back as another one"):
            packed(ledger, tmp_path / "reef.tar")
    assert not (tmp_path / "reef.tar").exists()


def test_a_draft_that_vanished_is_one_clear_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever tidies a state directory while a ledger is made is told so."""
    connect = sqlite3.connect

    def tidied(name: str, **options: object) -> sqlite3.Connection:
        for draft in tmp_path.iterdir():
            draft.unlink()
        return connect(name, **options)  # type: ignore[call-overload,no-any-return]  # as it came

    monkeypatch.setattr(sqlite3, "connect", tidied)
    with pytest.raises(LedgerStorageError, match="unable to open"):
        LedgerFile.create(tmp_path / "live.ledger", made())
    assert not list(tmp_path.iterdir())


def test_a_backup_that_cannot_be_named_is_one_clear_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The directory went away in between."""

    def refused(source: Path, target: Path) -> None:
        raise OSError(28, os.strerror(28), source, None, target)

    monkeypatch.setattr(os, "rename", refused)
    with (
        new_ledger(tmp_path / "live.ledger") as ledger,
        pytest.raises(LedgerStorageError, match="No space left on device"),
    ):
        packed(ledger, tmp_path / "reef.tar")
