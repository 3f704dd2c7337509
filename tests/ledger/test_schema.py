"""The file itself refuses change, and grows by whole steps."""

import sqlite3
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import get_args

import pytest

from slackwater.errors import LedgerDamagedError
from slackwater.facts.events import AnyEvent
from slackwater.facts.waters import WaterEvent
from slackwater.ledger.chain import GENESIS, Row, link
from slackwater.ledger.codec import timestamp
from slackwater.ledger.schema import (
    HISTORY_KINDS,
    STEPS,
    Role,
    Step,
    check_schema,
    migrate,
    version_of,
)
from slackwater.ledger.store import LedgerFile
from tests.ledger.samples import (
    another_program,
    checkpoint,
    intended,
    kept,
    made,
    new_ledger,
)

INSERT = "INSERT INTO entries VALUES (?,?,?,?,?,?,?,?,?)"
NEXT = Step("a note beside", ("CREATE TABLE notes (text TEXT NOT NULL) STRICT",))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A closed ledger of three entries."""
    place = tmp_path / "live.ledger"
    new_ledger(place, [intended(), kept(9)]).close()
    return place


@pytest.fixture
def stranger(path: Path) -> Iterator[sqlite3.Connection]:
    """Another program that has the ledger open."""
    with another_program(path) as connection:
        yield connection


def newest(connection: sqlite3.Connection) -> Row:
    """The newest row as it stands in the file."""
    rows = connection.execute("SELECT * FROM entries ORDER BY seq DESC LIMIT 1")
    return Row._make(rows.fetchone())


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entries SET at = at",
        "UPDATE entries SET body = '{}' WHERE seq = 2",
        "UPDATE OR REPLACE entries SET seq = 1 WHERE seq = 2",
        "UPDATE OR IGNORE entries SET dose = 'x'",
        "DELETE FROM entries",
        "DELETE FROM entries WHERE seq = 3",
        "UPDATE marks SET value = 'other'",
        "DELETE FROM marks",
        "UPDATE steps SET name = 'other'",
        "DELETE FROM steps",
    ],
)
def test_no_program_can_change_or_delete_a_row(
    stranger: sqlite3.Connection, statement: str
) -> None:
    """Triggers in the file speak to whoever opens it."""
    with pytest.raises(sqlite3.IntegrityError, match="never changed"):
        stranger.execute(statement)


@pytest.mark.parametrize("word", ["INSERT", "INSERT OR REPLACE", "REPLACE"])
@pytest.mark.parametrize("seq", [1, 2, 3, 5, None, -1])
def test_no_program_can_put_a_row_over_or_beside_the_chain(
    stranger: sqlite3.Connection, word: str, seq: int | None
) -> None:
    """Replacing deletes without the delete trigger; the insert trigger is first."""
    row = newest(stranger)._replace(prev=newest(stranger).sha256, kind="other")
    values = (seq, *row[1:])

    with pytest.raises(sqlite3.IntegrityError, match="follow"):
        stranger.execute(f"{word} INTO entries VALUES (?,?,?,?,?,?,?,?,?)", values)


def test_no_program_can_add_a_row_that_follows_another_hash(
    stranger: sqlite3.Connection,
) -> None:
    """A fork of the chain cannot be written."""
    row = newest(stranger)
    values = row._replace(seq=row.seq + 1, prev=GENESIS, kind="other")

    with pytest.raises(sqlite3.IntegrityError, match="follow"):
        stranger.execute(INSERT, values)


@pytest.mark.parametrize(
    ("dose", "attempt", "said"),
    [
        (intended().dose.id, "f" * 32, "dose already intended"),
        ("reef/other@2026-05-03#01", intended().command.attempt, "attempt already"),
        (None, "f" * 32, "CHECK"),
        ("reef/other@2026-05-03#01", None, "CHECK"),
    ],
)
@pytest.mark.parametrize("word", ["INSERT", "REPLACE"])
def test_h08_no_program_can_intend_a_dose_or_attempt_twice(
    stranger: sqlite3.Connection,
    word: str,
    dose: str | None,
    attempt: str | None,
    said: str,
) -> None:
    """One dose, one intent, whoever writes and however."""
    row = newest(stranger)
    values = row._replace(
        seq=row.seq + 1,
        prev=row.sha256,
        kind="dose_intended",
        dose=dose,
        attempt=attempt,
        pump="left",
    )

    with pytest.raises(sqlite3.IntegrityError, match=said):
        stranger.execute(f"{word} INTO entries VALUES (?,?,?,?,?,?,?,?,?)", values)


@pytest.mark.parametrize(
    "changed",
    [{"at": b"5"}, {"body": b"{}"}, {"kind": None}, {"sha256": bytes(31)}],
    ids=["blob for text", "blob for body", "null", "short hash"],
)
def test_a_column_takes_only_its_own_type(
    stranger: sqlite3.Connection, changed: dict[str, object]
) -> None:
    """Tables are strict: nothing is turned into another type on the way in."""
    row = newest(stranger)
    values = {**row._asdict(), "seq": row.seq + 1, "prev": row.sha256, **changed}

    with pytest.raises(sqlite3.IntegrityError):
        stranger.execute(INSERT, tuple(values.values()))


@pytest.mark.parametrize(
    "statement",
    [
        "DROP TRIGGER entries_no_update",
        "DROP TRIGGER entries_no_delete",
        "DROP TRIGGER entries_follow",
        "DROP INDEX one_intent",
        "DROP INDEX one_attempt",
        "DROP INDEX checkpoints",
        "DROP INDEX history",
        "CREATE TABLE more (x)",
        "CREATE TRIGGER t AFTER INSERT ON entries BEGIN SELECT 1; END",
        "ALTER TABLE marks ADD COLUMN extra TEXT",
        "PRAGMA user_version = 0",
        "PRAGMA user_version = 1",
        "PRAGMA user_version = 3",
        "INSERT INTO steps VALUES (3, 'x', 0)",
        "PRAGMA application_id = 0",
    ],
)
def test_h34_a_file_with_another_schema_is_refused(path: Path, statement: str) -> None:
    """A trigger or index taken away shows at the next opening."""
    with another_program(path) as stranger:
        stranger.execute(statement)

    with pytest.raises(LedgerDamagedError):
        LedgerFile.open(path)


def test_steps_run_once_each_and_leave_a_row() -> None:
    """A file remembers which steps it has seen and after which entry."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    migrate(connection, STEPS)
    rows = link(None, [kept(1), kept(2)])
    connection.executemany(INSERT, rows)

    migrate(connection, (*STEPS, NEXT))
    migrate(connection, (*STEPS, NEXT))
    check_schema(connection, "memory", (*STEPS, NEXT))

    assert [
        (1, STEPS[0].name, 0),
        (2, STEPS[1].name, 0),
        (3, NEXT.name, 2),
    ] == connection.execute("SELECT * FROM steps").fetchall()
    connection.close()


