"""Questions people ask the ledger, and what they take away."""

import csv
import io
import json
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.errors import LedgerDamagedError
from slackwater.facts.events import AnyEvent, DoseHeld
from slackwater.facts.reasons import Code, because
from slackwater.ledger.codec import decode
from slackwater.ledger.lives import totals
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import (
    Wanted,
    doses,
    entries,
    entries_csv,
    entry_document,
    line_document,
    lines_csv,
    newest_checkpoint,
    since_entry,
)
from tests.ledger.bounded import ENTRIES, long_ledger, page_by_page
from tests.ledger.samples import (
    DAY,
    FOOTING,
    NOON,
    another_program,
    checkpoint,
    clocks,
    ended,
    intended,
    kept,
    made,
    new_ledger,
    of_every_kind,
)

EVENTS: list[AnyEvent] = [
    intended(7),
    kept(8),
    intended(9, pump="right"),
    ended(intended(7).command.attempt, seconds=10),
    ended(intended(9).command.attempt, how="short", seconds=11),
]


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[LedgerFile]:
    """A ledger with two doses of two pumps, and a reading."""
    with new_ledger(tmp_path / "live.ledger", EVENTS) as opened:
        yield opened


def numbers(ledger: LedgerFile, wanted: Wanted) -> list[int]:
    """The sequence numbers of the entries asked for."""
    return [entry.seq for entry in entries(ledger, wanted)]


@pytest.mark.parametrize(
    ("wanted", "expected"),
    [
        (Wanted(), [1, 2, 3, 4, 5, 6]),
        (Wanted(kinds=("reading_kept",)), [3]),
        (Wanted(kinds=("reading_kept", "ledger_made")), [1, 3]),
        (Wanted(kinds=("reading",)), []),
        (Wanted(pump="left"), [2, 5]),
        (Wanted(pump="right"), [4, 6]),
        (Wanted(pump="lef"), []),
        (Wanted(dose=intended(9).dose.id), [4, 6]),
        (Wanted(dose=intended(9).dose.id, pump="left"), []),
        (Wanted(since=NOON + timedelta(seconds=9)), [4, 5, 6]),
        (Wanted(until=NOON + timedelta(seconds=9)), [1, 2, 3]),
        (Wanted(since=NOON, until=NOON + timedelta(microseconds=1)), [1]),
        (Wanted(limit=2), [1, 2]),
        (Wanted(limit=2, newest_first=True), [6, 5]),
        (Wanted(pump="left", newest_first=True, limit=1), [5]),
        (Wanted(pump="' OR 1=1 --"), []),
    ],
)
def test_entries_are_found_by_what_is_asked(
    ledger: LedgerFile, wanted: Wanted, expected: list[int]
) -> None:
    """An entry that names only its attempt belongs to the pump and dose of its intent.

    Lower bounds of time are included, upper ones not.
    """
    assert expected == numbers(ledger, wanted)


@pytest.mark.parametrize("newest_first", [False, True])
def test_pages_join_without_loss_in_either_direction(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, newest_first: bool
) -> None:
    """More than two thousand rows come each once, in order, a thousand at a time."""
    path = long_ledger(tmp_path)
    page_by_page(monkeypatch)
    expected = list(range(1, ENTRIES + 1))
    with LedgerFile.open(path, writable=False, footing=FOOTING) as long:
        found = numbers(long, Wanted(newest_first=newest_first))

    assert (expected[::-1] if newest_first else expected) == found


def test_h34_no_cursor_is_held_between_two_entries(
    ledger: LedgerFile, tmp_path: Path
) -> None:
    """While a person reads the screen another program may take the whole file."""
    ledger.append([kept(number) for number in range(1500)])
    with another_program(tmp_path / "live.ledger") as stranger:
        stranger.execute("PRAGMA busy_timeout = 0")
        for number, _entry in enumerate(entries(ledger)):
            if number % 400 == 0:
                stranger.execute("BEGIN EXCLUSIVE")
                stranger.execute("ROLLBACK")


def test_a_view_works_beside_the_daemon(ledger: LedgerFile, tmp_path: Path) -> None:
    """Reading needs no right to write and sees what was appended meanwhile."""
    path = tmp_path / "live.ledger"
    with LedgerFile.open(path, writable=False, footing=FOOTING) as reading:
        ledger.append([kept(20)])

        assert numbers(reading, Wanted(kinds=("reading_kept",))) == [3, 7]


def test_doses_are_told_one_by_one(ledger: LedgerFile) -> None:
    """The words of each life, whatever else lies between its entries."""
    told = [(life.dose, life.pump, life.word, life.how) for life in doses(ledger)]

    assert told == [
        (intended(7).dose.id, "left", "ended", "full"),
        (intended(9).dose.id, "right", "ended", "short"),
    ]


@pytest.mark.parametrize(
    ("wanted", "expected"),
    [
        (Wanted(pump="right"), [9]),
        (Wanted(dose=intended(7).dose.id), [7]),
        (Wanted(limit=1), [9]),
        (Wanted(newest_first=True), [9, 7]),
        (Wanted(since=NOON + timedelta(seconds=8)), [9]),
        (Wanted(kinds=("reading_kept",)), [7, 9]),
    ],
)
def test_doses_are_found_by_what_is_asked(
    ledger: LedgerFile, wanted: Wanted, expected: list[int]
) -> None:
    """A limit keeps the newest doses."""
    assert [intended(n).dose.id for n in expected] == [
        life.dose for life in doses(ledger, wanted)
    ]


