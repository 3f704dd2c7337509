"""A pump that drifts, seen by the levels of its bottle.

The arithmetic is that of cumulative sums as Page 1954 (Biometrika 41:100, from memory)
has them, worked by hand beside each case.
"""

from dataclasses import replace
from datetime import timedelta
from math import inf

import pytest

from slackwater.facts.state import Interval, State
from slackwater.gate.drift import Drift, drift_of, judged, ratio_sd
from tests.bench.drift import T0, figures
from tests.facts.diary import Diary, calibrated

WEEK = timedelta(days=7)
BELIEVED_UL = 280_000


def weeks(*ratios: float, within_ul: int = 5_000) -> list[Interval]:
    """One interval for each week, with so much used over what was believed."""
    return [
        Interval(
            began_at=T0 + number * WEEK,
            ended_at=T0 + (number + 1) * WEEK,
            pumps=("carbonate",),
            used_ul=round(BELIEVED_UL * ratio),
            believed_ul=BELIEVED_UL,
            runs=56,
            begin_ul=within_ul,
            end_ul=within_ul,
        )
        for number, ratio in enumerate(ratios)
    ]


def found(*ratios: float, within_ul: int = 5_000) -> Drift:
    """The verdict on such weeks."""
    verdict = judged(weeks(*ratios, within_ul=within_ul))
    assert verdict is not None
    return verdict


@pytest.mark.parametrize("ratio", [0.9, 1.1])
def test_h28_ten_percent_of_one_week_is_found(ratio: float) -> None:
    """0.10 - 0.04 is beyond 0.02, up as down; the ratio is told."""
    verdict = found(1.0, ratio)
    assert verdict.is_found
    assert (ratio, 2) == (round(verdict.ratio, 6), verdict.levels)


def test_what_adds_up_is_found() -> None:
    """Of 4.9 % a week 0.009 is left: two make 0.018, the third passes 0.02."""
    assert not found(1.049, 1.049).is_found
    assert found(1.049, 1.049, 1.049).is_found


def test_less_than_the_slack_is_never_found() -> None:
    """What a calibration may be off by itself, for two years."""
    assert not found(*[1.039] * 104).is_found
    assert not found(*[0.961] * 104).is_found


def test_one_bad_level_is_forgiven() -> None:
    """A misread level makes one week too large and the next as much too small."""
    verdict = found(1.055, 0.945, 1.0, 1.0)
    assert (False, 1.0) == (verdict.is_found, round(verdict.ratio, 6))


def test_what_is_found_stays_until_the_sum_is_nothing() -> None:
    """A good week takes 0.04 of the sum; then it is as if nothing had been."""
    assert found(1.15, 1.0).is_found
    assert not found(1.15, 1.0, 1.0, 1.0).is_found


def test_the_ratio_is_that_since_the_sum_left_nothing() -> None:
    """Good weeks before do not water it down; without a sum it is the newest week."""
    assert pytest.approx(1.12) == found(1.0, 1.0, 1.12, 1.12).ratio
    assert pytest.approx(1.01) == found(1.0, 1.01).ratio


def test_coarse_levels_are_joined_until_they_tell() -> None:
    """By hand: +-20 mL of 280 is sd sqrt(2) 20/sqrt(3)/280 = 5.8 %, of 560 2.9 %."""
    assert judged(weeks(1.1, within_ul=20_000)) is None
    verdict = found(1.0, 1.1, within_ul=20_000)
    assert (1, 1.05) == (verdict.levels, round(verdict.ratio, 6))


def test_coarse_levels_raise_the_threshold() -> None:
    """At an sd of 3.7 % 3 sd less the slack is 7.2 %: 11 % is too little, 12 not."""
    assert not found(1.11, within_ul=12_700).is_found
    assert found(1.12, within_ul=12_700).is_found


def test_the_second_of_two_readings_counts_on() -> None:
    """Read before and after a fill: nothing ran between, whatever the marks say."""
    first, second, third = weeks(1.0, 1.0, 1.1)
    twice = replace(second, used_ul=-9_000, believed_ul=0, runs=0)
    assert inf == ratio_sd(twice)
    verdict = judged([first, twice, third])
    assert verdict is not None
    assert (2, True) == (verdict.levels, verdict.is_found)
    assert judged([twice]) is None


def test_h28_a_calibration_begins_anew() -> None:
    """Levels that began before it tell nothing of the rate that is in force now."""
    diary = Diary(at=T0 + WEEK)
    state = State(intervals={"one": weeks(1.1, 1.2)})
    verdict = drift_of(state, "one")
    assert verdict is not None
    assert (2, True) == (verdict.levels, verdict.is_found)
    state.calibrations["carbonate"] = calibrated(diary)
    verdict = drift_of(state, "one")
    assert verdict is not None
    assert (1, 1.2) == (verdict.levels, round(verdict.ratio, 6))
    state.calibrations["carbonate"] = replace(calibrated(diary), at=T0 + 2 * WEEK)
    assert drift_of(state, "one") is None
    assert drift_of(state, "other") is None


def test_h28_a_new_tube_begins_anew() -> None:
    """What the old one gave says nothing of it."""
    state = State(intervals={"one": weeks(1.1, 1.2)})
    state.tubes["carbonate"] = T0 + WEEK
    verdict = drift_of(state, "one")
    assert verdict is not None
    assert (1, 1.2) == (verdict.levels, round(verdict.ratio, 6))


@pytest.mark.parametrize("runs", [100, pytest.param(1000, marks=pytest.mark.long)])
def test_h28_weekly_levels_find_ten_percent_in_two_weeks(runs: int) -> None:
    """In 95 of 100 pumps and more, at one false alarm a year or fewer."""
    said = figures(runs)
    assert said["10 % found within 14 days, share"] >= 0.95
    assert said["wear found within 14 days of 10 %, share"] >= 0.95
    assert said["false alarms a year"] <= 1.0
