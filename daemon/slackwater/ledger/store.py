"""The ledger on disk: append, news, load, close.

Floor 6. One subject: one open ledger file. Laws here: an append is one durable
transaction on top of the head it was decided on, or nothing; what is read is checked
against the chain before anyone folds it; after a write of unclear outcome the object
is of no further use, only the file tells what survived; nothing holds a cursor.
"""

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import NamedTuple, Self

from slackwater.errors import (
    Finding,
    LedgerDamagedError,
    LedgerMissingError,
    LedgerMovedError,
    LedgerStorageError,
    RefusedError,
)
from slackwater.facts.events import AnyEvent, Checkpoint, LedgerMade
from slackwater.ledger import birth, schema, witness
from slackwater.ledger.audit import audit, steps
from slackwater.ledger.chain import GENESIS, Row, broken, follow, link
from slackwater.ledger.connection import (
    FOOTING,
    Footing,
    connect,
    prove_pragma,
    refuse_network,
    stands,
    translated,
)
from slackwater.ledger.reader import ROWS_AT_ONCE, Reader, Value
from slackwater.ledger.schema import Role
from slackwater.ledger.transaction import durable
from slackwater.ledger.witness import Witness, rolled_back
from slackwater.ports import Entry, Head


class Loaded(NamedTuple):
    """What a start folds: a checkpoint's state text, and the entries from it on."""

    state: str | None
    entries: Sequence[Entry]


