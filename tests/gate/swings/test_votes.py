"""Which tests vote, what stands alone, and when two votes make a swing."""

from collections.abc import Sequence

import pytest

from slackwater.gate.swings.limits import DKH, LEAST_SWING
from slackwater.gate.swings.verdicts import Steady
from slackwater.gate.swings.votes import alone, judged, without_few
from tests.gate.swings.pointed import HOUR_S, of_risen, points, quiet, shown, swing

SD = 0.1 * DKH


def weekly(per_day_dkh: float) -> list[tuple[float, float]]:
    """A level of a week that drifts, by the hour."""
    return [(h * HOUR_S, (8.0 + per_day_dkh * h / 24) * DKH) for h in range(168)]


def test_no_point_at_all_is_well_and_proves_nothing() -> None:
    """Nothing is good that was not read."""
    assert Steady(good=0, since=None) == judged([], [])


def test_one_point_says_nothing() -> None:
    """However far out it lies."""
    assert Steady(good=0, since=None, off=2.0 * DKH, sd=SD) == judged(points(2.0), [])


@pytest.mark.parametrize("sign", [1, -1])
def test_two_far_points_are_a_swing_by_sums_and_range(sign: int) -> None:
    """Its size, its votes and where it began; a rise is an excess, a fall is none."""
    found = swing(of_risen(*quiet(10), sign * 0.9, sign * 0.9))
    assert pytest.approx(sign * 0.9 * DKH) == found.size
    assert ("sums", "range") == found.votes
    assert ((sign > 0), 2) == (found.excess, found.points)
    assert "1970-01-01T10:00:00+00:00" == found.since.isoformat()
    assert ("swing-up" if sign > 0 else "swing-down") == found.name


def test_a_far_point_alone_is_marked_and_takes_no_part() -> None:
    """Until the next one says the same."""
    lone = points(*quiet(10), 2.0)
    assert {10} == alone(lone)
    assert "steady" == judged(lone, []).name
    assert set() == alone(points(*quiet(10), 2.0, 1.9))
    assert "swing-up" == of_risen(*quiet(10), 2.0, 1.9).name


def test_a_point_on_the_other_side_confirms_nothing() -> None:
    """Two outliers that contradict each other are two outliers."""
    assert {10, 11} == alone(points(*quiet(10), 2.0, -2.0))


def test_one_half_as_far_or_twice_confirms_nothing() -> None:
    """What says the same is between half and twice as far."""
    assert {10, 11} == alone(points(*quiet(10), 2.0, 0.9))
    assert {10, 11} == alone(points(*quiet(10), 2.0, 1.0))
    assert set() == alone(points(*quiet(10), 2.0, 1.1))


def test_what_lies_among_far_ones_is_no_outlier_of_theirs() -> None:
    """Where all jump about, none is far from the middle of its neighbours."""
    wild = points(*[2.0, -0.9, 0.7, -2.0] * 3)
    assert set() == alone(wild)


def test_few_that_stand_alone_are_left_out_and_many_are_not() -> None:
    """Where many do, they are no exceptions."""
    two = points(*quiet(6), 2.0, *quiet(6), -2.0, *quiet(6))
    assert 18 == len(without_few(two))
    three = points(*quiet(6), 2.0, *quiet(6), -2.0, *quiet(6), 3.0, *quiet(6))
    assert three == without_few(three)


def test_nothing_smaller_than_a_swing_is_one() -> None:
    """Sure as it is: a shift of a third of a dKH that stays."""
    small = LEAST_SWING / DKH - 0.02
    for size in (small, -small):
        of = points(*quiet(10), *[size] * 12, sd_dkh=0.03)
        assert "steady" == judged(of, shown(of)).name


def test_sums_alone_need_a_retest() -> None:
    """A slow rise that no range shows: the newest two both say the same."""
    rise = [0.36] * 8
    found = swing(of_risen(*quiet(10), *rise, sd_dkh=0.08))
    assert ("sums", "retest") == found.votes


def test_one_vote_without_a_retest_is_no_swing() -> None:
    """The newest point says it is over."""
    over = [*quiet(10), *[0.45] * 5, 0.52, 0.19]
    assert "steady" == of_risen(*over).name