def test_of_many_doses_the_newest_are_kept(ledger: LedgerFile) -> None:
    """As many as the limit says, in their order or turned round."""
    ledger.append([intended(number) for number in (11, 12, 13)])
    ids = [
        [life.dose for life in doses(ledger, Wanted(limit=2, newest_first=turned))]
        for turned in (False, True)
    ]
    last = [intended(number).dose.id for number in (12, 13)]

    assert [last, last[::-1]] == ids


def test_an_exported_table_reads_back_as_the_same_entries(ledger: LedgerFile) -> None:
    """CSV (RFC 4180, read by the standard library) loses nothing."""
    ledger.append([event for event in of_every_kind() if event.kind != "dose_intended"])
    found = list(entries(ledger))
    text = "".join(entries_csv(found))
    rows = list(csv.DictReader(io.StringIO(text, newline="")))

    assert [entry.event for entry in found] == [decode(row["body"]) for row in rows]
    assert [str(entry.seq) for entry in found] == [row["seq"] for row in rows]
    assert text.startswith("seq,at,kind,dose,attempt,pump,body\r\n")


def test_an_entry_is_a_json_document(ledger: LedgerFile) -> None:
    """Its number and every field, in plain JSON types."""
    first = next(entries(ledger))
    document = json.loads(json.dumps(entry_document(first)))

    assert document["seq"] == 1
    assert made() == decode_document(document)


def decode_document(document: dict[str, object]) -> AnyEvent:
    """The event a document stands for, without its number."""
    content = {key: value for key, value in document.items() if key != "seq"}
    return decode(json.dumps(content, sort_keys=True, separators=(",", ":")))


def test_a_dose_and_a_total_are_json_documents(ledger: LedgerFile) -> None:
    """Times are RFC 3339, days plain dates, reasons a list of codes."""
    lives = doses(ledger)
    life = json.loads(json.dumps(line_document(lives[0])))
    total = json.loads(json.dumps(line_document(totals(lives)[0])))

    assert (
        life["due_at"],
        life["local_day"],
    ) == ("2026-05-03T15:30:00.250000Z", "2026-05-03")
    assert (
        life["in_water"],
        life["reasons"],
        life["asked_ul"],
    ) == (True, ["alkalinity-stale"], 1990)
    assert (DAY.isoformat(), 1996) == (total["local_day"], total["believed_ul"])


def test_doses_and_totals_are_tables(ledger: LedgerFile) -> None:
    """A header from the fields, one line each, lists as JSON; nothing for nothing."""
    lives = doses(ledger)
    rows = list(csv.DictReader(io.StringIO("".join(lines_csv(lives)), newline="")))
    sums = list(csv.DictReader(io.StringIO("".join(lines_csv(totals(lives))))))

    assert [row["word"] for row in rows] == ["ended", "ended"]
    assert json.loads(rows[0]["reasons"]) == ["alkalinity-stale"]
    assert [row["pump"] for row in sums] == ["left", "right"]
    assert not list(lines_csv([]))


def test_h31_a_damaged_entry_is_said_not_shown(
    ledger: LedgerFile, tmp_path: Path
) -> None:
    """A view reads as strictly as a start, and names the entry."""
    with another_program(tmp_path / "live.ledger") as stranger:
        stranger.execute("DROP TRIGGER entries_no_update")
        stranger.execute("UPDATE entries SET body = '{}' WHERE seq = 3")

    with pytest.raises(LedgerDamagedError, match="entry 3"):
        list(entries(ledger))


def test_the_newest_checkpoint_before_a_time_is_found(ledger: LedgerFile) -> None:
    """Where there is none it is gone on from the first entry."""
    ledger.append([checkpoint("{}", 20), kept(30), checkpoint("{}", 40)])
    moments = [NOON + timedelta(seconds=n) for n in (20, 20.000001, 40, 41)]

    assert [1, 7, 7, 9] == [newest_checkpoint(ledger, one) for one in moments]


def test_everything_since_an_entry_comes_in_pages(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each entry once and none before it; a page is no longer than a thousand."""
    path = long_ledger(tmp_path)
    page_by_page(monkeypatch)
    with LedgerFile.open(path, writable=False, footing=FOOTING) as long:
        since = [entry.seq for entry in since_entry(long, 7)]

    assert list(range(7, ENTRIES + 1)) == since


def test_words_numbers_and_truths_stay_as_they_are(ledger: LedgerFile) -> None:
    """What never happened is null."""
    dose = "reef/other@2026-05-03#01"
    why = (because(Code.NODE_ABSENT),)
    ledger.append([DoseHeld(**clocks(), dose_id=dose, pump="left", reasons=why)])
    document = line_document(doses(ledger, Wanted(dose=dose))[0])

    assert ("held", True, 0, None, None) == (
        document["word"],
        document["in_water"],
        document["asked_ul"],
        document["due_at"],
        document["local_day"],
    )
