"""A ledger that an earlier schema wrote is opened, brought up to date and read whole.

`version_1.sql` was written by this project's own code of 26 November 2026, before the
second step: one entry of every kind there was, all invented, as SQLite dumps it.
"""

import hashlib
import sqlite3
from contextlib import closing
from pathlib import Path

from slackwater.ledger.schema import STEPS, version_of
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import entries

KEPT = Path(__file__).with_name("version_1.sql")
# A step that ran once on anybody's disk is never changed: a change is a further step,
# and a further step is a further line here.
STEP_SHA256 = (
    "cb1f4341a6615dd9e30d4240ce4cf15b45cbce2303f73ce7adbd3692cea36036",
    "eadb0d32bc338fd42194a77cc896cacb3d5322f73774a442885cfe8418aa3be0",
)
ROWS = "SELECT * FROM entries ORDER BY seq"


def kept_ledger(folder: Path) -> Path:
    """The old file, as it lay on a disk."""
    path = folder / "slackwater.ledger"
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript(KEPT.read_text("utf-8"))
        assert 1 == version_of(connection)
    return path


def test_h09_a_ledger_of_an_earlier_version_is_read_whole(tmp_path: Path) -> None:
    """No entry is changed, the chain holds, and every kind is still understood."""
    path = kept_ledger(tmp_path)
    with closing(sqlite3.connect(path)) as connection:
        before = connection.execute(ROWS).fetchall()
    with LedgerFile.open(path) as ledger:
        assert () == tuple(ledger.verify_all())
        events = [entry.event for entry in entries(ledger)]
    with closing(sqlite3.connect(path)) as connection:
        assert before == connection.execute(ROWS).fetchall()
        assert len(STEPS) == version_of(connection)
    assert [row[2] for row in before] == [one.kind for one in events]


def test_no_step_of_the_schema_was_changed() -> None:
    """What older files went through is what they are compared with."""
    found = tuple(
        hashlib.sha256("\n".join(step.statements).encode()).hexdigest()
        for step in STEPS
    )
    assert STEP_SHA256 == found
