"""A connection to the file that keeps SQLite inside its safe envelope.

Floor 6. One subject: opening, and what SQLite's errors mean. Laws here: what makes a
commit durable is set, read back and refused if different; the file is never opened
except through SQLite; nothing waits longer than the busy limit.

The second law: closing any other descriptor of the same file drops all POSIX locks
this program holds on it, also those of a transaction under way.
"""

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

from slackwater.errors import (
    Finding,
    LedgerBusyError,
    LedgerDamagedError,
    LedgerError,
    LedgerMovedError,
    LedgerStorageError,
)
from slackwater.ledger.schema import (
    ALREADY_ATTEMPTED,
    ALREADY_INTENDED,
    APPLICATION_IDS,
    Role,
)

# Locks over a network are promises nobody keeps (SQLite's own FAQ, question 5).
NETWORK_FILESYSTEMS = frozenset(
    {"nfs", "nfs4", "cifs", "smb3", "smbfs", "afs", "ncpfs", "fuse.sshfs"}
)

# Set on every connection, then read back: pragma, value to set, value to find.
# Source: sqlite.org/pragma.html (synchronous EXTRA reads back as 3).
PRAGMAS: tuple[tuple[str, str, object], ...] = (
    ("journal_mode", "DELETE", "delete"),
    ("synchronous", "EXTRA", 3),
    ("recursive_triggers", "ON", 1),
    ("cell_size_check", "ON", 1),
    ("trusted_schema", "OFF", 0),
    ("mmap_size", "0", 0),
)

# Primary result codes (sqlite.org/rescode.html) by what a person has to look at.
_BUSY = frozenset({sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED})
_STORAGE = frozenset(
    {
        sqlite3.SQLITE_FULL,
        sqlite3.SQLITE_IOERR,
        sqlite3.SQLITE_READONLY,
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_PERM,
        sqlite3.SQLITE_NOMEM,
        sqlite3.SQLITE_NOLFS,
        sqlite3.SQLITE_PROTOCOL,
    }
)
_TWICE = frozenset({ALREADY_INTENDED, ALREADY_ATTEMPTED})


@dataclass(frozen=True, slots=True, kw_only=True)
class Footing:
    """What a ledger stands on.

    `busy_ms` the longest wait for a lock, far below any dose window; `witness` where
    the witness is kept (None: beside the file); `mounts` the table of mounted file
    systems.
    """

    busy_ms: int = 2000
    witness: Path | None = None
    mounts: Path = Path("/proc/self/mounts")


FOOTING = Footing()


