"""The verdict on a test a day: against the line through the tests before it."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from math import exp, pi, sqrt
from statistics import fmean

import pytest

from slackwater.facts.charging import believe
from slackwater.facts.fold import fold
from slackwater.facts.judgements import Break, Told
from slackwater.gate.moment import Moment
from slackwater.gate.swings.hand_tests import judge_tests
from slackwater.gate.swings.limits import DKH
from slackwater.gate.swings.verdicts import Steady, Swing, TooLittle, Verdict
from tests.gate.scene import machine, moment
from tests.gate.swing_runs import BEGINS, PEQ_PER_DKH, by_hand, stamped, utc
from tests.gate.swing_tanks import DAY_MIN

QUIET = [8.0, 8.1, 7.9, 8.0, 8.1, 8.0, 7.9]
Sample = tuple[float, float]


def with_tests(*tests: Sample, target: bool = True) -> Moment:
    """A tank with these tests, by minute and dKH."""
    base = machine()
    tank = replace(base.tanks["reef"], targets={"alkalinity": 8.0 * DKH})
    at = moment(replace(base, tanks={"reef": tank}) if target else base)
    at.state.stage_since = BEGINS
    for minute, level in tests:
        fold(at.state, by_hand(minute, level))
    last = max((minute for minute, _ in tests), default=0.0)
    return replace(at, now=replace(at.now, utc=utc(last)))


def daily(levels: Sequence[float]) -> list[Sample]:
    """One test a day."""
    return [(day * DAY_MIN, level) for day, level in enumerate(levels)]


def evening(*levels: float) -> list[Sample]:
    """Tests of the day after the quiet ones, an hour apart."""
    return [(len(QUIET) * DAY_MIN + 60.0 * n, level) for n, level in enumerate(levels)]


def said(*more: Sample, target: bool = True) -> Verdict:
    """The verdict after the quiet days and these tests."""
    return judge_tests(with_tests(*daily(QUIET), *more, target=target), "reef")


def test_four_tests_are_no_line() -> None:
    """Five are one; their number is told."""
    found = judge_tests(with_tests(*daily(QUIET[:4])), "reef")
    assert isinstance(found, TooLittle)
    assert 4 == found.have
    assert isinstance(judge_tests(with_tests(*daily(QUIET[:5])), "reef"), Steady)


@pytest.mark.parametrize("target", [True, False])
def test_quiet_tests_are_steady(*, target: bool) -> None:
    """With a target, and around their own middle."""
    found = said(target=target)
    assert isinstance(found, Steady)
    assert 3 == found.good


def steady_dkh(at: Moment) -> tuple[int, float, float]:
    """The good tests, how far the newest lies off, and the error of that in dKH."""
    found = judge_tests(at, "reef")
    assert isinstance(found, Steady)
    return found.good, found.off / DKH, found.sd / DKH


def error_dkh(sd: float, days: Sequence[int], newest: int) -> float:
    """The error of a test beside the line through others of this error.

    Of a predicted value in a regression on days: that of the test, of the middle of the
    line, of its slope (Draper and Smith 1998, from memory), the middle being a
    median, which costs the root of pi / 2. Besides, what the model leaves out, 0.06,
    and a cycle nobody knows, 0.14 dKH.
    """
    middle = fmean(days)
    spread = sum((day - middle) ** 2 for day in days)
    of_line = pi / 2 / len(days) + (newest - middle) ** 2 / spread
    return sqrt(sd**2 * (1 + of_line) + 0.06**2 + 0.14**2)


@pytest.mark.parametrize(("count", "used", "good"), [(7, 6, 3), (13, 10, 6)])
def test_a_test_is_compared_with_the_line_through_ten_before_it(
    count: int, used: int, good: int
) -> None:
    """A level that climbs by 0.05 dKH a day, and at last 0.2 beyond; six are judged."""
    line = [8.0 + 0.05 * day for day in range(count)]
    at = with_tests(*daily([*line[:-1], line[-1] + 0.2]))
    error = error_dkh(0.1, range(count - 1 - used, count - 1), count - 1)
    assert pytest.approx((good, 0.2, error), rel=1e-5) == steady_dkh(at)
    found = judge_tests(at, "reef")
    assert isinstance(found, Steady)
    assert utc((count - good) * DAY_MIN) == found.since


def test_the_largest_error_that_a_kit_states_is_its_error() -> None:
    """0.05 and 0.3 dKH among tests that state none."""
    at = with_tests(*daily([8.0] * 7))
    for place, sd in ((1, 0.3), (4, 0.05)):
        at.state.tests["reef"][place] = replace(
            at.state.tests["reef"][place], sd=sd * DKH
        )
    assert pytest.approx(error_dkh(0.3, range(6), 6), rel=1e-5) == steady_dkh(at)[2]


def test_replicates_count_as_their_mean_at_the_time_of_the_first() -> None:
    """Of the newest 0.1 and 0.3 dKH beyond a line, and of one before them."""
    line = daily([8.0 + 0.05 * day for day in range(13)])
    (day, level), (last_day, last) = line[5], line[12]
    twice = [(day + 25, level)]
    newest = [(last_day, last + 0.1), (last_day + 20, last + 0.3)]
    at = with_tests(*line[:6], *twice, *line[6:12], *newest)
    error = error_dkh(0.1, range(2, 12), 12)
    assert pytest.approx((6, 0.2, error), rel=1e-5) == steady_dkh(at)


@pytest.mark.parametrize(
    ("minutes", "count"),
    [((0.0, 30.0), 2), ((0.0, 29.992), 1), ((0.0, 20.0, 40.0), 2)],
)
def test_replicates_begin_within_half_an_hour_of_the_first(
    minutes: Sequence[float], count: int
) -> None:
    """Thirty minutes later is another test."""
    found = judge_tests(with_tests(*[(minute, 8.0) for minute in minutes]), "reef")
    assert isinstance(found, TooLittle)
    assert count == found.have


def test_doses_from_the_first_test_to_the_newest_are_taken_out() -> None:
    """2 dKH just after the first and half a dKH just before the newest of ten.

    The tank takes up 1.4 of the 5 dKH above 3 a day: x' = -1.4 - 0.28 x.
    """
    doses = [(90.0, 2.0), (8.5 * DAY_MIN + 30, 0.5)]

    def level(minute: float) -> float:
        room, last = 5.0, 0.0
        for at, rise in doses:
            if at <= minute:
                room = room * exp(-0.28 * (at - last) / DAY_MIN) + rise
                last = at
        return 3.0 + room * exp(-0.28 * (minute - last) / DAY_MIN)

    at = with_tests(*daily([level(day * DAY_MIN) for day in range(10)]))
    first = int(BEGINS.timestamp() // 3600)
    at.state.hours["reef"] = {
        first + int(minute // 60): int(rise * PEQ_PER_DKH) for minute, rise in doses
    }
    good, off, _ = steady_dkh(at)
    assert 6 == good
    assert pytest.approx(0.0, abs=1e-4) == off


def test_h50_one_far_test_alone_says_nothing() -> None:
    """It asks for a retest."""
    assert not isinstance(said(*evening(10.0)), Swing)


@pytest.mark.parametrize("level", [9.6, 6.4])
def test_h51_a_retest_makes_it_a_swing(level: float) -> None:
    """Up is too much, down is not."""
    found = said(*evening(level, level))
    assert isinstance(found, Swing)
    assert (level > 8) == found.excess


def test_replicates_within_half_an_hour_are_one_test() -> None:
    """Their mean; a second one at once is no retest."""
    day = len(QUIET) * DAY_MIN
    assert not isinstance(said((day, 10.0), (day + 20, 10.0)), Swing)


def told(at: Moment, what: Told, minute: float, rise: float | None = None) -> None:
    """Something told of."""
    mark = Break(at=utc(minute), told=what, rise=rise)
    at.state.breaks["reef"] = {**at.state.breaks.get("reef", {}), what: mark}


@pytest.mark.parametrize("what", ["event", "release", "change"])
def test_what_moved_the_water_by_nobody_knows_how_much_begins_anew(what: Told) -> None:
    """The tests before it are of another water."""
    at = with_tests(*daily(QUIET), *evening(9.6, 9.6))
    told(at, what, len(QUIET) * DAY_MIN - 60)
    found = judge_tests(at, "reef")
    assert isinstance(found, TooLittle)
    assert 2 == found.have


@pytest.mark.parametrize("days", [(3,), (1, 3)])
def test_the_tests_after_the_last_such_moment_count(days: Sequence[int]) -> None:
    """Seven tests, and something of the fourth day's very moment: three are later."""
    at = with_tests(*daily(QUIET))
    kinds: tuple[Told, ...] = ("event", "release")
    for what, day in zip(kinds, days, strict=False):
        told(at, what, day * DAY_MIN)
    found = judge_tests(at, "reef")
    assert isinstance(found, TooLittle)
    assert 3 == found.have


