"""How time, doses and water changes move a belief, against scipy and numpy."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from slackwater.errors import OutOfRangeError
from slackwater.water.uptake_belief import (
    Addition,
    Belief,
    Change,
    Exchange,
    Follows,
    Reading,
    begun,
)
from slackwater.water.uptake_passage import Leg, legs_between, passage, predicted
from tests.water.estimates import DIFFUSE, WALKING

BOX = replace(WALKING, follows=Follows(at=8.0, rest=3.0))


def test_cutting_time_into_steps_changes_nothing() -> None:
    """Two half days are a day."""
    begin = Belief(
        day=0.0,
        level=8.0,
        uptake=1.0,
        level_variance=0.01,
        covariance=-0.002,
        uptake_variance=0.04,
    )
    tuning = replace(WALKING, level_walk=0.002)
    whole = predicted(begin, 1.0, (), tuning)
    halves = predicted(predicted(begin, 0.5, (), tuning), 1.0, (), tuning)
    for name in ("level", "level_variance", "covariance", "uptake_variance"):
        assert pytest.approx(getattr(whole, name)) == getattr(halves, name)


def test_a_water_change_shrinks_what_is_not_known() -> None:
    """All of it new: the level is that of the new water, without error."""
    begin = begun(Reading(day=0.0, level=8.0, sd=0.2), WALKING)
    whole = Exchange(day=0.0 + 1e-9, fraction=1.0, new_level=7.0)
    found = predicted(begin, 1e-9, [whole], WALKING)
    assert (7.0, 0.0, 0.0) == (found.level, found.level_variance, found.covariance)


def test_an_uncertain_addition_widens_the_level() -> None:
    """Deviations add as squares."""
    begin = begun(Reading(day=0.0, level=8.0, sd=0.3), WALKING)
    addition = Addition(day=1e-9, rise=1.0, sd=0.4)
    found = predicted(begin, 1e-9, [addition], WALKING)
    assert pytest.approx(9.0) == found.level
    assert pytest.approx(0.5) == found.level_sd


def test_nobody_predicts_the_past() -> None:
    """A belief only goes forward."""
    with pytest.raises(OutOfRangeError, match="the day"):
        predicted(begun(Reading(day=1.0, level=8.0, sd=0.1), WALKING), 0.5, (), WALKING)


def test_changes_of_one_moment_count_in_their_order() -> None:
    """A dose and then a water change at noon: the dose is diluted, not lost."""
    begin = begun(Reading(day=0.0, level=8.0, sd=0.1), replace(DIFFUSE, uptake=0.0))
    both: list[Change] = [
        Addition(day=0.5, rise=2.0),
        Exchange(day=0.5, fraction=0.5, new_level=8.0),
    ]
    assert 9.0 == pytest.approx(predicted(begin, 1.0, both, DIFFUSE).level)
    turned = predicted(begin, 1.0, both[::-1], DIFFUSE)
    assert 10.0 == pytest.approx(turned.level)


def level_of(uptake: float, rate: float, begin: float, span: float) -> float:
    """Oracle: scipy's integration of one box whose uptake ends at 3."""
    found = solve_ivp(
        lambda _, level: [rate - uptake * (level[0] - 3) / 5],
        (0, span),
        [begin],
        rtol=1e-10,
        atol=1e-12,
    )
    return float(found.y[0][-1])


def believed(level: float, uptake: float) -> Belief:
    """A belief with errors of every kind."""
    return Belief(
        day=0.0,
        level=level,
        uptake=uptake,
        level_variance=0.02,
        covariance=-0.003,
        uptake_variance=0.01,
    )


