"""Reading rows in small, complete answers.

Floor 6. One subject: questions to the file. Laws here: every answer is fetched whole
and looks at no more than `ROWS_AT_ONCE` rows, because an open reader makes the
daemon's commit wait; rows that are folded were checked against the chain first.
"""

import sqlite3
from collections.abc import Iterator, Mapping, Sequence

from slackwater.errors import LedgerDamagedError
from slackwater.ledger.chain import COLUMNS, GENESIS, Row, broken, follow, has_types
from slackwater.ledger.codec import decode
from slackwater.ledger.connection import translated
from slackwater.ports import Entry, Head

ROWS_AT_ONCE = 1000

Value = str | int | float | None

_SELECT = f"SELECT {COLUMNS} FROM entries"  # noqa: S608 -- a constant
_NEWEST = f"{_SELECT} ORDER BY seq DESC LIMIT 1"
_SPAN = f"{_SELECT} WHERE seq BETWEEN ? AND ? ORDER BY seq"
_LAST_CHECKPOINT = (
    "SELECT seq FROM entries INDEXED BY checkpoints "
    "WHERE kind = 'checkpoint' AND seq <= ? ORDER BY seq DESC LIMIT 1"
)


def whole(value: Value) -> int:
    """A sequence number, a version or a count: a whole number in every row."""
    return int(str(value))


def spans(first: int, last: int) -> Iterator[tuple[int, int]]:
    """The numbers from `first` to `last`, in pages: the ends of each, both included."""
    for begin in range(first, last + 1, ROWS_AT_ONCE):
        yield begin, min(begin + ROWS_AT_ONCE - 1, last)


class Reader:
    """The questions a ledger asks its file; every method reads and closes.

    All raise LedgerDamagedError, LedgerBusyError or LedgerStorageError.
    """

    def __init__(self, connection: sqlite3.Connection, where: str) -> None:
        self._connection = connection
        self._where = where

    def select(
        self, question: str, values: Mapping[str, Value] | Sequence[Value] = ()
    ) -> list[tuple[Value, ...]]:
        """All rows of the answer; the question bounds itself."""
        with translated(self._where):
            return self._connection.execute(question, values).fetchall()

    def newest(self) -> Row | None:
        """The newest row, None in an empty ledger."""
        return next(iter(self._rows(_NEWEST)), None)

    def span(self, first: int, last: int) -> list[Row]:
        """The rows from `first` to `last`, both included, unchecked."""
        return self._rows(_SPAN, (first, last))

    def row(self, seq: int) -> Row:
        """One row; that it is missing is damage."""
        for row in self.span(seq, seq):
            return row
        raise self._broken(seq, "it is missing")

    def mark(self, name: str) -> str | None:
        """A value written when the ledger was made."""
        found = self.select("SELECT value FROM marks WHERE name = ?", (name,))
        return next((str(value) for (value,) in found), None)

    def data_version(self) -> int:
        """A number that changes when another connection commits."""
        ((version,),) = self.select("PRAGMA data_version")
        return whole(version)

    def last_checkpoint(self, head: Head) -> int:
        """The sequence number of the last checkpoint up to `head`, 0 for none."""
        found = self.select(_LAST_CHECKPOINT, (head.seq,))
        return next((whole(seq) for (seq,) in found), 0)

    def chained(self, start: int, head: Head) -> Iterator[list[Row]]:
        """Checked rows from `start` to `head`, page by page.

        The chain is entered at `start` on the word of the row before it; the audit
        looks at what is older.
        """
        seq = start - 1
        prev = self.row(seq).sha256 if seq else GENESIS
        while seq < head.seq:
            last = min(seq + ROWS_AT_ONCE, head.seq)
            rows = self.span(seq + 1, last)
            follow(rows, seq, prev, self._where)
            if len(rows) != last - seq:
                raise self._broken(last, "it is missing")
            seq, prev = last, rows[-1].sha256
            yield rows
        if prev.hex() != head.sha256:
            raise self._broken(seq, "it is of another history")

    def entries(self, rows: Sequence[Row]) -> list[Entry]:
        """The events of rows, strictly read."""
        return [
            Entry(
                seq=row.seq, event=decode(row.body, f"{self._where}, entry {row.seq}")
            )
            for row in rows
        ]

    def _rows(self, question: str, values: Sequence[Value] = ()) -> list[Row]:
        with translated(self._where):
            found = self._connection.execute(question, values).fetchall()
        rows = [Row._make(row) for row in found]
        for row in rows:
            if not has_types(row):
                raise self._broken(row.seq, "a column holds what it cannot")
        return rows

    def _broken(self, seq: int, fault: str) -> LedgerDamagedError:
        return LedgerDamagedError(broken(seq, fault, self._where))
