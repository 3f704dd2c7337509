"""Damage anywhere in the file is found, or does no harm."""

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from slackwater.errors import LedgerError, LedgerMovedError, LedgerStorageError
from slackwater.facts.events import AnyEvent
from slackwater.ledger.audit import FINDINGS_AT_MOST
from slackwater.ledger.chain import GENESIS, Row, digest
from slackwater.ledger.codec import timestamp
from slackwater.ledger.store import LedgerFile
from tests.ledger.samples import (
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
    """A ruined file does not flood whoever reads the findings."""
    path = tmp_path / "live.ledger"
    new_ledger(path, [*(kept(n) for n in range(50)), checkpoint("{}")]).close()
    tamper(path, "UPDATE entries SET at = '2020' WHERE seq BETWEEN 2 AND 50")
    with LedgerFile.open(path, writable=False) as ledger:
        assert len(ledger.verify_all()) == FINDINGS_AT_MOST


def test_the_audit_reads_more_than_one_page_of_rows(tmp_path: Path) -> None:
    """Damage beyond the first thousand rows is found too."""
    path = tmp_path / "live.ledger"
    events = [kept(number) for number in range(2100)]
    new_ledger(path, [*events, checkpoint("{}")]).close()
    tamper(path, "UPDATE entries SET pump = 'x' WHERE seq = 2050")
    with LedgerFile.open(path, writable=False) as ledger:
        said = [finding.what for finding in ledger.verify_all()]

    assert said == ["entry 2050 is damaged: its content is not what was written"]


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