def test_a_week_of_drift_is_a_vote_beside_the_sums() -> None:
    """The slope of the level itself, by Theil 1950."""
    rise = points(*quiet(10), *[0.36] * 8, sd_dkh=0.08)
    assert ("sums", "slope") == swing(judged(rise, weekly(0.1))).votes
    back = [(at_s, level + 0.5 * DKH) for at_s, level in weekly(-0.1)[-2:]]
    falling = [*weekly(-0.1)[:-2], *back]
    assert ("sums", "retest") == swing(judged(rise, falling)).votes
    assert ("sums", "retest") == swing(judged(rise, weekly(1.0)[:24])).votes
    assert ("sums", "slope") == swing(judged(rise, weekly(1.0)[:25])).votes


@pytest.mark.parametrize("per_day_dkh", [0.0, -0.5, -3.0])
def test_water_that_stands_or_sinks_does_not_swing_up(per_day_dkh: float) -> None:
    """However far the prediction sank below it: there is no excess in it."""
    beyond = points(*quiet(10), *[0.9] * 8)
    sinking = weekly(per_day_dkh)[: len(beyond)]
    assert "steady" == judged(beyond, sinking).name
    falls = points(*quiet(10), *[-0.9] * 8)
    assert "swing-down" == judged(falls, sinking).name


def test_what_a_level_was_days_before_a_swing_is_no_rise() -> None:
    """Looked at is the day before, and the quarter of a day before that."""
    beyond = points(*quiet(60), 0.9, 0.9)
    calm = [(point.at_s, 8.0 * DKH) for point in beyond]
    low = 7.0 * DKH
    old = [(at_s, low if at_s < 30 * HOUR_S else level) for at_s, level in calm]
    near = [(at_s, low if at_s == 30 * HOUR_S else level) for at_s, level in calm]
    assert "steady" == judged(beyond, old).name
    assert "swing-up" == judged(beyond, near).name


@pytest.mark.parametrize(
    ("low", "name"), [(5, "swing-up"), (3, "swing-up"), (2, "steady")]
)
def test_of_rare_tests_the_newest_three_before_a_swing_count_however_old(
    low: int, name: str
) -> None:
    """A keeper who tests every other day finds a rise as well, from the lowest."""
    of = points(*quiet(6), 0.9, 0.9, every_s=48 * HOUR_S)
    levels = [
        (point.at_s, (7.1 if place == low else 8.0) * DKH)
        for place, point in enumerate(of)
    ]
    assert name == judged(of, levels).name


def test_of_three_tests_the_first_is_what_the_others_rose_from() -> None:
    """There is none before it."""
    of = points(0.0, 0.9, 0.9, every_s=48 * HOUR_S)
    assert "swing-up" == judged(of, shown(of)).name


def test_what_began_before_the_window_is_a_new_level() -> None:
    """The sums never came to rest in a whole day."""
    assert "steady" == judged(points(*[0.9] * 24), []).name


def test_a_range_that_ends_on_the_other_side_is_no_vote_for_this_one() -> None:
    """Down at first and then where it should be is no rise."""
    back = points(*[-0.9] * 6, *quiet(6))
    assert "steady" == judged(back, []).name


def test_points_of_one_hour_have_no_range() -> None:
    """A range needs two hours; the sums stand alone and wait for a retest."""
    of = points(0.0, 0.9, 0.9, 0.9, every_s=600.0)
    assert ("sums", "retest") == swing(judged(of, shown(of))).votes


@pytest.mark.parametrize(
    ("errors", "good"), [((0.0, 0.1, 0.0), 3), ((0.5, 0.1, 0.0), 2), ((0.0, 0.3), 0)]
)
def test_good_readings_are_those_in_a_row_up_to_the_newest(
    errors: Sequence[float], good: int
) -> None:
    """Within a fifth of a dKH and what neighbours share; others begin anew."""
    found = judged(points(*errors), [])
    assert isinstance(found, Steady)
    assert good == found.good
    assert (good > 0) == (found.since is not None)
    assert pytest.approx(errors[-1] * DKH) == found.off
