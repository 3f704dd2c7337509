"""Durability is proven at each opening; errors say what to look at."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from slackwater.errors import (
    LedgerBusyError,
    LedgerDamagedError,
    LedgerError,
    LedgerStorageError,
)
from slackwater.ledger.connection import (
    Footing,
    connect,
    open_file,
    prove_pragma,
    prove_pragmas,
    translated,
    translation,
)
from slackwater.ledger.store import LedgerFile
from tests.ledger.samples import FOOTING, another_program, kept, made, new_ledger


def torn_ledger(folder: Path) -> Path:
    """Files as a power cut leaves them: pages half written, the journal beside them."""
    whole = folder / "whole.ledger"
    new_ledger(whole, [kept(1)]).close()
    torn = folder / "live.ledger"
    with another_program(whole) as writer:
        # With hardly a cache, pages and their journal reach the disk uncommitted.
        writer.execute("PRAGMA cache_size = 1")
        writer.execute("BEGIN IMMEDIATE")
        writer.execute("CREATE TABLE filling (text)")
        filling = [("torn" * 500,) for _ in range(200)]
        writer.executemany("INSERT INTO filling VALUES (?)", filling)
        shutil.copyfile(whole, torn)
        shutil.copyfile(f"{whole}-journal", f"{torn}-journal")
        writer.execute("ROLLBACK")
    return torn


@pytest.mark.parametrize("writable", [True, False])
def test_h01_a_torn_write_is_taken_back_by_whoever_opens_first(
    tmp_path: Path, writable: bool
) -> None:
    """A question asked before the daemon runs again is answered all the same."""
    path = torn_ledger(tmp_path)

    with LedgerFile.open(path, writable=writable, footing=FOOTING) as ledger:
        assert (ledger.head.seq, ledger.verify_all()) == (2, [])
    assert not Path(f"{path}-journal").exists()


def test_h01_a_torn_write_shows_itself_to_one_who_may_only_read(tmp_path: Path) -> None:
    """What SQLite says without the cure, or the test above shows nothing."""
    path = torn_ledger(tmp_path)

    bare = sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)
    with pytest.raises(sqlite3.OperationalError) as caught:
        bare.execute("PRAGMA schema_version").fetchall()
    bare.close()
    assert caught.value.sqlite_errorcode == sqlite3.SQLITE_READONLY_ROLLBACK


@pytest.mark.parametrize("writable", [True, False])
@pytest.mark.parametrize(
    ("pragma", "expected"),
    [
        ("journal_mode", "delete"),
        # 3 is EXTRA (sqlite.org/pragma.html#pragma_synchronous).
        ("synchronous", 3),
        ("recursive_triggers", 1),
        ("cell_size_check", 1),
        ("trusted_schema", 0),
        ("busy_timeout", 200),
    ],
)
def test_h34_every_setting_reads_back_as_it_must(
    tmp_path: Path, pragma: str, expected: object, writable: bool
) -> None:
    """What durability rests on is in force on each open ledger."""
    path = tmp_path / "live.ledger"
    new_ledger(path).close()

    with LedgerFile.open(path, writable=writable, footing=FOOTING) as ledger:
        assert [(expected,)] == ledger.select(f"PRAGMA {pragma}")


@pytest.mark.parametrize(
    ("pragma", "value", "expected"),
    [
        ("synchronous", "OFF", 3),
        ("synchronous", "FULL", 3),
        ("journal_mode", "MEMORY", "delete"),
        ("journal_mode", "OFF", "delete"),
        ("journal_mode", "TRUNCATE", "delete"),
        ("recursive_triggers", "OFF", 1),
    ],
)
def test_h34_a_setting_that_reads_back_otherwise_is_refused(
    tmp_path: Path, pragma: str, value: str, expected: object
) -> None:
    """Reading back is a comparison, not a ceremony."""
    path = tmp_path / "live.ledger"
    new_ledger(path).close()

    with another_program(path) as connection:
        connection.execute(f"PRAGMA {pragma} = {value}").fetchall()
        with pytest.raises(LedgerDamagedError, match=pragma):
            prove_pragma(connection, pragma, expected, str(path))


class Deaf(sqlite3.Connection):
    """An SQLite that sets nothing and says nothing.

    "No error messages are generated if an unknown pragma is issued"
    (sqlite.org/pragma.html).
    """

    def execute(self, statement: str, /) -> sqlite3.Cursor:  # type: ignore[override]  # as ours are called
        """Answer questions alone."""
        return super().execute(statement.partition(" = ")[0])


def test_h34_a_setting_that_is_not_taken_is_refused() -> None:
    """Each is read back as it is set; a database in memory syncs nothing."""
    deaf = sqlite3.connect(":memory:", factory=Deaf)
    with closing(deaf), pytest.raises(LedgerDamagedError, match="journal_mode is mem"):
        prove_pragmas(deaf, "x")


@pytest.mark.parametrize("writable", [True, False])
def test_h34_a_file_switched_to_a_write_ahead_log_is_refused(
    tmp_path: Path, writable: bool
) -> None:
    """A journal mode set by stealth is refused, not quietly set back."""
    path = tmp_path / "live.ledger"
    new_ledger(path).close()
    with another_program(path) as stranger:
        assert stranger.execute("PRAGMA journal_mode = WAL").fetchone() == ("wal",)

    with pytest.raises(LedgerDamagedError, match="journal_mode is wal"):
        LedgerFile.open(path, writable=writable)
    with another_program(path) as stranger:
        assert stranger.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_h34_a_file_switched_while_it_is_open_takes_no_entry(tmp_path: Path) -> None:
    """The journal mode is looked at again inside each append."""
    path = tmp_path / "live.ledger"
    ledger = new_ledger(path)
    with another_program(path) as stranger:
        stranger.execute("PRAGMA journal_mode = WAL")

        with pytest.raises(LedgerDamagedError, match="journal_mode is wal"):
            ledger.append([kept()])
        assert stranger.execute("SELECT count(*) FROM entries").fetchone() == (1,)
    with pytest.raises(LedgerStorageError, match="no longer be used"):
        ledger.append([kept()])


@pytest.mark.parametrize("kind", ["nfs", "nfs4", "cifs", "smb3", "fuse.sshfs"])
def test_h34_a_ledger_on_a_network_file_system_is_refused(
    tmp_path: Path, kind: str
) -> None:
    """Neither made nor opened where locks cannot be relied on."""
    path = tmp_path / "live.ledger"
    new_ledger(path).close()
    mounts = tmp_path / "mounts"
    mounts.write_text(f"box:/x {tmp_path} {kind} rw 0 0\n", encoding="utf-8")
    footing = Footing(mounts=mounts)

    with pytest.raises(LedgerStorageError, match="network file system"):
        LedgerFile.open(path, footing=footing)
    with pytest.raises(LedgerStorageError, match="network file system"):
        new_ledger(tmp_path / "new.ledger", footing=footing)
    assert not (tmp_path / "new.ledger").exists()


def test_a_machine_without_a_mount_table_opens_its_ledger(tmp_path: Path) -> None:
    """The refusal is for what is known to be wrong."""
    path = tmp_path / "live.ledger"
    new_ledger(path).close()
    footing = Footing(mounts=tmp_path / "none")

    with LedgerFile.open(path, footing=footing) as ledger:
        assert ledger.head.seq == 1


def provoked(path: Path, *statements: str) -> sqlite3.Error:
    """The error SQLite itself raises for one of these statements."""
    with another_program(path) as connection:
        try:
            for statement in statements:
                connection.execute(statement)
        except sqlite3.Error as error:
            return error
    message = "no statement failed"
    raise AssertionError(message)


@pytest.mark.parametrize(
    ("statements", "expected"),
    [
        (
            ("PRAGMA max_page_count = 1", "INSERT INTO t VALUES (zeroblob(99999))"),
            LedgerStorageError,
        ),
        (("PRAGMA query_only = 1", "INSERT INTO t VALUES (1)"), LedgerStorageError),
        (("SELECT * FROM nothing",), LedgerDamagedError),
        (("INSERT INTO t SELECT x FROM t WHERE abs(-9223372036854775808)",),
         LedgerDamagedError),
    ],
    ids=["disk full", "read-only", "no table", "anything else"],
)  # fmt: skip
def test_h30_each_error_of_sqlite_becomes_one_of_ours(
    tmp_path: Path, statements: tuple[str, ...], expected: type[LedgerError]
) -> None:
    """Storage, lock and damage are told apart by SQLite's own codes."""
    path = tmp_path / "any.db"
    with another_program(path) as connection:
        connection.execute("CREATE TABLE t (x)")
        connection.execute("INSERT INTO t VALUES (1)")
    error = translation(provoked(path, *statements), str(path))

    assert (expected, str(path)) == (type(error), error.findings[0].where)