@pytest.mark.parametrize(
    ("day", "added_dkh", "is_good"),
    [
        (6.0, 2.0, False),
        (6.001, 2.0, True),
        (7.0, 2.0, True),
        (5.5, 2.0, False),
        (6.5, 0.1, False),
    ],
)
def test_what_an_addition_may_be_off_is_allowed_the_test_after_it(
    day: float, added_dkh: float, is_good: bool
) -> None:
    """A test a whole dKH above the seven before it, of a kit with an error of 0.3.

    What neighbours share is 0.30 dKH (as above, without the test's own error), near is
    0.2: only with 0.3 and half of 2 dKH more is it good.
    """
    at = with_tests(*daily([8.0] * 7 + [9.0]))
    tests = at.state.tests["reef"]
    at.state.tests["reef"] = [replace(one, sd=0.3 * DKH) for one in tests]
    added = int(added_dkh * PEQ_PER_DKH)
    mark = Break(at=utc(day * DAY_MIN), told="addition", added=added)
    at.state.breaks["reef"] = {"a": mark}
    assert is_good == (steady_dkh(at)[0] > 0)


def test_a_change_that_was_told_is_no_swing() -> None:
    """What it brought is taken out; what it may be off is allowed for."""
    at = with_tests(*daily(QUIET), *evening(9.0, 9.0))
    assert isinstance(judge_tests(at, "reef"), Swing)
    told(at, "change", len(QUIET) * DAY_MIN - 60, 0.9 * DKH)
    assert isinstance(judge_tests(at, "reef"), Steady)


