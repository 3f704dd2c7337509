"""A whole copy of a ledger, made while others append to it.

Floor 6. One subject: the rows of one ledger in a file of their own. Laws here: the copy
ends at the entry that was the newest when it began; every row is checked against the
chain before it is written; the source is read a thousand rows at a time with no cursor
left open, so that the daemon's commit never waits for a copy.

SQLite's own online backup would hold a lock for its whole length or begin anew after
each entry of the daemon (sqlite.org/backup.html); an append-only chain needs neither.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from slackwater.errors import LedgerDamagedError
from slackwater.ledger import schema
from slackwater.ledger.birth import INSERT
from slackwater.ledger.chain import COLUMNS, GENESIS, Row, broken, follow, has_types
from slackwater.ledger.connection import (
    FOOTING,
    open_file,
    prove_pragmas,
    translated,
)
from slackwater.ledger.reader import ROWS_AT_ONCE
from slackwater.ledger.schema import APPLICATION_IDS
from slackwater.ledger.store import LedgerFile

# Readable by the group that may look, writable by its owner alone.
_MODE = 0o640
_ROWS = f"SELECT {COLUMNS} FROM entries WHERE seq BETWEEN ? AND ? ORDER BY seq"  # noqa: S608 -- a constant
_MARKS = "SELECT name, value FROM marks"


def copy_live(source: LedgerFile, target: Path) -> None:
    """Write the entries up to the head of `source` into a new file.

    Raises: FileExistsError when the file is there; the ledger errors.
    """
    target.touch(mode=_MODE, exist_ok=False)
    with translated(str(target)):
        copy = open_file(target, writable=True, busy_ms=FOOTING.busy_ms)
        with closing(copy):
            _fill(copy, source)


def _fill(copy: sqlite3.Connection, source: LedgerFile) -> None:
    prove_pragmas(copy, "")
    copy.execute(f"PRAGMA application_id = {APPLICATION_IDS['live']:d}")
    schema.migrate(copy)
    copy.execute("BEGIN IMMEDIATE")
    copy.executemany("INSERT INTO marks VALUES (?, ?)", source.select(_MARKS))
    for rows in _pages(source):
        copy.executemany(INSERT, rows)
    copy.execute("COMMIT")


def _pages(source: LedgerFile) -> Iterator[list[Row]]:
    """Checked rows from the first entry to the head, page by page."""
    where, head = str(source.path), source.head
    seq, prev = 0, GENESIS
    while seq < head.seq:
        last = min(seq + ROWS_AT_ONCE, head.seq)
        rows = [Row._make(row) for row in source.select(_ROWS, (seq + 1, last))]
        if len(rows) != last - seq or not all(map(has_types, rows)):
            fault = "it or one soon after it is missing or of another type"
            raise LedgerDamagedError(broken(seq + 1, fault, where))
        follow(rows, seq, prev, where)
        seq, prev = last, rows[-1].sha256
        yield rows
    if prev.hex() != head.sha256:
        raise LedgerDamagedError(broken(seq, "it is of another history", where))
