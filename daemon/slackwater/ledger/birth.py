"""How a ledger comes into being: whole, once, and never by accident.

Floor 6. One subject: making the file. Laws here: a file that stands there is never
touched; a ledger appears under its name complete with its first entry or not at all;
a journal left by a deleted ledger is never replayed into a new one.
"""

import os
import sqlite3
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from slackwater.errors import Finding, LedgerStorageError, RefusedError
from slackwater.facts.events import LedgerMade
from slackwater.ledger import schema, witness
from slackwater.ledger.chain import COLUMNS, Row, link
from slackwater.ledger.connection import (
    Footing,
    open_file,
    prove_pragmas,
    refuse_network,
    translated,
)
from slackwater.ledger.schema import APPLICATION_IDS, Role

# Readable by the group that may look, writable by its owner alone.
MODE = 0o640

INSERT = f"INSERT INTO entries ({COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"  # noqa: S608 -- a constant


def make(path: Path, event: LedgerMade, role: Role, footing: Footing) -> None:
    """Make a ledger file with its first entry, and its witness.

    Raises: RefusedError when anything stands there; LedgerStorageError, InputError.
    """
    rows = link(None, [event])
    refuse_network(path.parent, footing.mounts)
    refuse_leftovers(path)
    with _draft(path) as draft, translated(str(path)):
        made = open_file(draft, writable=True, busy_ms=footing.busy_ms)
        with closing(made):
            fill(made, role, event.ledger_id, [rows])
    (first,) = rows
    witness.replace(
        witness.path_for(path, footing.witness),
        witness.Witness(ledger_id=event.ledger_id, head=first.head),
    )


def place(whole: Path, path: Path) -> None:
    """Give a whole ledger its name and mode; no file that stands there is touched.

    Raises: RefusedError when anything stands there; LedgerStorageError.
    """
    refuse_leftovers(path)
    with _stored(path):
        whole.chmod(MODE)
    _put_in_place(whole, path)


def fill(
    connection: sqlite3.Connection,
    role: Role,
    ledger_id: str,
    pages: Iterable[list[Row]],
) -> None:
    """Make an empty file a ledger with these rows, in one transaction.

    Raises: sqlite3.Error; LedgerDamagedError when a setting does not read back.
    """
    prove_pragmas(connection, "")
    connection.execute(f"PRAGMA application_id = {APPLICATION_IDS[role]:d}")
    schema.migrate(connection)
    connection.execute("BEGIN IMMEDIATE")
    connection.execute("INSERT INTO marks VALUES ('ledger_id', ?)", (ledger_id,))
    for rows in pages:
        connection.executemany(INSERT, rows)
    connection.execute("COMMIT")


@contextmanager
def _draft(path: Path) -> Iterator[Path]:
    # Filled under another name and linked into place: a link is refused where a file
    # stands, and a crash on the way leaves no half ledger under the name.
    with _stored(path):
        descriptor, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    draft = Path(name)
    try:
        with _stored(path):
            try:
                os.fchmod(descriptor, MODE)
            finally:
                os.close(descriptor)
        yield draft
        _put_in_place(draft, path)
    finally:
        # A name that cannot be taken away is litter, and no reason to say otherwise.
        with suppress(OSError):
            draft.unlink()


def _put_in_place(draft: Path, path: Path) -> None:
    with _stored(path):
        witness.belong(draft, path.parent)
        try:
            path.hardlink_to(draft)
        except FileExistsError as error:
            raise _stands(path) from error
        witness.sync_directory(path.parent)


def refuse_leftovers(path: Path) -> None:
    """Refuse a place where a ledger stands, or the journal of one that is gone.

    Raises: RefusedError; LedgerStorageError where nobody can look.
    """
    with _stored(path):
        if path.exists() or path.is_symlink():
            raise _stands(path)
        for suffix in ("-journal", "-wal", "-shm"):
            leftover = path.with_name(path.name + suffix)
            if leftover.exists():
                raise _left_behind(leftover)


@contextmanager
def _stored(path: Path) -> Iterator[None]:
    """Turn what the system says into ours."""
    try:
        yield
    except OSError as error:
        raise _storage(path, error) from error


def _left_behind(leftover: Path) -> RefusedError:
    return RefusedError(
        Finding(
            what="a deleted ledger left its journal behind",
            where=str(leftover),
            expected="a clean place for a new ledger",
            do="Find out why the ledger is gone. If a new one is really wanted, move "
            "this file away first: SQLite would replay it.",
        )
    )


def _stands(path: Path) -> RefusedError:
    return RefusedError(
        Finding(
            what="a file stands here already",
            where=str(path),
            expected="no file where a ledger is made or put back",
            do="Use the ledger that is there; nothing was changed.",
        )
    )


def _storage(path: Path, error: OSError) -> LedgerStorageError:
    return LedgerStorageError(
        Finding(
            what=f"the ledger cannot be made: {error.strerror}",
            where=str(path),
            expected="a directory that exists and takes files",
            do="Make the state directory and give it to the daemon's user.",
        )
    )