def test_a_probe_that_was_serviced_explains_no_hand_test() -> None:
    """It moved neither water nor kit."""
    at = with_tests(*daily(QUIET), *evening(9.6, 9.6))
    told(at, "service", len(QUIET) * DAY_MIN - 60)
    assert isinstance(judge_tests(at, "reef"), Swing)


def test_an_addition_by_hand_is_taken_out() -> None:
    """As much as was believed to come."""
    at = with_tests(*daily(QUIET), *evening(9.2, 9.2))
    at.state.hours["reef"] = {}
    before = stamped(len(QUIET) * DAY_MIN - 60)
    believe(at.state, "reef", {"alkalinity": int(1.2 * PEQ_PER_DKH)}, before)
    told(at, "addition", len(QUIET) * DAY_MIN - 60)
    assert not isinstance(judge_tests(at, "reef"), Swing)


def test_a_kit_that_states_its_error_is_believed() -> None:
    """With an error of half a dKH the same two tests prove nothing."""
    at = with_tests(*daily(QUIET), *evening(9.2, 9.2))
    assert isinstance(judge_tests(at, "reef"), Swing)
    tests = at.state.tests["reef"]
    at.state.tests["reef"] = [replace(one, sd=0.5 * DKH) for one in tests]
    assert not isinstance(judge_tests(at, "reef"), Swing)


def test_what_was_told_before_the_first_test_changes_nothing() -> None:
    """It lies between no two tests."""
    at = with_tests(*daily(QUIET))
    before = judge_tests(at, "reef")
    told(at, "change", -(timedelta(days=1) / timedelta(minutes=1)), 0.9 * DKH)
    assert before == judge_tests(at, "reef")
