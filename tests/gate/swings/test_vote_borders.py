"""Where a vote, a retest and a swing begin, to the last bit where that can be said.

What stops a dose is a swing upward; its borders are worked out here by hand.
"""

from collections.abc import Sequence

import pytest

from slackwater.gate.swings.limits import DKH, LEAST_SWING
from slackwater.gate.swings.verdicts import Steady, Swing
from slackwater.gate.swings.votes import Point, alone, judged
from tests.gate.swings.pointed import HOUR_S, of_risen, points, quiet, shown, swing


def of_errors(*errors: float, sd: float, bias: float = 0.0) -> list[Point]:
    """One point an hour with these errors in meq/L."""
    return [
        Point(at_s=place * HOUR_S, error=error, sd=sd, bias=bias)
        for place, error in enumerate(errors)
    ]


def votes(of: Swing | Steady) -> tuple[str, ...]:
    """The votes for a swing; none for no swing."""
    return of.votes if isinstance(of, Swing) else ()


def test_h51_a_rise_as_large_as_the_smallest_swing_is_one() -> None:
    """Of the error and of the level itself, 0.35 dKH each; a bit less of either not."""

    def said(error: float, rise: float) -> str:
        of = of_errors(*[0.0] * 10, error, error, sd=0.01)
        levels = [(point.at_s, rise if point.error else 0.0) for point in of]
        return judged(of, levels).name

    less = LEAST_SWING * (1 - 1e-15)
    assert pytest.approx(0.35 * DKH) == LEAST_SWING
    assert "swing-up" == said(LEAST_SWING, LEAST_SWING)
    assert "steady" == said(less, LEAST_SWING)
    assert "steady" == said(LEAST_SWING, less)


@pytest.mark.parametrize("sign", [1, -1])
def test_the_newest_of_two_levels_shows_a_rise(sign: int) -> None:
    """The one before it may still have been low; a fall needs no level at all."""
    of = points(*quiet(10), *[0.9 * sign] * 3)
    levels = [(point.at_s, 8.0 * DKH) for point in of]
    levels[-1] = of[-1].at_s, 8.9 * DKH
    assert ("swing-up" if sign > 0 else "swing-down") == judged(of, levels).name
    levels[-1] = of[-1].at_s, 8.3 * DKH
    assert ("steady" if sign > 0 else "swing-down") == judged(of, levels).name


@pytest.mark.parametrize(("times", "name"), [(3, "steady"), (4, "swing-up")])
def test_sums_grow_by_what_lies_beyond_half_a_shift_and_what_neighbours_share(
    times: int, name: str
) -> None:
    """0.36 dKH less 0.2 and 0.02, of a noise of 0.1, are 1.4; four of them pass 5."""
    assert name == of_risen(*quiet(10), *[0.36] * times).name


@pytest.mark.parametrize(("times", "name"), [(3, "steady"), (4, "swing-up")])
def test_sums_of_a_loud_source_grow_by_all_but_half_of_its_noise(
    times: int, name: str
) -> None:
    """2 dKH of a noise of 1 less a half are 1.5; four of them pass 5 (Page 1954)."""
    assert name == of_risen(*quiet(10), *[2.0] * times, sd_dkh=1.0).name


@pytest.mark.parametrize(("error", "name"), [(3.0, "steady"), (3.0001, "swing-up")])
def test_sums_of_five_are_no_vote_and_more_are(error: float, name: str) -> None:
    """Twice 3 less a half; more than 3 sds of one would be an outlier alone."""
    of = of_errors(*[0.0] * 10, error, error, sd=1.0)
    assert name == judged(of, shown(of)).name


def test_a_range_of_the_smallest_size_is_no_vote() -> None:
    """0.4 dKH exactly, however quiet the source; a bit more is one."""
    of = of_errors(*[0.0] * 10, 0.4 * DKH, 0.4 * DKH, sd=0.01)
    assert ("sums", "retest") == votes(judged(of, shown(of)))
    of = of_errors(*[0.0] * 10, 0.41 * DKH, 0.41 * DKH, sd=0.01)
    assert ("sums", "range") == votes(judged(of, shown(of)))