class LedgerFile:
    """One ledger in one SQLite file; satisfies `ports.Ledger`.

    Belongs to the thread that opened it. Use `create` or `open`, not the constructor.
    """

    # What the file says; read as it is opened, and the first two moved on since.
    _head: Head
    _version: int
    _made: LedgerMade

    def __init__(
        self,
        connection: sqlite3.Connection,
        path: Path,
        witness_path: Path,
        *,
        writable: bool,
    ) -> None:
        self.path = path
        self.writable = writable
        self._where = str(path)
        self._connection = connection
        self._reader = Reader(connection, self._where)
        self._witness_path = witness_path
        self._useless = ""

    @classmethod
    def create(
        cls,
        path: Path,
        event: LedgerMade,
        role: Role = "live",
        footing: Footing = FOOTING,
    ) -> Self:
        """Make a new ledger whose first entry is `event`, and open it.

        Raises: RefusedError when a file stands there; LedgerStorageError, InputError.
        """
        birth.make(path, event, role, footing)
        return cls.open(path, role, footing=footing)

    @classmethod
    def open(
        cls,
        path: Path,
        role: Role = "live",
        *,
        writable: bool = True,
        footing: Footing = FOOTING,
    ) -> Self:
        """Open a ledger that exists; header, witness and newest chain are checked.

        Raises: LedgerMissingError, LedgerDamagedError, LedgerBusyError,
        LedgerStorageError.
        """
        refuse_network(path, footing.mounts)
        witness_path = witness.path_for(path, footing.witness)
        if not stands(path):
            raise _missing(path, witness_path, role)
        connection = connect(path, role, writable=writable, footing=footing)
        try:
            ledger = cls(connection, path, witness_path, writable=writable)
            ledger._prove()
        except BaseException:
            connection.close()
            raise
        return ledger

    @property
    def head(self) -> Head:
        """The head this object last read or wrote; decisions rest on it."""
        return self._head

    @property
    def made(self) -> LedgerMade:
        """Its first entry."""
        return self._made

    @property
    def ledger_id(self) -> str:
        """The identity its first entry gave it."""
        return self._made.ledger_id

    def append(self, events: Sequence[AnyEvent]) -> Head:
        """Append all events in one durable transaction on top of `head`.

        Raises: LedgerMovedError (decide anew), LedgerBusyError (nothing written, try
        later), LedgerStorageError and LedgerDamagedError (open the file again),
        InputError (an event cannot be written as it stands), RefusedError (opened for
        reading).
        """
        self._refuse_useless()
        if not self.writable:
            raise _opened_for_reading(self._where)
        if not events:
            return self._head
        # Made before the lock is taken, so that it is held for the disk alone.
        rows = link(self._head, events)
        with durable(self._connection, self._where, self._abandon):
            self._compare_head()
            self._connection.executemany(birth.INSERT, rows)
        self._head = rows[-1].head
        return self._head

    def news(self) -> Sequence[Entry]:
        """Entries others appended after `head`, at most 1 000; moves `head` on.

        Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
        """
        self._refuse_useless()
        # Read before the rows: a commit that comes in between is read now and looked
        # for once more, never overlooked.
        version = self._reader.data_version()
        if version == self._version:
            return ()
        rows = self._reader.span(self._head.seq, self._head.seq + ROWS_AT_ONCE)
        self._check_standing(rows)
        later = rows[1:]
        follow(later, self._head.seq, bytes.fromhex(self._head.sha256), self._where)
        entries = self._reader.entries(later)
        if len(later) < ROWS_AT_ONCE:
            self._version = version
        if later:
            self._head = later[-1].head
        return entries

    def load(self) -> Loaded:
        """The last checkpoint's state text, and every entry from it on up to `head`.

        The checkpoint is the first of them: its state is that before its own entry.
        Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
        """
        self._refuse_useless()
        start = self._reader.last_checkpoint(self._head)
        entries: list[Entry] = []
        for rows in self._reader.chained(start or 1, self._head):
            entries.extend(self._reader.entries(rows))
        if start == 0:
            return Loaded(None, entries)
        checkpoint = entries[0].event
        if not isinstance(checkpoint, Checkpoint):
            raise LedgerDamagedError(broken(start, "no checkpoint", self._where))
        return Loaded(checkpoint.state, entries)

    def rows(self) -> Iterator[list[Row]]:
        """Every row up to `head`, checked against the chain, page by page.

        Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
        """
        self._refuse_useless()
        return self._reader.chained(1, self._head)

    def select(
        self, question: str, values: Mapping[str, Value] | Sequence[Value] = ()
    ) -> list[tuple[Value, ...]]:
        """Answer a read-only question; all rows at once, no cursor stays open.

        The question bounds itself to `ROWS_AT_ONCE` rows looked at.
        Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
        """
        self._refuse_useless()
        return self._reader.select(question, values)

    def probe_write(self) -> None:
        """Write durably without adding an entry: the disk still takes writes.

        Raises: LedgerBusyError, LedgerStorageError, LedgerDamagedError.
        """
        self._refuse_useless()
        with durable(self._connection, self._where, self._abandon):
            self._check_standing(self._reader.span(self._head.seq, self._head.seq))
            version = schema.version_of(self._connection)
            # The same number again: it dirties the first page, which is enough.
            self._connection.execute(f"PRAGMA user_version = {version:d}")

    def write_witness(self) -> None:
        """Remember `head` outside the file; cheap enough for once an hour.

        Raises: LedgerStorageError, LedgerDamagedError.
        """
        self._refuse_useless()
        now = Witness(ledger_id=self.ledger_id, head=self._head)
        witness.write(self._witness_path, now)

    def verify_all(self) -> list[Finding]:
        """Read everything and list what is wrong; empty when all is well.

        Raises: LedgerBusyError, LedgerStorageError when it cannot be read at all.
        """
        self._refuse_useless()
        return audit(self._connection, self._where)

    def audit_steps(self) -> Iterator[list[Finding]]:
        """Read everything in small steps; each gives what it found.

        Raises: LedgerBusyError, LedgerStorageError when it cannot be read at all.
        """
        self._refuse_useless()
        return steps(self._connection, self._where)

    def close(self) -> None:
        """Close the file; appending afterwards is an error. Safe to repeat.

        Raises: LedgerStorageError, LedgerDamagedError when the witness could not be
        written.
        """
        if self._useless:
            return
        try:
            if self.writable:
                self.write_witness()
        finally:
            self._abandon("it was closed")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _prove(self) -> None:
        # Read before the entries: a witness that another program moves on meanwhile
        # may know more than was read here, and would look like a rolled back file.
        seen = witness.read(self._witness_path)
        with translated(self._where):
            if self.writable:
                schema.migrate(self._connection)
            schema.check_schema(self._connection, self._where)
        self._version = self._reader.data_version()
        newest = self._reader.newest()
        if newest is None:
            raise LedgerDamagedError(broken(1, "it is missing", self._where))
        self._head = newest.head
        self._made = self._read_made()
        start = self._reader.last_checkpoint(self._head)
        for _rows in self._reader.chained(start or 1, self._head):
            pass
        self._compare_witness(seen)

    def _read_made(self) -> LedgerMade:
        rows = [self._reader.row(1)]
        follow(rows, 0, GENESIS, self._where)
        (first,) = self._reader.entries(rows)
        if (
            isinstance(first.event, LedgerMade)
            and self._reader.mark("ledger_id") == first.event.ledger_id
        ):
            return first.event
        fault = "it does not name this ledger"
        raise LedgerDamagedError(broken(1, fault, self._where))

    def _compare_witness(self, seen: Witness | None) -> None:
        if seen is None:
            return
        then = self._reader.span(seen.head.seq, seen.head.seq)
        heads = [Witness(ledger_id=self.ledger_id, head=row.head) for row in then]
        if heads != [seen]:
            raise rolled_back(self._where, self._head, seen)

    def _compare_head(self) -> None:
        # Another program can switch the file to a write-ahead log between two
        # appends; inside the transaction it no longer can.
        prove_pragma(self._connection, "journal_mode", "delete", self._where)
        newest = self._reader.newest()
        if newest is not None and newest.head == self._head:
            return
        self._check_standing(self._reader.span(self._head.seq, self._head.seq))
        raise LedgerMovedError(
            Finding(
                what="another program appended first",
                where=self._where,
                expected=f"entry {self._head.seq} to be the newest",
                do="Nothing was written. Read the news and decide again.",
            )
        )

    def _check_standing(self, rows: Sequence[Row]) -> None:
        # Others may add to what we know, never take from it.
        if rows and rows[0].head == self._head:
            return
        raise LedgerDamagedError(
            Finding(
                what="the file was exchanged or rolled back while it was open",
                where=self._where,
                expected=f"entry {self._head.seq} as this program knows it",
                do="Doses stay held. Find out what replaced the file.",
            )
        )

    def _refuse_useless(self) -> None:
        if self._useless:
            raise LedgerStorageError(
                Finding(
                    what=f"this ledger can no longer be used: {self._useless}",
                    where=self._where,
                    expected="an open ledger",
                    do="Open the file again and read what survived.",
                )
            )

    def _abandon(self, why: str) -> None:
        self._useless = why
        self._connection.close()


