"""Outliers of a series and the error that its tests show."""

from collections.abc import Sequence
from dataclasses import replace
from math import sqrt
from random import Random

import pytest
from scipy import stats

from slackwater.assessment.cleaning import cleaned, fallen, noise_share
from slackwater.assessment.inflow import Exchange, Inflow, day_of
from slackwater.assessment.practice import floor_sd
from slackwater.assessment.records import Point, Series
from slackwater.water.statistics import outliers_hampel1974
from tests.assessment.past import DKH, NOW, ago

PLAIN = Inflow(parameter="alkalinity")


def series(
    levels_dkh: Sequence[float], *, every: float = 2.0, sd: float = 0.1
) -> Series:
    """Tests at equal distances, the last one now."""
    last = (len(levels_dkh) - 1) * every
    return Series(
        parameter="alkalinity",
        provenance="hand",
        method="drops",
        points=tuple(
            Point(
                at=ago(last - place * every),
                value=level * DKH,
                sd=sd * DKH,
                raw=level * DKH,
            )
            for place, level in enumerate(levels_dkh)
        ),
    )


def uses(found: Series) -> str:
    """One letter for each test: used, outlier, held."""
    return "".join(point.use[0] for point in found.points)


def noisy(count: int, sd: float, seed: int, slope: float = 0.0) -> list[float]:
    """A line with normal errors, dKH."""
    chance = Random(seed)  # noqa: S311 -- a simulation, no secret
    return [8 + slope * place + chance.gauss(0, sd) for place in range(count)]


def test_what_came_in_is_taken_out() -> None:
    """Level less deliveries falls by the uptake: 1 a day dosed, level constant."""
    inflow = Inflow(
        parameter="calcium", hours=(day_of(ago(4)) - 1 / 24,), sums=(0.0, 7.0)
    )
    tests = series([8.0] * 3, every=2.0)
    inflow = replace(inflow, outside_per_day=1.0)
    found = [one.value for one in fallen(tests.points, inflow)]
    assert [8 * DKH, 8 * DKH - 2, 8 * DKH - 4] == pytest.approx(found)


def test_a_water_change_between_two_tests_is_taken_out() -> None:
    """A tenth of new water at 10 into about 8 dKH is a step of 0.2."""
    change = Exchange(day=day_of(ago(1)), share=0.1, level=10 * DKH)
    found = fallen(series([8.0, 8.0]).points, replace(PLAIN, exchanges=(change,)))
    assert 7.8 * DKH == pytest.approx(found[-1].value)


def test_one_gross_test_among_many_is_an_outlier() -> None:
    """As in the worked example of Hampel's identifier: 9.4 among 8.0 to 8.1."""
    found = cleaned(series([8.0, 8.1, 8.0, 7.9, 9.4, 8.0, 8.1]), PLAIN)
    assert "uuuuouu" == uses(found)


def test_it_is_the_identifier_of_the_water() -> None:
    """On a flat series the same places as `water.statistics` marks, Hampel 1974."""
    levels = noisy(40, 0.1, 8)
    for place in (9, 10, 22, 30):
        levels[place] += 1.5 * (-1) ** place
    flat = series(levels)
    marks = outliers_hampel1974(levels, sd_floor=0.1)
    found = cleaned(flat, PLAIN)
    mine = [place for place, use in enumerate(uses(found)) if use != "u"]
    assert {9, 10, 22, 30} <= set(marks)
    assert {9, 10, 22, 30} <= set(mine)
    assert len(mine) <= len(marks) + 1


def test_it_is_found_on_a_slope_too() -> None:
    """A tank that falls by half a degree between tests hides nothing."""
    levels = [12 - 0.5 * place for place in range(9)]
    levels[4] += 1.5
    assert "uuuuouuuu" == uses(cleaned(series(levels), PLAIN))


def test_the_newest_one_is_held_until_another_confirms_it() -> None:
    """Nothing came after it that could say otherwise."""
    assert "uuuuuuuh" == uses(cleaned(series([8.0] * 7 + [9.4]), PLAIN))


def test_two_that_agree_confirm_each_other() -> None:
    """A step is no outlier once a second test shows it."""
    found = cleaned(series([8.0, 8.05, 7.95, 8.0, 8.05, 7.95, 8.0, 9.4, 9.5]), PLAIN)
    assert "u" * 9 == uses(found)


def test_two_that_lie_on_both_sides_confirm_nothing() -> None:
    """One far up, one far down."""
    found = cleaned(series([8.0] * 4 + [9.6, 6.4] + [8.0] * 4), PLAIN)
    assert "uuuuoouuuu" == uses(found)


def test_a_test_that_scatters_has_no_outliers() -> None:
    """Three of seven two degrees off, by turns: the error is that large."""
    found = cleaned(series([8.0, 10.0] * 3 + [8.0]), PLAIN)
    assert "u" * 7 == uses(found)
    assert found.points[0].sd > 0.5 * DKH


def test_few_tests_are_left_as_they_are() -> None:
    """Two have no pattern at all, four no outliers."""
    two = series([8.0, 9.4])
    assert two == cleaned(two, PLAIN)
    assert "uuuu" == uses(cleaned(series([8.0, 8.0, 8.0, 9.4]), PLAIN))


@pytest.mark.parametrize("true_sd", [0.05, 0.1, 0.3])
def test_the_error_of_tests_is_learnt_from_them(true_sd: float) -> None:
    """Sixty tests said to be good to 0.1: the share approaches the truth."""
    shares = [
        noise_share(fallen(series(noisy(60, true_sd, seed), sd=0.1).points, PLAIN))
        for seed in range(20)
    ]
    assert true_sd / 0.1 == pytest.approx(sum(shares) / 20, rel=0.12)


def test_a_slope_is_no_error() -> None:
    """Second differences do not see it."""
    steep = noise_share(fallen(series(noisy(40, 0.1, 3, slope=0.5)).points, PLAIN))
    flat = noise_share(fallen(series(noisy(40, 0.1, 3)).points, PLAIN))
    assert flat == pytest.approx(steep)


def test_the_scale_of_the_deviations_is_the_textbook_one() -> None:
    """Three tests, one second difference: 1.4826 times it, against scipy's scale."""
    level = 8.0 + 0.3
    (before, here, after) = fallen(series([8.0, level, 8.0]).points, PLAIN)
    off = abs(here.value - 8 * DKH) / (0.1 * DKH * sqrt(1.5))
    shown = off / stats.norm.ppf(0.75)
    expected = sqrt(0.8 + 0.2 * shown**2)
    assert expected == pytest.approx(noise_share([before, here, after]), rel=1e-4)


def test_no_test_is_believed_beyond_its_floor() -> None:
    """Thirty tests that agree to the last digit."""
    found = cleaned(series([8.0] * 30), PLAIN)
    assert {floor_sd("alkalinity")} == {point.sd for point in found.points}
    assert found.points[-1].at == NOW