@pytest.mark.parametrize(
    ("hours", "voted"),
    [((0.0, 0.0, 0.2), "retest"), ((0.0, 1.0, 1.2), "retest"), ((0, 1, 2), "range")],
)
def test_a_range_needs_the_readings_of_three_hours(
    hours: Sequence[float], voted: str
) -> None:
    """0.8 dKH of a noise of 0.1, and 4.12 of it is the limit of three (Harter 1960).

    What is read in one hour is one; of two the newest are the whole range, and end in
    the middle of it.
    """
    of = [
        point._replace(at_s=hour * HOUR_S)
        for point, hour in zip(points(-0.3, 0.5, 0.5), hours, strict=True)
    ]
    assert ("sums", voted) == votes(judged(of, shown(of)))


@pytest.mark.parametrize(
    ("early", "voted"),
    [
        ((0.0, 2.0, 1.9), "retest"),
        ((0.0, 1.8, 1.8), "retest"),
        ((0.0, 1.7, 1.7), "range"),
        ((-0.5, -0.4, 0.0, 2.0, 1.9), "range"),
        ((0.0,), "range"),
    ],
)
def test_a_range_votes_for_the_half_of_it_that_it_ends_in(
    early: Sequence[float], voted: str
) -> None:
    """It ends at 0.9 dKH; in the middle of it is neither half."""
    of = points(*early, *[0.0] * 3, *[0.9] * 2)
    up = points(*early, *[0.9] * 2)
    assert ("sums", voted) == votes(judged(up, [*shown(of), *shown(up)[-2:]]))


@pytest.mark.parametrize(("hours", "voted"), [(30, True), (31, False)])
def test_a_range_looks_back_thirty_hours(hours: int, voted: bool) -> None:
    """That far the table of Harter 1960 goes: 5.91 of the noise.

    From -0.3 to 0.36 dKH it is 6.6 of it, from 0 on 3.6.
    """
    found = of_risen(-0.3, *[0.0] * (hours - 3), 0.36, 0.36)
    assert (("range", "retest") if voted else ()) == votes(found)


def test_a_retest_is_more_than_half_a_shift_and_half_is_none() -> None:
    """0.2 dKH of the newest say nothing, more say the same as the one before it."""
    before = [*quiet(10), *[0.45] * 5, 0.52]
    assert "steady" == of_risen(*before, 0.2).name
    assert ("sums", "retest") == votes(of_risen(*before, 0.21))


def test_a_retest_is_one_of_the_newest_two() -> None:
    """What went up and down before them does not matter."""
    found = of_risen(*quiet(10), 0.45, 0.45, 0.1, 0.4, 0.4)
    assert ("sums", "retest") == votes(found)


def test_a_fall_after_a_rise_that_is_not_forgotten_is_a_fall() -> None:
    """Four far up and two far down: neither sum has come to rest."""
    assert "swing-down" == of_risen(*quiet(10), *[0.9] * 4, *[-0.9] * 2).name


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("count", [2, 10, 20])
def test_a_swing_from_the_first_point_on_counts_them_all(count: int, sign: int) -> None:
    """As after something told of; nineteen hours are less than four fifths of a day."""
    of = [p._replace(at_s=p.at_s + 1e6) for p in points(*[0.9 * sign] * count)]
    levels = [(of[0].at_s - 60, 8.0 * DKH), *shown(of)]
    found = swing(judged(of, levels))
    assert (count, 1e6) == (found.points, found.since.timestamp())


@pytest.mark.parametrize("sign", [1, -1])
def test_what_goes_on_for_more_than_four_fifths_of_a_day_is_a_new_level(
    sign: int,
) -> None:
    """Nineteen hours and twelve minutes are just not more."""

    def said(last_h: float) -> str:
        of = points(*[0.9 * sign] * 20)
        of[-1] = of[-1]._replace(at_s=last_h * HOUR_S)
        levels = [(-60.0, 8.0 * DKH), *shown(of)]
        return judged(of, levels).name

    assert "swing" == said(0.8 * 24).partition("-")[0]
    assert "steady" == said(19.21)


def test_the_noise_told_is_that_of_the_newest_reading() -> None:
    """Each of them has its own."""
    of = points(*quiet(10), 0.9, 0.9, 0.9)
    of = [point._replace(sd=(0.1 + 0.001 * n) * DKH) for n, point in enumerate(of)]
    assert pytest.approx(0.112 * DKH) == swing(judged(of, shown(of))).sd


@pytest.mark.parametrize(("per_day", "voted"), [(0.051, "slope"), (0.049, "retest")])
def test_a_week_that_moves_more_than_a_swing_is_a_vote(
    per_day: float, voted: str
) -> None:
    """Seven days of 0.05 dKH are 0.35; by readings of every six hours."""
    rise = points(*quiet(10), *[-0.36] * 8, sd_dkh=0.08)
    week = [(h * HOUR_S, (8.0 - per_day * h / 24) * DKH) for h in range(168)]
    assert ("sums", voted) == votes(judged(rise, week))