def test_h29_a_locked_file_is_busy_not_damaged(tmp_path: Path) -> None:
    """The lock of another program is told apart from everything else."""
    path = tmp_path / "any.db"
    with another_program(path) as holder:
        holder.execute("BEGIN EXCLUSIVE")
        error = provoked(path, "PRAGMA busy_timeout = 1", "BEGIN IMMEDIATE")

    assert type(translation(error, "x")) is LedgerBusyError


def test_h30_a_directory_in_place_of_a_file_is_a_storage_fault(tmp_path: Path) -> None:
    """What cannot be opened at all is told apart from damage."""
    with pytest.raises(sqlite3.Error) as caught:
        sqlite3.connect(tmp_path, isolation_level=None)

    assert type(translation(caught.value, "x")) is LedgerStorageError


def test_a_reader_can_change_nothing_by_two_locks(tmp_path: Path) -> None:
    """The file is opened for reading, and the connection refuses to write."""
    path = tmp_path / "any.db"
    with another_program(path) as stranger:
        stranger.execute("CREATE TABLE t (x)")
    reader = open_file(path, writable=False, busy_ms=10)
    (locked,) = reader.execute("PRAGMA query_only").fetchone()
    reader.close()
    assert 1 == locked


def test_a_lock_is_waited_for_two_seconds() -> None:
    """Far below any window of a dose (common practice, no source)."""
    assert 2000 == Footing().busy_ms


