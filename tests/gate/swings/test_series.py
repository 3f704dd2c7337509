"""From a course of readings to errors: what is taken out, and what is missing."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from math import exp, hypot, pi, sqrt

import pytest

from slackwater.facts.courses import Course
from slackwater.gate.swings.limits import DKH
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


def told(what: str, minute: float) -> Told:
    """Written down as it happened; nobody knows what it does."""
    return Told(what=what, written=minute, at=minute, rise=None)


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


def lone_dkh(found: Errors) -> list[float]:
    """The errors of single readings without what neighbours share, in dKH."""
    return [sqrt(one.sd**2 - one.bias**2) / DKH for one in found.points]


def with_last(values: Sequence[float], period_min: float) -> Series:
    """Six days at the target, the newest readings off it by these."""
    still = series(at_target, DAYS, period_min)
    calm = still.readings[: -len(values)]
    newest = still.readings[-len(values) :]
    off = [(m, v + more) for (m, v), more in zip(newest, values, strict=True)]
    return replace(still, readings=[*calm, *off])


# What a whole tank's model leaves out, in dKH; a limit of the design.
MODEL = 0.06


def test_the_points_are_those_of_the_last_day() -> None:
    """Of an hourly source 24; the one a whole day before the newest is none of them."""
    assert 24 == len(errors(series(at_target, DAYS, 60.0)).points)


def test_a_day_of_twelve_points_knows_its_own_noise() -> None:
    """A day that rises by 0.05 dKH each two hours, after five that stood still.

    Its noise is 1.4826 times that over the root of 2 (Hampel 1974); bends it has none.
    With a reading less that of the days before counts.
    """
    rising = with_last([0.05 * n for n in range(1, 13)], 120.0)
    found = errors(rising)
    own = 1.4826 * 0.05 / sqrt(2)
    assert pytest.approx([hypot(own, MODEL)] * 12) == lone_dkh(found)
    fewer = [*rising.readings[:-12], *rising.readings[-11:]]
    found = errors(replace(rising, readings=fewer))
    before = hypot(found.usual.sd / DKH, MODEL)
    assert pytest.approx([before] * 11) == lone_dkh(found)
    assert before < hypot(own, MODEL)


# Nine readings that swing further each time: bends of 0.04, 0.08, 0.12, 0.18, 0.24,
# 0.32 and 0.40 dKH, 0.18 in the middle.
WIDER = (0.0, 0.02, 0.0, 0.06, 0.0, 0.12, 0.0, 0.20, 0.0)


@pytest.mark.parametrize("period_min", [30.0, 60.0])
def test_the_newest_nine_of_a_slow_source_tell_how_restless_it_is(
    period_min: float,
) -> None:
    """By the median of their bends, which deviate by the root of 6 of the noise's.

    (1 + 4 + 1 are the squares of 1, -2, 1.) The rest of the day stood still.
    """
    restless = 1.4826 * 0.18 / sqrt(6)
    found = lone_dkh(errors(with_last(WIDER, period_min)))
    assert pytest.approx([hypot(restless, MODEL)] * len(found)) == found


def test_six_readings_tell_how_restless_a_source_is_and_five_do_not() -> None:
    """Every four hours, up and down by 0.1 dKH: bends of 0.2."""
    jumpy = with_last([0.0, 0.1, 0.0, 0.1, 0.0, 0.1], 240.0)
    restless = 1.4826 * 0.2 / sqrt(6)
    found = lone_dkh(errors(jumpy))
    assert pytest.approx([hypot(restless, MODEL)] * 6) == found
    fewer = errors(
        replace(jumpy, readings=[*jumpy.readings[:-6], *jumpy.readings[-5:]])
    )
    usual = hypot(fewer.usual.sd / DKH, MODEL)
    assert pytest.approx([usual] * 5) == lone_dkh(fewer)


def test_a_fifth_of_what_moved_the_water_since_the_baseline_is_uncertain() -> None:
    """A dose of 1 dKH after one day, another six hours before the end.

    The tank takes up 0.05 dKH a day of its 5 dKH, which is a hundredth: x' = -0.05 -
    0.01 x, so that it sinks towards -5 by that share.
    """
    doses = [(1.0 * DAY_MIN, 1.0), ((DAYS - 0.25) * DAY_MIN, 1.0)]
    one = series(at_target, DAYS, 60.0, doses=doses)
    begins = one.readings[0][0]

    def level(minute: float) -> float:
        """In dKH."""
        found, last = 5.0, begins
        for at, rise in doses:
            if at <= minute:
                found = found * exp(-0.01 * (at - last) / DAY_MIN) + rise
                last = at
        return found * exp(-0.01 * (minute - last) / DAY_MIN) - 5.0

    found = errors(one)
    usual_min = found.usual.hour * 60 - BEGINS.timestamp() / 60
    known = [
        sqrt(point.bias**2 - found.usual.variance_at(point.at_s / 3600)) / DKH
        for point in found.points
    ]
    minutes = [(point.at_s - BEGINS.timestamp()) / 60 for point in found.points]
    fifth = [0.2 * abs(level(m) - level(usual_min)) for m in minutes]
    assert pytest.approx(fifth, rel=1e-3) == known
    assert 0.18 < known[-1] < 0.2


def test_what_moved_the_water_fades_by_the_share_that_is_taken_up() -> None:
    """2 dKH of 5 a day, and so does a step told of: of 0.5 dKH 0.03 are left to judge.

    Its size is taken from the six hours after it, in which 6 in 100 of it fade.
    """
    event = 3.0 * DAY_MIN

    def faded(minute: float) -> float:
        passed = (minute - event) / DAY_MIN
        return TARGET_DKH + (0.5 * exp(-0.4 * passed) if passed > 0 else 0.0)

    found = errors(series(faded, DAYS, 60.0, told=[told("event", event)], uptake=2.0))
    assert pytest.approx(0.4 / 24, rel=1e-6) == found.usual.fades
    assert max(abs(point.error) / DKH for point in found.points) < 0.03


def test_an_addition_explains_what_was_added_and_half_of_it_more() -> None:
    """Of a rise of 1 dKH 0.2 were added by hand; 0.3 and half of 0.2 may be more."""
    minute = (DAYS - 0.5) * DAY_MIN
    added = Told(what="addition", written=minute, at=minute, rise=0.2)
    one = series(
        lambda m: TARGET_DKH + (1.0 if m >= minute else 0.0), DAYS, 60.0, told=[added]
    )
    assert pytest.approx(0.4, abs=0.005) == errors(one).points[-1].error / DKH


def test_a_join_within_the_day_is_as_uncertain_as_two_medians() -> None:
    """Of five readings each, whose error is the root of pi / 2 of a mean's."""
    event = told("event", (DAYS - 0.5) * DAY_MIN)
    found = errors(series(at_target, DAYS, 60.0, told=[event]))
    at_s = BEGINS.timestamp() + event.at * 60
    known = [
        (one.at_s > at_s, one.bias**2 - found.usual.variance_at(one.at_s / 3600))
        for one in found.points
    ]
    price = 2 * pi / 2 * found.usual.sd**2 / 5
    assert pytest.approx([0.0] * 11, abs=price / 1e3) == [v for a, v in known if not a]
    assert pytest.approx([price] * 11, rel=1e-3) == [v for a, v in known if a]


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
    moment.state.stage_since = BEGINS + timedelta(days=1, minutes=30)
    assert 22 == len(hours_of(moment, course))
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
    assert pytest.approx(dkh(0.001)) == resolution_of(replace(PROBE, resolution=0.0))
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
