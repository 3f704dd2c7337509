"""A ledger is made once, whole, and never over something."""

import errno
import os
import sqlite3
import stat
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from slackwater.errors import InputError, LedgerStorageError, RefusedError
from slackwater.ledger.birth import place, refuse_leftovers
from slackwater.ledger.store import LedgerFile
from tests.ledger.samples import NOON, made, new_ledger


def test_a_new_ledger_has_its_first_entry_and_identity(tmp_path: Path) -> None:
    """It carries the id it was given and nothing else lies beside it but a witness."""
    with LedgerFile.create(tmp_path / "live.ledger", made("reef-1")) as ledger:
        assert (ledger.ledger_id, ledger.head.seq) == ("reef-1", 1)
        assert [made("reef-1")] == [entry.event for entry in ledger.load().entries]
    assert sorted(place.name for place in tmp_path.iterdir()) == [
        "live.ledger",
        "live.ledger.witness",
    ]


@pytest.mark.parametrize("name", ["live.ledger", "live.ledger.witness"])
def test_the_group_may_read_and_the_world_may_not(tmp_path: Path, name: str) -> None:
    """Permissions are 0640 whatever the umask."""
    new_ledger(tmp_path / "live.ledger").close()

    assert stat.S_IMODE((tmp_path / name).stat().st_mode) == 0o640


def test_h32_a_ledger_that_stands_is_never_made_anew(tmp_path: Path) -> None:
    """A second init is refused and changes no byte."""
    path = tmp_path / "live.ledger"
    new_ledger(path).close()
    before = path.read_bytes()

    with pytest.raises(RefusedError, match="stands here already"):
        LedgerFile.create(path, made("other"))
    assert before == path.read_bytes()


@pytest.mark.parametrize("content", [b"", b"anything"])
def test_any_file_in_the_way_is_left_alone(tmp_path: Path, content: bytes) -> None:
    """Also an empty one: it may be what is left of a ledger."""
    path = tmp_path / "live.ledger"
    path.write_bytes(content)

    with pytest.raises(RefusedError):
        LedgerFile.create(path, made())
    assert content == path.read_bytes()


def test_a_dangling_link_in_the_way_is_left_alone(tmp_path: Path) -> None:
    """A link to a disk that is not mounted is not a free place."""
    path = tmp_path / "live.ledger"
    path.symlink_to(tmp_path / "elsewhere")

    with pytest.raises(RefusedError):
        LedgerFile.create(path, made())


@pytest.mark.parametrize("suffix", ["-journal", "-wal", "-shm"])
def test_h32_the_journal_of_a_deleted_ledger_is_not_replayed(
    tmp_path: Path, suffix: str
) -> None:
    """SQLite would roll an old journal back into the new file."""
    path = tmp_path / "live.ledger"
    path.with_name(path.name + suffix).write_bytes(b"left over")

    with pytest.raises(RefusedError, match="left its journal"):
        LedgerFile.create(path, made())
    assert not path.exists()


def test_h32_a_file_that_comes_while_one_is_made_is_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two programs may make the same ledger at once: one of them is refused."""
    path, connect = tmp_path / "live.ledger", sqlite3.connect

    def overtaken(name: str, **options: Any) -> Any:  # noqa: ANN401  # as it came
        path.write_text("theirs", "utf-8")
        return connect(name, **options)

    monkeypatch.setattr(sqlite3, "connect", overtaken)
    with pytest.raises(RefusedError, match="stands here already"):
        LedgerFile.create(path, made())
    assert ["theirs"] == [one.read_text("utf-8") for one in tmp_path.iterdir()]


def test_a_disk_on_which_it_cannot_be_named_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some have no links; nothing is left there."""

    def refused(_source: Path, _target: Path) -> None:
        raise PermissionError(errno.EPERM, os.strerror(errno.EPERM))

    monkeypatch.setattr(os, "link", refused)
    with pytest.raises(LedgerStorageError, match="Operation not permitted"):
        LedgerFile.create(tmp_path / "live.ledger", made())
    assert not list(tmp_path.iterdir())


def test_a_new_ledger_replaces_the_witness_of_a_lost_one(tmp_path: Path) -> None:
    """Making a ledger is a decision; the old witness does not forbid it."""
    path = tmp_path / "live.ledger"
    new_ledger(path).close()
    path.unlink()

    with LedgerFile.create(path, made("second")) as ledger:
        assert ledger.ledger_id == "second"


def test_a_directory_that_is_missing_is_said(tmp_path: Path) -> None:
    """No directory is made on the way."""
    with pytest.raises(LedgerStorageError, match="cannot be made"):
        LedgerFile.create(tmp_path / "none" / "live.ledger", made())
    assert not list(tmp_path.iterdir())


def test_a_place_that_the_system_refuses_to_look_at_is_said(tmp_path: Path) -> None:
    """Whether to make a ledger there or to open it: an error of the ledger."""
    path = tmp_path / ("x" * 256)

    with pytest.raises(LedgerStorageError, match="cannot be made: File name too long"):
        LedgerFile.create(path, made())
    with pytest.raises(LedgerStorageError, match="is there: File name too long"):
        LedgerFile.open(path)


def test_a_first_entry_that_cannot_be_written_makes_no_file(tmp_path: Path) -> None:
    """Nothing is left of a failed attempt."""
    wrong = replace(made(), at=NOON.replace(tzinfo=None))

    with pytest.raises(InputError):
        LedgerFile.create(tmp_path / "live.ledger", wrong)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("suffix", ["", "-journal", "-wal", "-shm"])
def test_a_whole_ledger_is_put_where_nothing_stands(
    tmp_path: Path, suffix: str
) -> None:
    """Neither a file nor what SQLite would replay; then nothing is put there."""
    whole, path = tmp_path / "whole", tmp_path / "live.ledger"
    whole.write_bytes(b"invented")
    in_the_way = path.with_name(path.name + suffix)
    in_the_way.write_bytes(b"old")
    with pytest.raises(RefusedError):
        place(whole, path)
    in_the_way.unlink()
    assert not path.exists()
    place(whole, path)
    assert b"invented" == path.read_bytes()


def test_a_file_and_a_link_to_nothing_are_both_in_the_way(tmp_path: Path) -> None:
    """Before anything is made."""
    file, link = tmp_path / "file", tmp_path / "link"
    file.touch()
    link.symlink_to(tmp_path / "nowhere")
    for path in (file, link):
        with pytest.raises(RefusedError, match="stands here already"):
            refuse_leftovers(path)
    refuse_leftovers(tmp_path / "free")


def test_making_a_ledger_leaves_no_file_open(tmp_path: Path) -> None:
    """A daemon that makes shadows for years must not run out of them."""
    before = len(list(Path("/proc/self/fd").iterdir()))
    for number in range(3):
        LedgerFile.create(tmp_path / f"{number}.ledger", made(f"reef-{number}")).close()
    assert before == len(list(Path("/proc/self/fd").iterdir()))