@pytest.mark.parametrize(("border", "voted"), [(42.5, "slope"), (43.5, "retest")])
def test_a_slope_looks_back_a_week(border: float, voted: str) -> None:
    """The newest 28 of 36 six hours of a level that sinks ever faster, as n squared.

    From n to m it sinks by (n + m) a step; in the middle of 8 to 35 that is 43, of 7 to
    35 it would be 42 and of 9 to 35 44. Of a border between these 7 days move 0.35 dKH.
    """
    rise = points(*quiet(10), *[-0.36] * 8, sd_dkh=0.08)
    square = 0.35 * DKH / 7 / 4 / border
    levels = [((n + 0.5) * 6 * HOUR_S, 8.0 * DKH - square * n * n) for n in range(36)]
    assert ("sums", voted) == votes(judged(rise, levels))


def test_near_is_a_fifth_of_a_dkh_and_what_neighbours_share() -> None:
    """At that border a reading is good, beyond it not."""

    def good(error: float) -> int:
        found = judged(of_errors(0.0, error, sd=0.1, bias=0.03125), [])
        assert isinstance(found, Steady)
        return found.good

    border = 0.2 * DKH + 0.03125
    assert [2, 0] == [good(border), good(border * (1 + 1e-15))]
    assert [2, 0] == [good(-border), good(-border * (1 + 1e-15))]


@pytest.mark.parametrize("after", [0, 3])
def test_h50_what_stands_alone_breaks_no_row_of_good_readings(after: int) -> None:
    """It is neither good nor bad; the newest of the others is told."""
    found = judged(points(*quiet(10), 2.0, *[0.05] * after), [])
    newest = 0.05 if after else -0.01
    assert isinstance(found, Steady)
    assert 10 + after == found.good
    assert pytest.approx(newest * DKH) == found.off


@pytest.mark.parametrize("sign", [1, -1])
def test_what_is_no_larger_than_a_swing_is_no_outlier(sign: int) -> None:
    """However quiet the source; a bit more is."""
    more = LEAST_SWING * (1 + 1e-15)
    for error, found in ((0.3 * DKH, set()), (LEAST_SWING, set()), (more, {5})):
        lone = of_errors(*[0.0] * 5, sign * error, *[0.0] * 5, sd=0.001)
        assert found == alone(lone)


def test_what_lies_within_three_errors_of_the_prediction_is_no_outlier() -> None:
    """Even where those around it lie on the other side of it."""
    around = [-0.0625] * 5
    assert set() == alone(of_errors(*around, 0.75, *around, sd=0.25))
    assert {5} == alone(of_errors(*around, 0.7501, *around, sd=0.25))


def test_only_the_one_before_and_the_one_after_confirm() -> None:
    """At either end there is one; none goes round from the last to the first."""
    assert set() == alone(points(2.0, 1.9, *quiet(10)))
    assert set() == alone(points(*quiet(10), 2.0, 1.9))
    assert {0} == alone(points(2.0, *quiet(10)))
    assert {2, 4} == alone(points(*quiet(2), 2.0, 0.0, 2.0, *quiet(8)))
    assert {0, 11} == alone(points(2.0, *quiet(10), 2.0))


def test_an_outlier_is_far_from_the_middle_of_the_eleven_around_it() -> None:
    """Five of eleven are outliers of the other six, six are none (Hampel 1974).

    None of these is confirmed: each has a quiet one on either side.
    """
    five = points(0.0, *[2.0, 0.0] * 5)
    assert {1, 3, 5, 7, 9} == alone(five)
    assert set() == alone(points(*[2.0, 0.0] * 5, 2.0))


@pytest.mark.parametrize(
    ("before", "after"),
    [
        # Places 5 to 15 hold six quiet ones, any other eleven fewer.
        ([0.0] * 10, [0.0, *[2.0] * 8]),
        # The last eleven hold six.
        ([0.0] * 9 + [2.0] * 4 + [0.0], []),
    ],
)
def test_the_eleven_are_five_before_and_five_after_or_those_at_the_end(
    before: Sequence[float], after: Sequence[float]
) -> None:
    """A lone one between quiet ones, in a series that is far out elsewhere."""
    assert len(before) in alone(points(*before, 2.0, *after))