def test_h09_a_step_that_fails_leaves_nothing_behind() -> None:
    """Half a step is no step."""
    broken = Step("half", (*NEXT.statements, "CREATE TABLE notes (x)"))
    connection = sqlite3.connect(":memory:", isolation_level=None)
    migrate(connection)

    with pytest.raises(sqlite3.OperationalError, match="already exists"):
        migrate(connection, (*STEPS, broken))

    check_schema(connection, "memory")
    assert (version_of(connection), connection.in_transaction) == (2, False)
    connection.close()


def test_an_older_file_opened_for_reading_is_refused_not_changed() -> None:
    """Only whoever may write brings a file up to date."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    migrate(connection)

    with pytest.raises(LedgerDamagedError, match="version 2"):
        check_schema(connection, "memory", (*STEPS, NEXT))
    connection.close()


def test_a_ledger_of_the_first_version_is_brought_up_to_date(tmp_path: Path) -> None:
    """Its entries stay as they were; the new index leads to those it has."""
    connection = sqlite3.connect(tmp_path / "old", isolation_level=None)
    migrate(connection, STEPS[:1])
    rows = link(None, [intended(), kept(2), checkpoint("{}")])
    connection.executemany(INSERT, rows)

    migrate(connection)
    assert rows == [
        Row._make(row)
        for row in connection.execute("SELECT * FROM entries ORDER BY seq")
    ]
    assert [(timestamp(intended().at),)] == (
        connection.execute(
            "SELECT at FROM entries INDEXED BY history WHERE kind = 'dose_intended'"
        ).fetchall()
    )
    connection.close()


def test_every_kind_that_histories_read_is_a_kind_of_entry() -> None:
    """A name written wrong would lead to nothing."""
    kinds = {kind.__dataclass_fields__["kind"].default for kind in get_args(AnyEvent)}
    water = {kind.__dataclass_fields__["kind"].default for kind in get_args(WaterEvent)}

    assert water <= set(HISTORY_KINDS) <= kinds
    assert sorted(set(HISTORY_KINDS)) == list(HISTORY_KINDS)


@pytest.mark.parametrize(("role", "name"), [("live", b"SWLL"), ("shadow", b"SWLS")])
def test_a_file_says_which_ledger_it_is_to_whoever_looks(
    tmp_path: Path, role: Role, name: bytes
) -> None:
    """Four letters at byte 68, for ever (sqlite.org/fileformat2.html, 1.3)."""
    LedgerFile.create(tmp_path / "any.ledger", made(), role).close()

    assert name == (tmp_path / "any.ledger").read_bytes()[68:72]


class Overtaken(sqlite3.Connection):
    """A connection that waits for a lock while another program does the work."""

    def execute(self, statement: str, values: Sequence[object] = ()) -> sqlite3.Cursor:  # type: ignore[override]  # as ours are called
        """Carry it out, a lock not before another program has run every step."""
        (_, _, name) = super().execute("PRAGMA database_list").fetchone()
        if statement == "BEGIN EXCLUSIVE":
            with another_program(Path(name)) as other:
                migrate(other)
        return super().execute(statement, values)


def test_h09_a_step_that_another_program_ran_meanwhile_is_not_run_again(
    tmp_path: Path,
) -> None:
    """Whoever waited for the lock looks again."""
    path = tmp_path / "any.db"
    waiting = sqlite3.connect(path, isolation_level=None, factory=Overtaken)
    migrate(waiting)
    check_schema(waiting, "x")
    waiting.close()
