"""Entries of one kind within a stretch of time, each once and in order."""

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from slackwater.errors import LedgerDamagedError
from slackwater.facts.events import ReadingKept, Started
from slackwater.ledger.by_time import newest, numbered, told
from slackwater.ledger.reader import ROWS_AT_ONCE
from slackwater.ledger.store import LedgerFile
from tests.ledger.bounded import ENTRIES, long_ledger, page_by_page
from tests.ledger.pasts import BEGIN, HOUR, ledger_of
from tests.ledger.samples import FOOTING, started
from tests.ledger.test_audit import forge
from tests.ledger.years import read, stamped

NOON = BEGIN + 12 * HOUR


def written(at: datetime, value: float, tank: str = "reef") -> ReadingKept:
    """A reading that was written down at a moment."""
    return replace(read("kh", at, value, tank), **stamped(at))


def test_a_stretch_begins_with_its_first_moment_and_ends_before_its_last(
    tmp_path: Path,
) -> None:
    """So that stretches join without loss and nothing counts twice."""
    readings = [written(NOON + n * HOUR, float(n)) for n in range(4)]
    with ledger_of(tmp_path, *readings) as ledger:
        part = told(ledger, ReadingKept, NOON + HOUR, NOON + 3 * HOUR)
        assert [1.0, 2.0] == [one.value for one in part]
        later = told(ledger, ReadingKept, NOON + 2 * HOUR)
        assert [2.0, 3.0] == [one.value for one in later]
        until = told(ledger, ReadingKept, until=NOON + timedelta(microseconds=1))
        assert [0.0] == [one.value for one in until]


def test_entries_come_by_their_times_with_their_numbers(tmp_path: Path) -> None:
    """A clock that was set back makes later numbers earlier times."""
    late, early = written(NOON + HOUR, 1.0), written(NOON, 0.0)
    with ledger_of(tmp_path) as ledger:
        ledger.append([late, replace(started(), **stamped(NOON)), early])
        assert [(4, early), (2, late)] == list(numbered(ledger, ReadingKept))
        assert late == newest(ledger, ReadingKept)


def test_there_may_be_none(tmp_path: Path) -> None:
    """Nothing is told, and nothing is the newest."""
    with ledger_of(tmp_path) as ledger:
        assert ([], None) == (list(told(ledger, Started)), newest(ledger, Started))


def test_of_entries_of_one_moment_the_last_written_is_the_newest(
    tmp_path: Path,
) -> None:
    """They come in the order in which they were written."""
    same = [written(NOON, value) for value in (3.0, 1.0, 2.0)]
    with ledger_of(tmp_path, *same) as ledger:
        assert same == list(told(ledger, ReadingKept))
        assert same[-1] == newest(ledger, ReadingKept)


@pytest.mark.parametrize("tank", ["reef", "reef 2", "a reef", 'my "reef"', "größer"])
def test_a_tank_is_told_apart_from_others_with_a_like_name(
    tmp_path: Path, tank: str
) -> None:
    """By its whole name, whatever is in it."""
    names = ["reef", "reef 2", "a reef", 'my "reef"', "größer", "reef"]
    readings = [written(NOON + n * HOUR, 1.0, name) for n, name in enumerate(names)]
    with ledger_of(tmp_path, *readings) as ledger:
        found = [one.tank for one in told(ledger, ReadingKept, tank=tank)]

    assert [tank] * names.count(tank) == found


def test_pages_join_without_loss_and_none_is_longer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two whole pages of a thousand: the answer ends with an empty one."""
    path = long_ledger(tmp_path)
    page_by_page(monkeypatch)
    with LedgerFile.open(path, writable=False, footing=FOOTING) as ledger:
        found = [seq for seq, _event in numbered(ledger, ReadingKept)]

    assert 2 * ROWS_AT_ONCE == ENTRIES - 1
    assert list(range(2, ENTRIES + 1)) == found


def test_h31_an_entry_of_another_kind_than_its_row_says_is_damage(
    tmp_path: Path,
) -> None:
    """Every hash is right, and the index leads to a reading that calls itself so."""
    with ledger_of(tmp_path, written(NOON, 1.0)) as ledger:
        path = ledger.path
    path.with_name("live.ledger.witness").unlink()
    forge(path, "UPDATE entries SET kind = 'started' WHERE seq = 2")
    said = "entry 2 is damaged: its columns say something else than its body"
    with LedgerFile.open(path, writable=False) as ledger:
        with pytest.raises(LedgerDamagedError, match=said):
            list(told(ledger, Started))
        with pytest.raises(LedgerDamagedError, match=said):
            newest(ledger, Started)