# What is made afresh is said last, with what it costs: it looks like the quick way.
_PUT_BACK = (
    "Put it back: `slackwater restore FILE` does so from a backup. Only where there "
    "never was one, or no backup of it: `slackwater setup`, which writes the files and "
    "makes it; where files are there already, `slackwater init`, which asks what was "
    "dosed in the last 24 hours. A ledger made afresh has forgotten approvals, holds, "
    "calibrations and tests."
)


def _missing(path: Path, witness_path: Path, role: Role) -> LedgerMissingError:
    stood = f" (but {witness_path} remembers one)" if witness_path.exists() else ""
    if role == "shadow":
        return LedgerMissingError(
            Finding(
                what=f"there is no ledger of a shadow run{stood}",
                where=str(path),
                expected="imagined doses, kept while no pump is commanded",
                do="Start `slackwater run`; it keeps them here until you enable pumps.",
            )
        )
    return LedgerMissingError(
        Finding(
            what=f"there is no ledger{stood}",
            where=str(path),
            expected="the ledger of this machine; without it nothing is dosed",
            do=_PUT_BACK,
        )
    )


def _opened_for_reading(where: str) -> RefusedError:
    return RefusedError(
        Finding(
            what="this ledger was opened for reading",
            where=where,
            expected="a ledger opened for writing",
            do="Nothing was written.",
        )
    )
