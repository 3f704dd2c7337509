"""Small, complete answers, and rows that hang together."""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from slackwater.errors import LedgerDamagedError
from slackwater.ledger.connection import open_file
from slackwater.ledger.reader import Reader, spans
from slackwater.ledger.store import LedgerFile
from slackwater.ports import Head
from tests.ledger.bounded import ENTRIES, long_ledger, page_by_page
from tests.ledger.samples import (
    FOOTING,
    another_program,
    checkpoint,
    kept,
    new_ledger,
)
from tests.ledger.test_audit import emptied, tamper


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A closed ledger of five entries, the third a checkpoint."""
    place = tmp_path / "live.ledger"
    new_ledger(place, [kept(1), checkpoint("{}"), kept(2), kept(3)]).close()
    return place


@pytest.fixture
def reader(path: Path) -> Iterator[Reader]:
    """Its reader."""
    with closing(open_file(path, writable=False, busy_ms=10)) as connection:
        yield Reader(connection, "x")


def head_of(reader: Reader) -> Head:
    """The head of a ledger that is not empty."""
    newest = reader.newest()
    assert newest is not None
    return newest.head


@pytest.mark.parametrize(
    ("first", "last", "expected"),
    [
        (1, 0, []),
        (1, 1, [(1, 1)]),
        (1, 1000, [(1, 1000)]),
        (1, 1001, [(1, 1000), (1001, 1001)]),
        (7, 2006, [(7, 1006), (1007, 2006)]),
    ],
)
def test_numbers_are_asked_for_a_thousand_at_a_time(
    first: int, last: int, expected: list[tuple[int, int]]
) -> None:
    """Each in one page, the ends included (common practice, no source)."""
    assert expected == list(spans(first, last))


def test_a_row_is_found_by_its_number(reader: Reader) -> None:
    """That it is missing is damage."""
    assert 4 == reader.row(4).seq
    with pytest.raises(LedgerDamagedError, match="entry 9 is damaged: it is missing"):
        reader.row(9)


def test_an_empty_table_has_no_newest_row(reader: Reader, path: Path) -> None:
    """Nor a checkpoint."""
    assert 5 == head_of(reader).seq
    emptied(path, "seq > 0")

    assert (None, 0) == (
        reader.newest(),
        reader.last_checkpoint(Head(seq=5, sha256="")),
    )


def test_a_checkpoint_counts_up_to_the_head(reader: Reader) -> None:
    """One that came later is not started from."""
    heads = [Head(seq=seq, sha256="") for seq in (2, 3, 4)]

    assert [0, 3, 3] == [reader.last_checkpoint(head) for head in heads]


def test_a_mark_may_be_there_or_not(reader: Reader) -> None:
    """What was written when the ledger was made."""
    assert ("reef-7f3a", None) == (reader.mark("ledger_id"), reader.mark("other"))


def test_what_another_program_commits_changes_the_version(
    reader: Reader, path: Path
) -> None:
    """As sqlite.org/pragma.html says of data_version; nothing else does."""
    before = reader.data_version()
    same = reader.data_version()
    with another_program(path) as stranger:
        stranger.execute("PRAGMA user_version = 2")

    assert (before, True) == (same, before != reader.data_version())


@pytest.mark.parametrize("start", [1, 3])
def test_rows_are_checked_from_where_one_starts(reader: Reader, start: int) -> None:
    """The first of all, or a later one."""
    found = [row.seq for rows in reader.chained(start, head_of(reader)) for row in rows]

    assert list(range(start, 6)) == found


def test_what_is_older_than_the_start_is_not_looked_at(
    reader: Reader, path: Path
) -> None:
    """But for the row right before it, on whose word the chain is entered."""
    tamper(path, "UPDATE entries SET at = '2020' WHERE seq = 2")

    assert 1 == len(list(reader.chained(3, head_of(reader))))
    with pytest.raises(LedgerDamagedError, match="entry 2 is damaged"):
        list(reader.chained(2, head_of(reader)))


def test_rows_that_end_before_the_head_are_damage(reader: Reader, path: Path) -> None:
    """All of the rest, or the last of them."""
    head = head_of(reader)
    emptied(path, "seq = 5")
    with pytest.raises(LedgerDamagedError, match="entry 5 is damaged: it is missing"):
        list(reader.chained(1, head))
    emptied(path, "seq > 0")
    with pytest.raises(LedgerDamagedError, match="entry 5 is damaged: it is missing"):
        list(reader.chained(1, head))


def test_rows_of_another_history_are_damage(reader: Reader) -> None:
    """They hang together, and end with another hash."""
    with pytest.raises(
        LedgerDamagedError, match="entry 5 is damaged: it is of another"
    ):
        list(reader.chained(1, Head(seq=5, sha256="00" * 32)))


def test_a_text_that_became_a_number_is_damage(reader: Reader, path: Path) -> None:
    """A flipped bit of its serial type does it (sqlite.org/fileformat2.html, 2.1)."""
    with another_program(path) as stranger:
        stranger.execute("PRAGMA writable_schema = ON")
        stranger.execute(
            "UPDATE sqlite_schema SET sql = replace(sql, 'at TEXT', 'at ANY') "
            "WHERE name = 'entries'"
        )
    tamper(path, "UPDATE entries SET at = 5 WHERE seq = 4")

    said = "entry 4 is damaged: a column holds what it cannot"
    with pytest.raises(LedgerDamagedError, match=said):
        reader.span(1, 5)


def test_a_start_reads_in_pages(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    """None is longer than a thousand rows, and every row comes once."""
    path = long_ledger(tmp_path_factory.mktemp("long"))
    page_by_page(monkeypatch)
    with LedgerFile.open(path, writable=False, footing=FOOTING) as ledger:
        entries = ledger.load().entries

    assert list(range(1, ENTRIES + 1)) == [entry.seq for entry in entries]
