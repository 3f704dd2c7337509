"""Cumulative sums and the levels they take, at the very border, worked by hand.

Source of the method: Page 1954, Biometrika 41:100 (from memory); a run is within 5 % of
its mean as limits of an even spread (common practice; JCGM 100:2008, 4.3.7).
"""

from dataclasses import replace
from math import sqrt

import pytest

from slackwater.facts.state import Interval, State
from slackwater.gate.drift import Drift, drift_of, judged, ratio_sd
from tests.bench.drift import T0
from tests.facts.diary import Diary, calibrated
from tests.gate.test_drift import WEEK, found, weeks


def exact(*pairs: tuple[int, int], runs: int = 100) -> list[Interval]:
    """Intervals of (used, believed) microlitres whose levels were read exactly."""
    likes = weeks(*[1.0] * len(pairs), within_ul=0)
    return [
        replace(like, used_ul=used, believed_ul=believed, runs=runs)
        for like, (used, believed) in zip(likes, pairs, strict=True)
    ]


def test_a_drift_at_the_very_share_that_stops_does_not_stop() -> None:
    """A quarter more is no further off than a quarter."""
    drift = Drift(pumps=("carbonate",), ratio=1.25, levels=1, is_found=True)
    assert not drift.is_beyond(0.25)
    assert drift.is_beyond(0.2499)


def test_the_ratio_is_of_what_was_used_and_believed_alone() -> None:
    """224 of 200 µL after two weeks in which both sums were nothing: 1.12."""
    verdict = judged(exact((100, 100), (100, 100), (112, 100), (112, 100)))
    assert verdict is not None
    assert 224 / 200 == verdict.ratio


def test_the_ratio_is_that_of_all_weeks_of_the_sum() -> None:
    """1.2 and 1.1 make 1.15; the newest alone says 1.1."""
    assert 1.15 == pytest.approx(found(1.2, 1.1).ratio)


@pytest.mark.parametrize("believed_ul", [1, 300_000])
def test_one_run_between_two_exact_levels_tells(believed_ul: int) -> None:
    """0.05 / sqrt(3) = 2.9 %: surer than 4 %, however little it was."""
    (one,) = exact((believed_ul, believed_ul), runs=1)
    assert 0.05 / sqrt(3) == pytest.approx(ratio_sd(one))
    verdict = judged([one])
    assert verdict is not None
    assert 1 == verdict.levels


def test_levels_without_a_run_between_add_nothing_to_the_next_week() -> None:
    """Read 9 mL apart before and after a fill: the week after is told by itself."""
    first, second, third = weeks(1.0, 1.0, 1.1)
    twice = replace(second, used_ul=-9_000, believed_ul=0, runs=0)
    verdict = judged([first, twice, third])
    assert verdict is not None
    assert 1.1 == pytest.approx(verdict.ratio)


@pytest.mark.parametrize(("measured_weeks", "tube_weeks"), [(1, 2), (2, 1)])
def test_h28_the_later_of_a_new_tube_and_a_calibration_begins_anew(
    measured_weeks: int, tube_weeks: int
) -> None:
    """Of three weeks the last is all that tells of the pump as it is now."""
    state = State(intervals={"one": weeks(1.1, 1.1, 1.2)})
    measured = calibrated(Diary())
    state.calibrations["carbonate"] = replace(measured, at=T0 + measured_weeks * WEEK)
    state.tubes["carbonate"] = T0 + tube_weeks * WEEK
    verdict = drift_of(state, "one")
    assert verdict is not None
    assert (1, 1.2) == (verdict.levels, round(verdict.ratio, 6))