def test_only_a_second_dose_is_told_as_one(tmp_path: Path) -> None:
    """Another broken constraint is damage."""
    path = tmp_path / "any.db"
    with another_program(path) as stranger:
        stranger.execute("CREATE TABLE t (x NOT NULL)")
    error = provoked(path, "INSERT INTO t VALUES (NULL)")
    assert isinstance(error, sqlite3.IntegrityError)
    assert type(translation(error, "x")) is LedgerDamagedError


def opened_as(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The modes in which files are opened from now on.

    They stand in the name, which is heeded where it is told to be one of that kind
    (sqlite.org/uri.html, 2: otherwise it depends on how SQLite was built).
    """
    modes: list[str] = []
    connect = sqlite3.connect

    def watched(name: str, **options: Any) -> Any:  # noqa: ANN401  # as it came
        modes.append(name.rpartition("=")[2] if options.get("uri") else name)
        return connect(name, **options)

    monkeypatch.setattr(sqlite3, "connect", watched)
    return modes


def test_a_whole_ledger_is_read_without_being_opened_for_writing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Somebody who may only look need not be let do more."""
    new_ledger(tmp_path / "live.ledger").close()
    modes = opened_as(monkeypatch)
    LedgerFile.open(tmp_path / "live.ledger", writable=False, footing=FOOTING).close()

    assert {"ro"} == set(modes) - {":memory:"}


def test_h29_a_reader_waits_for_a_lock_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A lock is no torn write: nothing is tried a second time with more rights."""
    path = tmp_path / "live.ledger"
    new_ledger(path).close()
    with another_program(path) as holder:
        holder.execute("BEGIN EXCLUSIVE")
        modes = opened_as(monkeypatch)
        with pytest.raises(LedgerBusyError):
            LedgerFile.open(path, writable=False, footing=Footing(busy_ms=1))

    assert ["ro"] == modes


def test_a_file_that_is_refused_is_not_held(tmp_path: Path) -> None:
    """However long the error is told on."""
    path = tmp_path / "live.ledger"
    LedgerFile.create(path, made(), "shadow").close()
    with pytest.raises(LedgerDamagedError) as caught:
        connect(path, "live", writable=True, footing=FOOTING)
    links = [one for one in Path("/proc/self/fd").iterdir() if one.is_symlink()]

    assert "this is a shadow ledger" == caught.value.findings[0].what
    assert path not in [one.readlink() for one in links if one.exists()]


def test_a_lock_is_waited_for_as_long_as_was_said(tmp_path: Path) -> None:
    """Two seconds, where nothing else is."""
    path = tmp_path / "live.ledger"
    new_ledger(path).close()
    with LedgerFile.open(path) as ledger:
        assert [(2000,)] == ledger.select("PRAGMA busy_timeout")


def test_a_fault_of_the_program_is_none_of_the_file() -> None:
    """It passes as it came."""
    with pytest.raises(sqlite3.ProgrammingError), translated("x"):
        raise sqlite3.ProgrammingError


def test_words_that_cannot_be_read_are_damage() -> None:
    """A flipped byte in a name of the schema, which SQLite then repeats."""
    with pytest.raises(UnicodeDecodeError) as caught:
        b"\xff".decode()
    error = translation(caught.value, "x")

    assert type(error) is LedgerDamagedError
    assert "(UnicodeDecodeError)" in error.findings[0].what
