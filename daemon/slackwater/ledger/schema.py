"""Tables, triggers and the steps by which they came to be.

Floor 6. One subject: the shape of the file. Laws here: entries are only ever added,
each on top of the newest; one dose has one intent and one attempt is made once, for
ever; a step of the schema runs whole or not at all and leaves a row.
"""

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from functools import cache
from typing import Literal, NamedTuple

from slackwater.errors import Finding, LedgerDamagedError

Role = Literal["live", "shadow"]

# Two file identities, so that a shadow ledger can never be opened as the live one.
# ASCII "SWLL" (live) and "SWLS" (shadow), read as big-endian numbers.
APPLICATION_IDS: dict[Role, int] = {"live": 0x53574C4C, "shadow": 0x53574C53}

# The triggers raise these words; `store` tells people what they mean.
ALREADY_INTENDED = "dose already intended"
ALREADY_ATTEMPTED = "attempt already used"


class Step(NamedTuple):
    """One change of the schema; statements run in order in one transaction."""

    name: str
    statements: tuple[str, ...]


def _frozen(table: str) -> tuple[str, ...]:
    # An append-only table, said by the file itself to whoever opens it.
    return tuple(
        f"CREATE TRIGGER {table}_no_{word} BEFORE {word} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{table} are never changed'); END"
        for word in ("update", "delete")
    )


_TABLES = (
    """CREATE TABLE steps (
        number INTEGER PRIMARY KEY,
        name TEXT NOT NULL,
        after_seq INTEGER NOT NULL
    ) STRICT""",
    "CREATE TABLE marks (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT",
    # A NULL is distinct from every other NULL, so an intent without its identities
    # would slip past the unique indexes: the CHECK closes that door.
    """CREATE TABLE entries (
        seq INTEGER PRIMARY KEY,
        at TEXT NOT NULL,
        kind TEXT NOT NULL,
        dose TEXT,
        attempt TEXT,
        pump TEXT,
        body TEXT NOT NULL,
        prev BLOB NOT NULL CHECK (length(prev) = 32),
        sha256 BLOB NOT NULL CHECK (length(sha256) = 32),
        CHECK (kind <> 'dose_intended' OR (dose IS NOT NULL
            AND attempt IS NOT NULL AND pump IS NOT NULL))
    ) STRICT""",
    "CREATE UNIQUE INDEX one_intent ON entries (dose) WHERE kind = 'dose_intended'",
    "CREATE UNIQUE INDEX one_attempt ON entries (attempt) WHERE kind = 'dose_intended'",
    "CREATE INDEX checkpoints ON entries (seq) WHERE kind = 'checkpoint'",
)

# INSERT OR REPLACE deletes rows without firing the delete trigger unless the other
# connection switched recursive triggers on; this one fires before any of that.
_FOLLOW = f"""CREATE TRIGGER entries_follow BEFORE INSERT ON entries BEGIN
    SELECT RAISE(ABORT, 'an entry must follow the newest one')
    WHERE NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM entries)
        OR NEW.prev IS NOT coalesce(
            (SELECT sha256 FROM entries ORDER BY seq DESC LIMIT 1), zeroblob(32));
    SELECT RAISE(ABORT, '{ALREADY_INTENDED}')
    WHERE NEW.kind = 'dose_intended' AND EXISTS (
        SELECT 1 FROM entries WHERE kind = 'dose_intended' AND dose = NEW.dose);
    SELECT RAISE(ABORT, '{ALREADY_ATTEMPTED}')
    WHERE NEW.kind = 'dose_intended' AND EXISTS (
        SELECT 1 FROM entries WHERE kind = 'dose_intended' AND attempt = NEW.attempt);
END"""  # noqa: S608 -- our own constants

# What histories read by wall time; a later kind needs a step of its own.
HISTORY_KINDS = (
    "added_by_hand",
    "day_summed",
    "dose_ended",
    "dose_intended",
    "dose_sealed",
    "dose_voided",
    "husbandry_noted",
    "measurement_kept",
    "measurement_struck",
    "pumps_disabled",
    "pumps_enabled",
    "reading_kept",
    "report_imported",
    "sample_taken",
    "standard_checked",
    "started",
    "stopped",
    "task_closed",
    "task_set",
    "water_changed",
)

# Written as terms with OR: SQLite takes an index for a question that asks one of them.
_HISTORY = "CREATE INDEX history ON entries (kind, at) WHERE " + " OR ".join(
    f"kind = '{kind}'" for kind in HISTORY_KINDS
)

STEPS: tuple[Step, ...] = (
    Step(
        "entries, marks and steps",
        (
            *_TABLES,
            _FOLLOW,
            *_frozen("entries"),
            *_frozen("marks"),
            *_frozen("steps"),
        ),
    ),
    Step("entries of some kinds by time", (_HISTORY,)),
)


def migrate(connection: sqlite3.Connection, steps: Sequence[Step] = STEPS) -> None:
    """Run the steps a file has not seen yet, each in its own transaction.

    Raises: sqlite3.Error with the failed step rolled back.
    """
    applied = version_of(connection)
    for number, step in enumerate(steps[applied:], start=applied + 1):
        _apply(connection, number, step)


def version_of(connection: sqlite3.Connection) -> int:
    """How many steps the file has seen."""
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    return int(version)


def check_schema(
    connection: sqlite3.Connection, where: str, steps: Sequence[Step] = STEPS
) -> None:
    """Refuse a file whose tables, triggers or steps are not exactly ours.

    Raises: LedgerDamagedError.
    """
    fault = _fault(connection, steps)
    if fault:
        raise LedgerDamagedError(
            Finding(
                what=fault,
                where=where,
                expected=f"exactly the {len(steps)} schema steps of this program",
                do="Doses stay held. An older ledger is brought up to date when the "
                "daemon starts; else use the program version that wrote it, or "
                "restore a copy that is whole.",
            )
        )


def _fault(connection: sqlite3.Connection, steps: Sequence[Step]) -> str:
    found = version_of(connection)
    if found != len(steps):
        return f"the schema has version {found}"
    names = connection.execute("SELECT number, name FROM steps ORDER BY number")
    if names.fetchall() != [(n, step.name) for n, step in enumerate(steps, start=1)]:
        return "the list of schema steps is another one"
    if _shape(connection) != _expected_shape(tuple(steps)):
        return "a table, index or trigger is missing or changed"
    return ""


def _apply(connection: sqlite3.Connection, number: int, step: Step) -> None:
    connection.execute("BEGIN EXCLUSIVE")
    try:
        # A second process may have done it while this one waited for the lock.
        if version_of(connection) < number:
            _run(connection, number, step)
        connection.execute("COMMIT")
    except sqlite3.Error:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _run(connection: sqlite3.Connection, number: int, step: Step) -> None:
    for statement in step.statements:
        connection.execute(statement)
    connection.execute(
        "INSERT INTO steps SELECT ?, ?, coalesce(max(seq), 0) FROM entries",
        (number, step.name),
    )
    connection.execute(f"PRAGMA user_version = {number:d}")


def _shape(connection: sqlite3.Connection) -> tuple[tuple[object, ...], ...]:
    rows = connection.execute(
        "SELECT type, name, tbl_name, sql FROM sqlite_schema ORDER BY type, name"
    )
    return tuple(rows.fetchall())


@cache
def _expected_shape(steps: tuple[Step, ...]) -> tuple[tuple[object, ...], ...]:
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        migrate(connection, steps)
        return _shape(connection)