def connect(
    path: Path, role: Role, *, writable: bool, footing: Footing
) -> sqlite3.Connection:
    """Open a file that exists and prove that it is a ledger of this role.

    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    with translated(str(path)):
        if not writable:
            _roll_back_torn(path, footing.busy_ms)
        connection = open_file(path, writable=writable, busy_ms=footing.busy_ms)
    try:
        with translated(str(path)):
            _check_role(connection, role, str(path))
            # Read before it is set: only the write-ahead log is remembered by the
            # file, and setting the mode would quietly turn a foreign change back.
            prove_pragma(connection, "journal_mode", "delete", str(path))
            prove_pragmas(connection, str(path))
    except BaseException:
        connection.close()
        raise
    return connection


def open_file(path: Path, *, writable: bool, busy_ms: int) -> sqlite3.Connection:
    """A bare connection with implicit transactions off; never makes a file."""
    mode = "rw" if writable else "ro"
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode={mode}",
        uri=True,
        timeout=busy_ms / 1000,
        isolation_level=None,
    )
    if not writable:
        connection.execute("PRAGMA query_only = ON")
    return connection


def _roll_back_torn(path: Path, busy_ms: int) -> None:
    """Take back a write that a dead program left half done, where this user may.

    A file opened for reading cannot do so and would refuse every question until the
    daemon runs again (sqlite.org/rescode.html#readonly_rollback).
    """
    try:
        _look_into(path, writable=False, busy_ms=busy_ms)
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode != sqlite3.SQLITE_READONLY_ROLLBACK:
            raise
        _look_into(path, writable=True, busy_ms=busy_ms)


def _look_into(path: Path, *, writable: bool, busy_ms: int) -> None:
    with closing(open_file(path, writable=writable, busy_ms=busy_ms)) as connection:
        connection.execute("PRAGMA schema_version").fetchall()


def prove_pragmas(connection: sqlite3.Connection, where: str) -> None:
    """Set what durability rests on, read it back, refuse anything else.

    Raises: LedgerDamagedError.
    """
    for name, value, expected in PRAGMAS:
        connection.execute(f"PRAGMA {name} = {value}").fetchall()
        prove_pragma(connection, name, expected, where)


def prove_pragma(
    connection: sqlite3.Connection, name: str, expected: object, where: str
) -> None:
    """Refuse a setting that does not read back as expected.

    Raises: LedgerDamagedError.
    """
    # An SQLite built without memory mapping answers with no row at all.
    for (found,) in connection.execute(f"PRAGMA {name}").fetchall():
        if found != expected:
            _damaged(f"{name} is {found}", f"{name} {expected}", where)


def stands(path: Path) -> bool:
    """Whether a file stands there.

    Raises: LedgerStorageError when the system does not say.
    """
    try:
        return path.is_file()
    except OSError as error:
        raise LedgerStorageError(
            Finding(
                what=f"nobody can see whether a ledger is there: {error.strerror}",
                where=str(path),
                expected="a directory this user may look into, on a disk that works",
                do="Run it as the user the daemon runs as, and look at the path and "
                "the health of the disk.",
            )
        ) from error


def refuse_network(path: Path, mounts: Path) -> None:
    """Refuse a file system whose locks cannot be relied on, where it can be told.

    Raises: LedgerStorageError.
    """
    try:
        table = mounts.read_text(encoding="utf-8", errors="surrogateescape")
    except OSError:
        return
    kind = filesystem_of(path, table)
    if kind in NETWORK_FILESYSTEMS:
        raise LedgerStorageError(
            Finding(
                what=f"the ledger would lie on a network file system ({kind})",
                where=str(path),
                expected="a disk of this machine, whose locks can be relied on",
                do="Put the state directory on a local disk.",
            )
        )


def filesystem_of(path: Path, mount_table: str) -> str:
    """The type of the file system a path lies on; empty when it cannot be told.

    `mount_table` is text in the format of fstab(5), as the kernel shows it.
    """
    # A later mount on the same point hides the earlier one.
    kinds: dict[Path, str] = {}
    for line in mount_table.splitlines():
        match line.split(" "):
            case [_source, point, kind, *_]:
                kinds[Path(_unescaped(point))] = kind
    real = path.resolve()
    return next((kinds[at] for at in (real, *real.parents) if at in kinds), "")


@contextmanager
def translated(where: str) -> Iterator[None]:
    """Turn SQLite's errors into ours, with the file named.

    A ProgrammingError passes: it says nothing about the file.
    Raises: LedgerBusyError, LedgerStorageError, LedgerDamagedError.
    """
    try:
        yield
    except sqlite3.ProgrammingError:
        raise
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise translation(error, where) from error


def translation(error: sqlite3.Error | UnicodeDecodeError, where: str) -> LedgerError:
    """Our error for one of SQLite's, by its primary result code.

    A flipped byte in the schema can make SQLite's own message undecodable; Python
    then raises that instead.
    """
    code = getattr(error, "sqlite_errorcode", None)
    primary = None if code is None else code & 0xFF
    name = getattr(error, "sqlite_errorname", type(error).__name__)
    if primary in _BUSY:
        return LedgerBusyError(
            Finding(
                what=f"another program holds the ledger ({name})",
                where=where,
                expected="a lock within the busy limit",
                do="Nothing was written. End whatever keeps the file locked.",
            )
        )
    if primary in _STORAGE:
        return LedgerStorageError(
            Finding(
                what=f"the disk refused: {error} ({name})",
                where=where,
                expected="a disk with room that takes writes",
                do="Doses stay held. Look at free space, permissions and the health "
                "of the disk, then start again.",
            )
        )
    if primary == sqlite3.SQLITE_CONSTRAINT and str(error) in _TWICE:
        return LedgerMovedError(
            Finding(
                what=f"{error}: nothing is ever sent twice",
                where=where,
                expected="a dose and an attempt that no entry names yet",
                do="Nothing was written. Read the news and decide again without it.",
            )
        )
    return LedgerDamagedError(
        Finding(
            what=f"the file cannot be read as a ledger: {error} ({name})",
            where=where,
            expected="a whole ledger",
            do="Doses stay held. Keep this file for inspection and restore a copy "
            "that is whole.",
        )
    )


def _check_role(connection: sqlite3.Connection, role: Role, where: str) -> None:
    (found,) = connection.execute("PRAGMA application_id").fetchone()
    if found != APPLICATION_IDS[role]:
        names = {number: name for name, number in APPLICATION_IDS.items()}
        kind = names.get(found)
        what = f"this is a {kind} ledger" if kind else "this is not a ledger"
        _damaged(what, f"a {role} ledger", where)


def _damaged(what: str, expected: str, where: str) -> NoReturn:
    raise LedgerDamagedError(
        Finding(
            what=what,
            where=where,
            expected=expected,
            do="Doses stay held. Find out which program changed the file, then "
            "restore a copy that is whole.",
        )
    )


def _unescaped(field: str) -> str:
    # The kernel writes space, tab, newline and backslash as octal (proc(5)).
    return re.sub(r"\\([0-7]{3})", lambda match: chr(int(match[1], 8)), field)
