"""One durable write: all of it on the disk when it returns, or none of it.

Floor 6. One subject: begin, commit, and what a failure leaves behind. Laws here: the
write lock is taken before anything is looked at; a lock that could not be had leaves
everything as it was; after any other failure the outcome is unclear, the connection
is closed, and only opening the file again tells what survived.

The last law: after a failed sync a later commit may appear to work although the pages
before it never reached the disk.
"""

import sqlite3
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from slackwater.errors import LedgerBusyError, LedgerMovedError
from slackwater.ledger.connection import translated


@contextmanager
def durable(
    connection: sqlite3.Connection, where: str, abandon: Callable[[str], None]
) -> Iterator[None]:
    """Run a block in one immediate transaction and commit it.

    `abandon` is told why when the connection must not be used again.
    Raises: LedgerBusyError and LedgerMovedError with everything rolled back;
    LedgerStorageError and LedgerDamagedError after `abandon`.
    """
    try:
        with translated(where):
            connection.execute("BEGIN IMMEDIATE")
            yield
            # A named point, so that tests can end the process exactly here.
            sys.audit("slackwater.before_commit")
            # Note 1: a reader can make this wait and give up (busy). SQLite then has
            # written nothing and the transaction still stands, to be rolled back.
            connection.execute("COMMIT")
    except (LedgerBusyError, LedgerMovedError):
        if not _rolled_back(connection):
            abandon("a write could not be taken back")
        raise
    except BaseException:
        abandon("a write failed and may have been half done")
        raise


def _rolled_back(connection: sqlite3.Connection) -> bool:
    if connection.in_transaction:
        try:
            connection.execute("ROLLBACK")
        except sqlite3.Error:
            return False
    return not connection.in_transaction
