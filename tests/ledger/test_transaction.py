"""A write is whole or none, and what was unclear is not gone on with."""

import sqlite3
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from slackwater.errors import Finding, LedgerBusyError, LedgerMovedError
from slackwater.ledger.transaction import durable

MOVED = LedgerMovedError(Finding(what="moved", where="x", expected="y", do="z"))


class Stubborn(sqlite3.Connection):
    """A connection whose transaction cannot be taken back."""

    def execute(self, statement: str, /) -> sqlite3.Cursor:  # type: ignore[override]  # as ours are called
        """Carry it out, or fail as a disk does."""
        if statement == "ROLLBACK":
            message = "disk I/O error"
            raise sqlite3.OperationalError(message)
        return super().execute(statement)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A file with a table that nothing is in."""
    place = tmp_path / "any.db"
    with closing(sqlite3.connect(place)) as connection:
        connection.execute("CREATE TABLE t (x)")
    return place


@pytest.fixture
def connection(path: Path) -> Iterator[sqlite3.Connection]:
    """The file as ours are opened."""
    opened = sqlite3.connect(path, timeout=0, isolation_level=None)
    with closing(opened) as one:
        yield one


def rows(path: Path) -> list[tuple[int]]:
    """What another program finds in the table."""
    with closing(sqlite3.connect(path, timeout=0)) as stranger:
        return stranger.execute("SELECT x FROM t").fetchall()


def write(
    connection: sqlite3.Connection, told: list[str], error: BaseException | None = None
) -> None:
    """Write a row, and then fail with this error if there is one."""
    with durable(connection, "x", told.append):
        connection.execute("INSERT INTO t VALUES (1)")
        if error is not None:
            raise error


def test_what_was_written_is_there_for_others(
    path: Path, connection: sqlite3.Connection
) -> None:
    """Committed when it returns; nobody is told to stop."""
    told: list[str] = []
    write(connection, told)

    assert ([(1,)], []) == (rows(path), told)


def test_a_decision_that_was_overtaken_is_taken_back(
    path: Path, connection: sqlite3.Connection
) -> None:
    """Nothing is kept, and the connection is as good as before."""
    told: list[str] = []
    with pytest.raises(LedgerMovedError):
        write(connection, told, MOVED)
    assert ([], [], False) == (rows(path), told, connection.in_transaction)


def test_a_lock_that_was_not_had_leaves_the_connection_as_it_was(
    path: Path, connection: sqlite3.Connection
) -> None:
    """There is nothing to take back."""
    told: list[str] = []
    with closing(sqlite3.connect(path, isolation_level=None)) as stranger:
        stranger.execute("BEGIN IMMEDIATE")
        with pytest.raises(LedgerBusyError):
            write(connection, told)
    assert ([], False) == (told, connection.in_transaction)


def test_what_cannot_be_taken_back_is_not_gone_on_with(path: Path) -> None:
    """Whoever holds the connection is told, and the first error is the one raised."""
    told: list[str] = []
    stubborn = sqlite3.connect(path, isolation_level=None, factory=Stubborn)
    with closing(stubborn), pytest.raises(LedgerMovedError):
        write(stubborn, told, MOVED)
    assert ["a write could not be taken back"] == told


def test_any_other_failure_leaves_the_outcome_unclear(
    connection: sqlite3.Connection,
) -> None:
    """A person's interruption among them."""
    told: list[str] = []
    with pytest.raises(KeyboardInterrupt):
        write(connection, told, KeyboardInterrupt())
    assert ["a write failed and may have been half done"] == told


def test_tests_can_end_a_process_right_before_the_commit(
    path: Path, connection: sqlite3.Connection
) -> None:
    """The row is written by then, and nobody else sees it."""
    seen: list[list[tuple[int]]] = []
    watching = [True]

    # A hook cannot be taken away again; it only looks while it is watching.
    def watch(name: str, _arguments: object) -> None:
        if watching and name == "slackwater.before_commit":
            seen.append(rows(path))

    sys.addaudithook(watch)
    write(connection, [])
    watching.clear()
    assert [[]] == seen
