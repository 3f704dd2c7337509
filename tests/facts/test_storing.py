"""Fills and measured levels: what is left, how sure that is, what was used."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.events import DoseSealed
from slackwater.facts.inventory import Stock, left_ul, rate_sd, stock
from slackwater.facts.reasons import Code, because
from slackwater.facts.state import Interval
from slackwater.facts.storing import INTERVALS_KEPT
from tests.facts.diary import HOUR, Diary, attempt, begun, calibrated, due, shot
from tests.facts.safeguards import filled, levelled
from tests.gate.scene import machine

WEEK = timedelta(days=7)


def given(diary: Diary, numbers: range, pump: str = "carbonate") -> None:
    """So many doses of 2000 µL, each an hour after the other."""
    for number in numbers:
        diary.intend(number, pump=pump)
        diary.end(number, 2000)
        diary.wait(HOUR)


def test_a_level_counts_from_then_on() -> None:
    """As a fill does; how old the solution is stays known."""
    diary, used = begun(), machine()
    diary.write(filled(diary.stamp))
    mixed_at = diary.at
    given(diary, range(1, 4))
    assert 1_994_000 == left_ul(used, diary.state, "one")
    diary.write(levelled(diary.stamp, 1_990_000))
    assert 1_990_000 == left_ul(used, diary.state, "one")
    given(diary, range(4, 6))
    assert 1_986_000 == left_ul(used, diary.state, "one")
    assert mixed_at == diary.state.fills["one"].mixed_at


def test_a_level_without_a_fill_says_nothing_of_age() -> None:
    """Nobody wrote down when the solution was made, so nobody knows."""
    diary = begun()
    diary.write(levelled(diary.stamp))
    assert diary.state.fills["one"].mixed_at is None
    assert {} == diary.state.intervals


def test_what_was_used_stands_beside_what_was_believed() -> None:
    """Both pumps that share the bottle; a run that never was is none."""
    diary = begun()
    diary.write(filled(diary.stamp))
    began = diary.at
    given(diary, range(1, 4))
    given(diary, range(4, 5), "calcium")
    diary.intend(5)
    diary.void(5)
    diary.write(levelled(diary.stamp, 1_991_000))
    expected = Interval(
        began_at=began,
        ended_at=diary.at,
        pumps=("calcium", "carbonate"),
        used_ul=9_000,
        believed_ul=8_000,
        runs=4,
        begin_ul=20_000,
        end_ul=5_000,
    )
    assert [expected] == diary.state.intervals["one"]


def test_a_refill_begins_anew_and_ends_no_interval() -> None:
    """What was poured in is not used; the next level is counted from the fill."""
    diary = begun()
    diary.write(filled(diary.stamp))
    given(diary, range(1, 4))
    diary.write(filled(diary.stamp, 1_000_000))
    assert {} == diary.state.intervals
    given(diary, range(4, 6))
    diary.write(levelled(diary.stamp, 996_000))
    assert [(4_000, 4_000)] == [
        (one.used_ul, one.believed_ul) for one in diary.state.intervals["one"]
    ]


def test_a_year_of_levels_is_kept() -> None:
    """Older ones go, so that memory does not grow."""
    diary = begun()
    diary.write(filled(diary.stamp))
    for _week in range(INTERVALS_KEPT + 3):
        diary.wait(WEEK)
        diary.write(levelled(diary.stamp))
    kept = diary.state.intervals["one"]
    assert (INTERVALS_KEPT, diary.at) == (len(kept), kept[-1].ended_at)


def test_h58_each_dose_makes_a_stock_less_certain() -> None:
    """By hand: a rate known to ±1 % (sd 0.5 %), runs of ±5 %, a level to ±5 mL.

    2 sqrt((5/sqrt 3)^2 + (100 x 0.005)^2 + (100 x 0.05/sqrt 3/sqrt 50)^2) mL
    = 5.916 mL (JCGM 100:2008, 4.3.7 and 5.1.2).
    """
    diary, used = begun(), machine()
    rate = replace(calibrated(diary), rate_interval_nl_per_s=(1_287_000, 1_313_000))
    diary.write(rate, filled(diary.stamp), levelled(diary.stamp, 1_900_000))
    assert Stock(left_ul=1_900_000, low_ul=1_894_226, high_ul=1_905_774) == stock(
        used, diary.state, "one"
    )
    given(diary, range(1, 51))
    found = stock(used, diary.state, "one")
    assert 1_800_000 == found.left_ul
    assert 5_916 == pytest.approx(found.high_ul - found.left_ul, abs=2)
    assert found.left_ul - found.low_ul == found.high_ul - found.left_ul


def test_a_rate_nobody_measured_is_less_certain() -> None:
    """Common practice, no source: within a tenth; an old entry has no interval."""
    diary = begun()
    assert pytest.approx(0.0577, abs=1e-4) == rate_sd(diary.state, "calcium")
    diary.write(calibrated(diary))
    assert pytest.approx(0.0577, abs=1e-4) == rate_sd(diary.state, "carbonate")


def test_a_stock_is_never_below_nothing() -> None:
    """Whatever was drawn; attempts are those of the diary."""
    diary, used = begun(), machine()
    diary.write(filled(diary.stamp, 1_000))
    diary.intend(1)
    assert attempt(1) in diary.state.open
    found = stock(used, diary.state, "one")
    assert (0, 0) == (found.left_ul, found.low_ul)


@pytest.mark.parametrize("how", ["ended", "less", "voided", "sealed"])
def test_h56_a_rinse_is_charged_and_leaves_its_bottle_as_it_was(how: str) -> None:
    """Its inlet stands in clean water; what comes of it makes no difference."""
    diary = begun()
    diary.intend(1)
    diary.end(1, 2000)
    state = diary.state
    books = dict(state.drawn_ul), dict(state.runs)
    diary.write(replace(shot(diary, due(2).id), purpose="manual", rinses=True))
    diary.intend(2, ul=1000)
    assert 3000 == state.charges["pump/carbonate"].total
    if how == "voided":
        diary.void(2)
    elif how == "sealed":
        reasons = (because(Code.NODE_SILENT),)
        diary.write(DoseSealed(**diary.stamp, attempt=attempt(2), reasons=reasons))
    else:
        diary.end(2, 400 if how == "less" else 1000, charge_ul=1000)
    charged_ul = 2000 if how == "voided" else 3000
    assert charged_ul == state.charges["pump/carbonate"].total
    assert books == (state.drawn_ul, state.runs)
