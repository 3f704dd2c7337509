"""The verdict on a test a day: against the line through the tests before it."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

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
