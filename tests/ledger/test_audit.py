"""Damage anywhere in the file is found, or does no harm."""

import os
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from slackwater.errors import (
    LedgerDamagedError,
    LedgerError,
    LedgerMovedError,
    LedgerStorageError,
)
from slackwater.facts.events import AnyEvent
from slackwater.ledger.audit import audit
from slackwater.ledger.birth import INSERT
from slackwater.ledger.chain import GENESIS, Row, digest, link
from slackwater.ledger.codec import decode, timestamp
from slackwater.ledger.connection import open_file
from slackwater.ledger.store import LedgerFile
from tests.ledger.bounded import ENTRIES, long_ledger, page_by_page
from tests.ledger.samples import (
    FOOTING,
    another_program,
    checkpoint,
    ended,
    intended,
    kept,
    new_ledger,
)

DOSES = (7, 8)
# An odd stride walks through every place of every kind of page.
STRIDE = 29

Values = Sequence[tuple[object, ...]]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A small closed ledger without a witness, packed into small pages."""
    place = tmp_path / "live.ledger"
    events: list[AnyEvent] = [
        intended(DOSES[0]),
        checkpoint("{}"),
        intended(DOSES[1]),
        ended(intended(DOSES[1]).command.attempt),
        kept(9),
    ]
    new_ledger(place, events).close()
    place.with_name("live.ledger.witness").unlink()
    with another_program(place) as stranger:
        stranger.execute("PRAGMA page_size = 512")
        stranger.execute("VACUUM")
    return place


def findings(path: Path) -> list[str]:
    """What opening and auditing say, in words."""
    try:
        with LedgerFile.open(path, writable=False) as ledger:
            return [str(finding) for finding in ledger.verify_all()]
    except LedgerError as error:
        return [str(error)]


def rows(path: Path) -> list[tuple[object, ...]]:
    """Every row as it stands in the file."""
    with another_program(path) as stranger:
        return stranger.execute("SELECT * FROM entries ORDER BY seq").fetchall()


def refuses_what_it_must(path: Path) -> bool:
    """Whether each dose of the ledger is still refused a second intent."""
    for ordinal in DOSES:
        ledger = LedgerFile.open(path)
        # A flip in the header can make the file read-only to SQLite: refused as well.
        with pytest.raises((LedgerMovedError, LedgerStorageError)) as caught:
            ledger.append([intended(ordinal, attempt="f" * 32)])
        ledger.close()
        assert "dose already intended" in str(caught.value) or "readonly" in str(
            caught.value
        )
    return True


def flips(size: int, start: int, stride: int) -> Iterator[tuple[int, int]]:
    """Places in the file and which bits to turn there."""
    for number, place in enumerate(range(start, size, stride)):
        yield place, 0xFF if number % 2 else 1 << (number // 2 % 8)


def harmful_flips(path: Path, start: int, stride: int) -> list[int]:
    """Places whose flip is neither found nor harmless; `path` ends as it began."""
    before, original = rows(path), path.read_bytes()
    copy = path.with_name("flipped.ledger")
    harmful = []
    for place, bits in flips(len(original), start, stride):
        flipped = bytearray(original)
        flipped[place] ^= bits
        copy.write_bytes(flipped)
        if findings(copy):
            continue
        if before != rows(copy) or not refuses_what_it_must(copy):
            harmful.append(place)
        copy.with_name("flipped.ledger.witness").unlink(missing_ok=True)
    return harmful


def test_a_whole_ledger_has_no_findings(path: Path) -> None:
    """The audit is silent when all is well."""
    assert not findings(path)


def test_h31_flipped_bytes_are_found_or_harmless(path: Path) -> None:
    """Every twenty-ninth byte of a small ledger, one bit or all bits turned."""
    assert not harmful_flips(path, 0, STRIDE)


@pytest.mark.long
@pytest.mark.timeout(900)
@pytest.mark.parametrize("start", range(1, STRIDE))
def test_h31_every_flipped_byte_is_found_or_harmless(path: Path, start: int) -> None:
    """All the other bytes."""
    assert not harmful_flips(path, start, STRIDE)


def test_h31_every_byte_of_every_row_is_found(path: Path) -> None:
    """Within the text of an entry no flip goes unseen, harmless or not."""
    original = path.read_bytes()
    at = original.index(b'{"at":"2026-05-03T12:00:08')
    for place in range(at, at + 60):
        flipped = bytearray(original)
        flipped[place] ^= 0x01
        path.write_bytes(flipped)
        assert findings(path), place


@pytest.mark.parametrize("length", [0, 1, 99, 100, 511, 512, 2048, -512, -1])
def test_h31_a_file_cut_short_is_found(path: Path, length: int) -> None:
    """A copy that stopped half way is not a ledger."""
    size = path.stat().st_size
    os.truncate(path, length if length >= 0 else size + length)

    assert findings(path)


@pytest.mark.parametrize(
    ("index", "key"),
    [
        ("one_intent", intended(8).dose.id),
        ("one_attempt", "8".zfill(32)),
        ("history", timestamp(intended(8).at).removesuffix("Z")),
    ],
)
def test_h31_an_index_that_lost_an_entry_is_found(
    path: Path, index: str, key: str
) -> None:
    """The quick check of SQLite leaves that out, and a dose could be given twice."""
    with another_program(path) as stranger:
        root = stranger.execute(
            "SELECT rootpage FROM sqlite_schema WHERE name = ?", (index,)
        ).fetchone()[0]
    start = 512 * (root - 1)
    page = path.read_bytes()[start : start + 512]
    changed = page.replace(key.encode(), key[:-1].encode() + b"x")
    content = bytearray(path.read_bytes())
    content[start : start + 512] = changed
    path.write_bytes(content)
    assert page != changed
    assert any(f"index {index} is damaged" in said for said in findings(path))


def test_the_audit_says_each_broken_link_once(path: Path) -> None:
    """One changed row is one finding, not one for each row after it."""
    tamper(path, "UPDATE entries SET at = '2020' WHERE seq = 2")
    with LedgerFile.open(path, writable=False) as ledger:
        said = [finding.what for finding in ledger.verify_all()]

    assert said == ["entry 2 is damaged: its content is not what was written"]


def test_the_audit_finds_columns_that_contradict_their_body(path: Path) -> None:
    """A writer that hashed wrong columns is found by what the body says."""
    forge(path, "UPDATE entries SET dose = 'reef/other@2026-05-03#01' WHERE seq = 2")
    with LedgerFile.open(path, writable=False) as ledger:
        said = [finding.what for finding in ledger.verify_all()]

    assert said[:1] == [
        "entry 2 is damaged: its columns say something else than its body"
    ]


def test_the_audit_stops_after_enough(tmp_path: Path) -> None:
    """Twenty: more would scroll the first ones away (common practice, no source)."""
    path = tmp_path / "live.ledger"
    new_ledger(path, [*(kept(n) for n in range(50)), checkpoint("{}")]).close()
    tamper(path, "UPDATE entries SET at = '2020' WHERE seq BETWEEN 2 AND 50")
    with LedgerFile.open(path, writable=False) as ledger:
        assert 20 == len(ledger.verify_all())


def tamper(path: Path, statement: str, values: Values = ((),)) -> None:
    """Change rows the way someone who knows the triggers can."""
    name = "entries_no_update"
    with another_program(path) as stranger:
        (sql,) = stranger.execute(
            "SELECT sql FROM sqlite_schema WHERE name = ?", (name,)
        ).fetchone()
        stranger.execute(f"DROP TRIGGER {name}")
        stranger.executemany(statement, values)
        stranger.execute(sql)


def forge(path: Path, statement: str) -> None:
    """Tamper, then make every hash of the chain right again."""
    tamper(path, statement)
    hashes, prev = [], GENESIS
    for row in rows(path):
        linked = Row._make(row)._replace(prev=prev)
        prev = digest(linked)
        hashes.append((linked.prev, prev, linked.seq))
    tamper(path, "UPDATE entries SET prev = ?, sha256 = ? WHERE seq = ?", hashes)


def test_entries_that_are_gone_are_told_by_number(tmp_path: Path) -> None:
    """Two in the middle: from the third to the fourth."""
    path = tmp_path / "live.ledger"
    new_ledger(path, [*(kept(n) for n in range(5)), checkpoint("{}")]).close()
    emptied(path, "seq IN (3, 4)")
    with LedgerFile.open(path, writable=False) as ledger:
        said = [finding.what for finding in ledger.verify_all()]
    assert "entry 5 is damaged: entries 3 to 4 are missing before it" == said[0]


@pytest.mark.parametrize(
    ("where", "said"),
    [
        ("seq > 0", "entry 1 is damaged: it is missing"),
        ("seq <= 4", "entry 5 is damaged: entries 1 to 4 are missing before it"),
    ],
)
def test_entries_that_go_while_it_is_open_are_found(
    tmp_path: Path, where: str, said: str
) -> None:
    """All of them, or the first four."""
    path = tmp_path / "live.ledger"
    new_ledger(path, [*(kept(n) for n in range(5)), checkpoint("{}")]).close()
    with LedgerFile.open(path, writable=False) as ledger:
        emptied(path, where)
        found = [finding.what for finding in ledger.verify_all()]
    assert said == found[0]


def test_a_whole_page_of_entries_that_is_gone_is_found(tmp_path: Path) -> None:
    """A thousand are read at once; what comes after them says so."""
    path = long_ledger(tmp_path)
    emptied(path, f"seq BETWEEN 1001 AND {ENTRIES - 2}")
    with closing(open_file(path, writable=False, busy_ms=10)) as connection:
        said = [finding.what for finding in audit(connection, "x")]

    gone = f"entries 1001 to {ENTRIES - 2} are missing before it"
    assert [f"entry {ENTRIES - 1} is damaged: {gone}"] == said


def test_a_body_that_cannot_be_read_is_told_in_the_words_of_its_fault(
    path: Path,
) -> None:
    """Every hash is right, and what was hashed is no entry."""
    forge(path, "UPDATE entries SET body = '{}' WHERE seq = 3")
    with LedgerFile.open(path, writable=False) as again:
        found = [finding.what for finding in again.verify_all()]
    with pytest.raises(LedgerDamagedError) as caught:
        decode("{}", str(path))
    assert f"entry 3 is damaged: {caught.value.findings[0].what}" == found[0]


def test_an_entry_that_was_exchanged_whole_is_missed_by_the_next(path: Path) -> None:
    """Its own hash is right again; the entry after it speaks of another one."""
    (old,) = (Row._make(row) for row in rows(path) if row[0] == 3)
    changed = old._replace(at="2026-05-03T12:00:09.000000Z")
    tamper(
        path,
        "UPDATE entries SET at = ?, sha256 = ? WHERE seq = ?",
        [(changed.at, digest(changed), 3)],
    )
    with pytest.raises(LedgerDamagedError, match="does not follow the entry"):
        LedgerFile.open(path, writable=False)


def emptied(path: Path, where: str) -> None:
    """Take rows out, as someone can who knows the triggers."""
    with another_program(path) as stranger:
        triggers = stranger.execute(
            "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'"
        ).fetchall()
        for name, _sql in triggers:
            stranger.execute(f"DROP TRIGGER {name}")
        stranger.execute(f"DELETE FROM entries WHERE {where}")  # noqa: S608  # ours
        for _name, sql in triggers:
            stranger.execute(sql)


def test_damage_that_only_sqlite_sees_is_told(path: Path) -> None:
    """Every row is right, and the file counts free pages that it has not.

    Source: sqlite.org/fileformat2.html, 1.3: bytes 36 to 39 of the header.
    """
    content = bytearray(path.read_bytes())
    content[36:40] = (5).to_bytes(4, "big")
    path.write_bytes(content)

    (said,) = findings(path)
    assert "the file is damaged: " in said
    assert "reelist" in said


@contextmanager
def unseen_by(index: str, path: Path) -> Iterator[None]:
    """Whatever is done meanwhile an index does not learn of."""
    name = f"type = 'index' AND name = '{index}'"
    with another_program(path) as stranger:
        row = stranger.execute(
            f"SELECT * FROM sqlite_schema WHERE {name}"  # noqa: S608  # ours
        ).fetchone()
        stranger.execute("PRAGMA writable_schema = ON")
        stranger.execute(f"DELETE FROM sqlite_schema WHERE {name}")  # noqa: S608  # ours
    yield
    with another_program(path) as stranger:
        stranger.execute("PRAGMA writable_schema = ON")
        stranger.execute("INSERT INTO sqlite_schema VALUES (?, ?, ?, ?, ?)", row)


def test_h31_an_index_that_holds_more_than_the_table_is_found(path: Path) -> None:
    """An entry that changed its kind past the index, every hash right."""
    with unseen_by("one_intent", path):
        forge(path, "UPDATE entries SET kind = 'other' WHERE seq = 2")

    more = "the index one_intent is damaged: it holds what the table does not"
    assert any(more in said for said in findings(path))


def test_a_part_that_cannot_be_read_does_not_end_the_others(path: Path) -> None:
    """The first page of an index is rubbish, and a row is broken as well."""
    tamper(path, "UPDATE entries SET at = '2020' WHERE seq = 2")
    with another_program(path) as stranger:
        (root,) = stranger.execute(
            "SELECT rootpage FROM sqlite_schema WHERE name = 'one_attempt'"
        ).fetchone()
    content = bytearray(path.read_bytes())
    content[512 * (root - 1) : 512 * root] = bytes(512)
    path.write_bytes(content)
    said = "\n".join(findings(path))

    assert "entry 2 is damaged: its content is not what was written" in said
    assert "the file cannot be read as a ledger: " in said
    assert "the file is damaged: " in said


def test_it_is_read_in_pages_to_the_last_entry(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A thousand rows at once and no more: the daemon's commit need not wait."""
    path = long_ledger(tmp_path)
    tamper(path, f"UPDATE entries SET pump = 'x' WHERE seq = {ENTRIES - 1}")  # noqa: S608  # ours
    page_by_page(monkeypatch)
    with closing(open_file(path, writable=False, busy_ms=10)) as connection:
        said = [finding.what for finding in audit(connection, "x")]

    assert [
        f"entry {ENTRIES - 1} is damaged: its content is not what was written"
    ] == said


def test_an_index_is_compared_to_the_last_entry(tmp_path: Path) -> None:
    """A dose alone on the third page, which its index does not lead to."""
    path = long_ledger(tmp_path)
    with LedgerFile.open(path, footing=FOOTING) as ledger:
        (row,) = link(ledger.head, [intended()])
    with unseen_by("one_intent", path), another_program(path) as stranger:
        stranger.execute(INSERT, row)
    with closing(open_file(path, writable=False, busy_ms=10)) as connection:
        said = [finding.what for finding in audit(connection, "x")]

    assert [
        f"the index one_intent is damaged: it does not lead to entry {ENTRIES + 1}",
        "the index one_intent is damaged: it holds what the table does not",
    ] == said


def test_h31_the_first_entry_is_looked_for_in_the_indexes_too(path: Path) -> None:
    """Every hash is right, and it calls itself a checkpoint past the index of those."""
    with unseen_by("checkpoints", path):
        forge(path, "UPDATE entries SET kind = 'checkpoint' WHERE seq = 1")

    lost = "the index checkpoints is damaged: it does not lead to entry 1"
    assert any(lost in said for said in findings(path))