@pytest.mark.parametrize("uptake", [-0.3, 0.0, 1e-6, 0.4, 3.0])
@pytest.mark.parametrize("rate", [0.0, 1.1])
@pytest.mark.parametrize("span", [0.3, 9.0])
def test_a_level_that_leads_its_uptake_is_followed(
    uptake: float, rate: float, span: float
) -> None:
    """Level and both slopes, against scipy and differences of it."""
    leg = Leg(span=span, rate=rate)
    found = passage(believed(8.4, uptake), [leg], BOX)
    assert level_of(uptake, rate, 8.4, span) == pytest.approx(found.level, rel=1e-7)
    hair = 1e-4
    up, down = (level_of(uptake, rate, 8.4 + x, span) for x in (hair, -hair))
    assert (up - down) / (2 * hair) == pytest.approx(found.by_level, rel=1e-5)
    up, down = (level_of(uptake + x, rate, 8.4, span) for x in (hair, -hair))
    assert (up - down) / (2 * hair) == pytest.approx(found.by_uptake, rel=1e-4)


def test_two_legs_are_one() -> None:
    """Errors and slopes are carried through the cut; the walk is nearly the same."""
    begin = believed(7.0, 1.5)
    still = replace(BOX, uptake_walk=0.0)
    for tuning, near in ((still, 1e-9), (BOX, 0.05)):
        whole = passage(begin, [Leg(span=4.0, rate=1.2)], tuning)
        halves = passage(begin, [Leg(span=2.0, rate=1.2)] * 2, tuning)
        assert whole.carries(begin, 4.0).level_variance == pytest.approx(
            halves.carries(begin, 4.0).level_variance, rel=near
        )
        assert whole.by_uptake == pytest.approx(halves.by_uptake)


def test_what_comes_evenly_is_a_rate_over_its_time() -> None:
    """0.6 in three days, of which two lie in the passage; then 0.1 at once."""
    changes = [
        Addition(since=1.0, day=4.0, rise=0.6),
        Addition(day=2.0, rise=0.1),
        Addition(day=0.0, rise=9.0),
    ]
    found = legs_between(changes, 0.0, 3.0)
    assert [1.0, 1.0, 1.0] == [leg.span for leg in found]
    assert [0.0, 0.2, 0.2] == pytest.approx([leg.rate for leg in found])
    assert [(), (changes[1],), ()] == [leg.at_end for leg in found]
    assert () == legs_between(changes, 2.0, 2.0)


def test_what_comes_evenly_has_an_error_too() -> None:
    """Of an amount that is not certain, at its end."""
    begin = replace(believed(8.0, 0.0), uptake_variance=0.0, covariance=0.0)
    steady = [Addition(since=0.0, day=1.0, rise=0.5, sd=0.3)]
    still = replace(BOX, uptake_walk=0.0)
    found = predicted(begin, 1.0, steady, still)
    assert 8.5 == pytest.approx(found.level)
    assert 0.02 + 0.09 == pytest.approx(found.level_variance)


def test_the_uptake_at_a_level_has_the_error_of_both() -> None:
    """By a hundred thousand draws of numpy: the product of two uncertain numbers."""
    found = believed(6.0, 2.0).at_its_level(BOX)
    chance = np.random.default_rng(1)
    draws = chance.multivariate_normal(
        [6.0, 2.0], [[0.02, -0.003], [-0.003, 0.01]], 100_000
    )
    shown = draws[:, 1] * (draws[:, 0] - 3) / 5
    assert 1.2 == pytest.approx(found.uptake)
    assert found.uptake_variance == pytest.approx(float(np.var(shown)), rel=0.02)
    both = float(np.cov(draws[:, 0], shown)[0, 1])
    assert found.covariance == pytest.approx(both, rel=0.02)


def test_below_rest_nothing_is_used_up() -> None:
    """And an uptake that follows nothing is the same everywhere."""
    assert 0.0 == believed(2.5, 2.0).at_its_level(BOX).uptake
    begin = believed(2.5, 2.0)
    assert begin == begin.at_its_level(WALKING)


def test_a_level_comes_back_with_a_time_constant() -> None:
    """Five degrees above rest and 2 a day: two and a half days."""
    follows = Follows(at=8.0, rest=3.0)
    assert 2.5 == follows.return_days(2.0)
    with pytest.raises(OutOfRangeError, match="the uptake"):
        follows.return_days(0.0)
