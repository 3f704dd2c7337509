"""From a course of readings to errors: what is taken out, and what is missing."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.courses import Course
from slackwater.gate.swings.limits import DKH, LEAST_RESOLUTION
from slackwater.gate.swings.series import (
    Errors,
    blocks_of,
    errors_of,
    hours_of,
    level_of,
    levels_of,
    readings_of_a_block,
    resolution_of,
)
from slackwater.gate.swings.verdicts import TooLittle
from tests.gate.scene import PROBE, dkh
from tests.gate.swing_runs import BEGINS
from tests.gate.swing_tanks import DAY_MIN, Series, Told, ramp
from tests.gate.swings.followed import (
    NOISE_DKH,
    TARGET_DKH,
    Dose,
    at_target,
    noisy,
    seen,
    series,
)

DAYS = 6


def errors(one: Series) -> Errors:
    """There must be some."""
    found = errors_of(*seen(one))
    assert isinstance(found, Errors)
    return found


def missing(one: Series) -> TooLittle:
    """There must be too little."""
    found = errors_of(*seen(one))
    assert isinstance(found, TooLittle)
    return found


def test_no_readings_are_too_little() -> None:
    """Nothing was heard, or not for an hour yet."""
    moment, probe, _ = seen(series(noisy(at_target), 1, 5.0))
    assert TooLittle(why="no readings of an hour yet", have=0) == errors_of(
        moment, probe, Course()
    )


def test_two_days_are_too_little_and_three_are_enough() -> None:
    """Two whole days before the last 24 hours."""
    assert "fewer than two" in missing(series(noisy(at_target), 2.5, 60.0)).why
    assert 48 <= len(errors(series(noisy(at_target), 3.0, 30.0)).points)


@pytest.mark.parametrize("period_min", [5.0, 60.0, 360.0])
def test_errors_of_a_steady_tank_are_its_noise(period_min: float) -> None:
    """Of one reading; a block of six has the error of its middle."""
    points = errors(series(noisy(at_target), 9, period_min)).points
    assert points
    far = [one for one in points if abs(one.error) > 4 * max(one.sd, NOISE_DKH * DKH)]
    assert [] == far
    assert all(one.sd > one.bias for one in points)


def test_a_step_shows_in_the_errors_as_large_as_it_is() -> None:
    """The baseline knows nothing of the day it belongs to."""
    begins = (DAYS - 0.5) * DAY_MIN
    step = ramp(begins, 1.0, 10.0)
    found = errors(series(noisy(lambda m: TARGET_DKH + step(m)), DAYS, 60.0)).points
    late = [one.error / DKH for one in found[-6:]]
    assert pytest.approx([1.0] * 6, abs=0.25) == late


def test_doses_are_taken_out() -> None:
    """A day of double doses is no swing of the tank."""
    gap, rise = DAY_MIN / 24, 1.0 / 24
    doses: list[Dose] = [(gap * (n + 0.5), rise) for n in range(24 * DAYS)]
    more: list[Dose] = [(m + 1, r) for m, r in doses if m > (DAYS - 1) * DAY_MIN]
    lifted = ramp((DAYS - 1) * DAY_MIN, 0.9, DAY_MIN)
    one = series(
        noisy(lambda m: TARGET_DKH + lifted(m)),
        DAYS,
        60.0,
        doses=sorted([*doses, *more]),
        uptake=1.0,
    )
    late = [abs(point.error) / DKH for point in errors(one).points[-6:]]
    assert max(late) < 0.25
    bare = replace(one, doses=doses)
    assert min(abs(p.error) / DKH for p in errors(bare).points[-6:]) > 0.5


def told(what: str, minute: float) -> Told:
    """Written down as it happened; nobody knows what it does."""
    return Told(what=what, written=minute, at=minute, rise=None)


def test_nothing_is_said_until_something_told_of_has_settled() -> None:
    """Two readings after it has mixed."""
    late = told("probe_serviced", DAYS * DAY_MIN - 90)
    one = series(noisy(at_target), DAYS, 60.0, told=[late])
    assert "something told of is too young" == missing(one).why


def test_what_is_left_after_a_cut_may_be_too_little() -> None:
    """The series was not read for a day before it; it begins anew."""
    minute = (DAYS - 1) * DAY_MIN
    whole = series(noisy(at_target), DAYS, 60.0, told=[told("event", minute)])
    read = [r for r in whole.readings if not minute - 500 < r[0] < minute + 1]
    assert (
        "too little since something told of"
        == missing(replace(whole, readings=read)).why
    )


def test_readings_within_an_hour_of_a_step_are_not_judged() -> None:
    """The rest of the day is."""
    minute = (DAYS - 0.5) * DAY_MIN
    with_step = series(noisy(at_target), DAYS, 60.0, told=[told("event", minute)])
    without = replace(with_step, told=())
    assert 2 == len(errors(without).points) - len(errors(with_step).points)


def test_a_stage_that_began_anew_begins_the_series_anew() -> None:
    """What was doses in shadow is none of the live tank's."""
    moment, _, course = seen(series(noisy(at_target), 2, 60.0))
    assert 47 == len(hours_of(moment, course))
    moment.state.stage_since = BEGINS + timedelta(days=1)
    assert 23 == len(hours_of(moment, course))
    assert 23 == len(levels_of(moment, course))
    moment.state.stage_since = None
    assert 47 == len(hours_of(moment, course))


def test_the_block_under_way_counts_once_it_is_whole() -> None:
    """Six readings of five minutes; a slow probe's only one."""
    moment, probe, course = seen(series(noisy(at_target), 1, 5.0))
    assert 6 == readings_of_a_block(probe)
    assert len(course.blocks) + 1 == len(blocks_of(course, probe))
    course.add(moment.now.utc.timestamp() + 300, 3.0)
    assert len(course.blocks) == len(blocks_of(course, probe))
    assert [1, 1] == [
        readings_of_a_block(replace(PROBE, period_s=s)) for s in (1800.0, 21_600.0)
    ]


def test_the_usual_level_is_the_target_or_the_middle() -> None:
    """A tank without a target stands where it stands."""
    moment, probe, course = seen(series(lambda _: 7.5, 2, 60.0))
    hours = hours_of(moment, course)
    assert dkh(TARGET_DKH) == level_of(moment, probe, hours)
    bare = replace(moment.machine.tanks["reef"], targets={})
    moment = replace(moment, machine=replace(moment.machine, tanks={"reef": bare}))
    assert pytest.approx(dkh(7.5)) == level_of(moment, probe, hours)


def test_no_probe_resolves_nothing() -> None:
    """One that says so is taken to resolve a thousandth of a dKH."""
    assert LEAST_RESOLUTION == resolution_of(replace(PROBE, resolution=0.0))
    assert PROBE.resolution == resolution_of(PROBE)


def test_a_slow_source_that_jumps_about_is_less_sure() -> None:
    """The noise of its newest readings counts, once there are six of them."""
    calm, loud = noisy(at_target, 1), noisy(at_target, 2, 0.4)

    def shown(minute: float) -> float:
        return (loud if minute > (DAYS - 0.4) * DAY_MIN else calm)(minute)

    jumpy = errors(series(shown, DAYS, 60.0)).points[-1].sd
    assert jumpy > 2 * errors(series(noisy(at_target), DAYS, 60.0)).points[-1].sd
    few = errors(series(noisy(at_target), 9, 360.0)).points
    assert 4 == len(few)
