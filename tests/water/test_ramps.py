"""Ramps, dead-bands and bounds; all limits common practice, no source."""

from collections.abc import Callable
from math import exp, inf, nan, sqrt
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from slackwater.errors import OutOfRangeError
from slackwater.water.ramps import (
    Bounds,
    Lifting,
    Ramp,
    Return,
    base_share,
    dead_band,
    departs,
    gross_addition,
    hours_to_ceiling,
    lift,
    may_correct,
    next_dose,
    portions,
    ramp,
    resumed_dose,
    returning_ramp,
)

BOUNDS = Bounds(cap=3.0, least_rise=0.1)
LIFTING = Lifting(most=0.3, tau_days=7.0, least=0.15)


@given(
    level=st.floats(6.0, 12.0), target=st.floats(6.0, 12.0), most=st.floats(0.15, 2.0)
)
def test_a_ramp_ends_at_its_target_within_its_step(
    level: float, target: float, most: float
) -> None:
    """Up or down, never steeper, and one day less would be."""
    found = ramp(level, target, most)
    assert pytest.approx(target - level, abs=1e-9) == found.days * found.step
    assert abs(found.step) <= most * (1 + 1e-8)
    assert (found.days - 1) * most < abs(target - level) or found.days == 0


def test_floating_point_adds_no_day() -> None:
    """(8.3 - 8.0) / 0.1 is 3.0000000000000071 in binary."""
    found = ramp(8.0, 8.3, 0.1)
    assert 3 == found.days
    assert pytest.approx(0.1) == found.step


def test_a_target_reached_has_no_ramp() -> None:
    """No day, no step, the dose is the uptake."""
    found = ramp(8.0, 8.0, 0.5)
    assert Ramp(days=0, step=0.0) == found
    assert 1.2 == found.dose(1.2)


@pytest.mark.parametrize(("days", "retest"), [(1, 0), (2, 1), (3, 1), (8, 4)])
def test_a_ramp_is_tested_before_its_second_half(days: int, retest: int) -> None:
    """A wrong stock is found when half is in."""
    assert retest == Ramp(days=days, step=0.1).retest_after_days


def test_a_fall_withholds_and_never_takes_away() -> None:
    """A fall larger than the uptake ends at no dose."""
    assert pytest.approx(0.5) == Ramp(days=3, step=-0.4).dose(0.9)
    assert 0.0 == Ramp(days=3, step=-0.4).dose(0.3)


@pytest.mark.parametrize(
    ("measured", "other"), [(0.5, False), (0.79, False), (0.81, True), (0.19, True)]
)
def test_a_rise_that_is_not_the_planned_one_is_seen(
    measured: float, other: bool
) -> None:
    """Three errors either way."""
    assert other == departs(0.5, measured, 0.1)


@pytest.mark.parametrize(
    ("away", "sd", "expected"),
    [
        (0.14, 0.0, 0.0),
        (-0.14, 0.0, 0.0),
        (0.7, 0.0, 0.1),
        (-0.7, 0.0, -0.1),
        (9.0, 0.0, 0.3),
        (-9.0, 0.0, -0.3),
        (0.7, 0.5, 0.0),
        (0.7, 0.4, 0.1),
    ],
)
def test_a_level_near_its_target_is_left_alone(
    away: float, sd: float, expected: float
) -> None:
    """Near is 0.15 or one and a half errors; far is bounded."""
    assert pytest.approx(expected) == lift(away, sd, LIFTING)


@pytest.mark.parametrize("degrees", [1, 3, 7, 30])
def test_the_dead_band_of_a_line_is_students(degrees: int) -> None:
    """Oracle: scipy.stats.t at 0.95."""
    sds = float(stats.t.ppf(0.95, degrees))
    assert pytest.approx(0.06 * sds) == dead_band(1.0, 0.06, degrees)


def test_the_dead_band_of_a_known_error_is_normal() -> None:
    """1.645 errors, and never less than 3 percent of the dose."""
    assert pytest.approx(0.0987, abs=1e-4) == dead_band(1.0, 0.06)
    assert pytest.approx(0.06) == dead_band(2.0, 0.001)


@pytest.mark.parametrize(
    ("dose", "wanted", "expected"),
    [
        (1.0, 1.04, 1.0),
        (1.0, 1.06, 1.06),
        (1.0, 5.0, 1.1),
        (2.0, 5.0, 2.2),
        (0.0, 5.0, 0.1),
        (1.0, 0.0, 0.8),
        (1.0, 0.9, 0.9),
        (0.04, -1.0, 0.032),
        (2.95, 5.0, 3.0),
        (3.5, 3.5, 3.0),
        (4.0, 4.5, 3.0),
        (4.0, 0.0, 3.0),
    ],
)
def test_a_dose_moves_within_its_bounds(
    dose: float, wanted: float, expected: float
) -> None:
    """Up by a tenth, down by a fifth, off 0 by a step, never above the cap."""
    assert pytest.approx(expected) == next_dose(dose, wanted, 0.05, BOUNDS)


@given(dose=st.floats(0, 10), wanted=st.floats(-10, 10), band=st.floats(0, 1))
def test_no_dose_leaves_its_bounds(dose: float, wanted: float, band: float) -> None:
    """Whatever is wanted."""
    found = next_dose(dose, wanted, band, BOUNDS)
    assert 0.0 <= found <= 3.0
    assert found <= dose + max(0.1 * dose, 0.1)


def _excursion(*, bounded: bool) -> float:
    """Root mean square distance of alkalinity from target over a simulated year."""
    chance = Random(7)  # noqa: S311 - a simulation, no secret
    level, dose, squares = 8.0, 1.5, 0.0
    for _ in range(365):
        level += dose - 1.5
        tested = level + chance.gauss(0, 0.1)
        away = 8.0 - tested
        if bounded:
            wanted = 1.5 + lift(away, 0.1, LIFTING)
            dose = next_dose(dose, wanted, 0.05, BOUNDS)
        else:
            dose = max(0.0, dose + away / 2)
        squares += (level - 8.0) ** 2
    return sqrt(squares / 365)


def test_bounded_steps_are_calmer_than_chasing() -> None:
    """Half of each error into the dose swings; the rule does not (simulated)."""
    assert _excursion(bounded=True) < 0.25
    assert _excursion(bounded=False) > 3 * _excursion(bounded=True)


@pytest.mark.parametrize(
    ("amount", "smallest", "count", "left"),
    [(1.0, 0.3, 3, 0.1), (0.3, 0.1, 3, 0.0), (0.2, 0.3, 0, 0.2), (0.0, 0.3, 0, 0.0)],
)
def test_portions_are_rounded_down(
    amount: float, smallest: float, count: int, left: float
) -> None:
    """What is left out is said, and floating point loses no portion."""
    found = portions(amount, smallest)
    assert count == found.count
    assert pytest.approx(left, abs=1e-12) == found.left_out
    assert pytest.approx(amount) == found.amount + found.left_out


def test_a_ceiling_holds_uptake_and_rise() -> None:
    """A tank that takes up 28.6 mg/L of calcium a day, 15 mg/L net rise."""
    assert pytest.approx(52.18) == gross_addition(28.6, 15.0)


@pytest.mark.parametrize(
    ("level", "ceiling", "dose", "hours"),
    [(8.0, 11.0, 1.5, 48.0), (11.5, 11.0, 1.5, 0.0), (8.0, 11.0, 0.0, inf)],
)
def test_the_hours_to_a_ceiling_are_those_of_the_dose(
    level: float, ceiling: float, dose: float, hours: float
) -> None:
    """What happens when the corals stop."""
    assert hours == hours_to_ceiling(level, ceiling, dose)


def test_after_a_gap_the_rise_keeps_within_its_limit() -> None:
    """At the lower uptake, never more than planned."""
    assert pytest.approx(1.3) == resumed_dose(3.0, 0.8, 0.5)
    assert pytest.approx(1.0) == resumed_dose(1.0, 0.8, 0.5)


@pytest.mark.parametrize(
    ("days", "share", "corrects"),
    [(0.0, 1.0, True), (7.0, 1.0, True), (7.1, 1.0, False), (14.1, 0.9, False)],
)
def test_without_tests_corrections_end_before_the_base_shrinks(
    days: float, share: float, corrects: bool
) -> None:
    """After one week and after two."""
    assert (share, corrects) == (base_share(days), may_correct(days))


@pytest.mark.parametrize(
    "call",
    [
        lambda: ramp(8.0, 8.5, 0.0),
        lambda: ramp(8.0, 8.5, -0.1),
        lambda: ramp(8.0, nan, 0.5),
        lambda: ramp(nan, 8.0, 0.5),
        lambda: ramp(0.0, 61.0, 1.0),
        lambda: departs(0.5, 0.5, 0.0),
        lambda: lift(nan, 0.1, LIFTING),
        lambda: lift(0.5, -0.1, LIFTING),
        lambda: lift(0.5, 0.1, Lifting(most=0.0, tau_days=7.0, least=0.1)),
        lambda: lift(0.5, 0.1, Lifting(most=0.3, tau_days=0.0, least=0.1)),
        lambda: dead_band(-1.0, 0.1),
        lambda: dead_band(1.0, nan),
        lambda: next_dose(-1.0, 1.0, 0.1, BOUNDS),
        lambda: next_dose(1.0, nan, 0.1, BOUNDS),
        lambda: next_dose(1.0, 1.0, 0.1, Bounds(cap=-1.0, least_rise=0.1)),
        lambda: portions(-1.0, 0.1),
        lambda: portions(1.0, 0.0),
        lambda: gross_addition(-1.0, 0.5),
        lambda: gross_addition(1.0, -0.5),
        lambda: hours_to_ceiling(8.0, nan, 1.0),
        lambda: hours_to_ceiling(8.0, 9.0, -1.0),
        lambda: resumed_dose(-1.0, 0.5, 0.5),
        lambda: resumed_dose(1.0, -0.5, 0.5),
        lambda: resumed_dose(1.0, 0.5, -0.5),
        lambda: base_share(-1.0),
        lambda: may_correct(nan),
    ],
)
def test_what_makes_no_sense_is_refused(call: Callable[[], object]) -> None:
    """Negative, not finite, or a ramp of more than 60 days."""
    with pytest.raises(OutOfRangeError):
        call()


def test_sixty_days_are_still_a_ramp() -> None:
    """A longer one wants a nearer target."""
    assert 60 == ramp(0.0, 60.0, 1.0).days


@pytest.mark.parametrize("days", [0.5, 7.0, 60.0])
@pytest.mark.parametrize("back", [0.8, 25.0])
def test_a_steady_push_counts_for_less_than_its_time(days: float, back: float) -> None:
    """What is left of each hour's push: the integral of exp(-t / back) by scipy."""
    found = Return(per_day=0.0, days=back).lasts(days)
    exact, _ = integrate.quad(lambda t: exp(-t / back), 0, days)
    assert exact == pytest.approx(found)


@pytest.mark.parametrize("away", [0.9, -0.9])
@pytest.mark.parametrize("by_itself", [0.0, 0.04, -0.04])
@pytest.mark.parametrize("back", [4.0, 30.0])
def test_a_ramp_leads_a_level_that_moves_by_itself_to_its_target(
    away: float, by_itself: float, back: float
) -> None:
    """Oracle: dx/dt = own + step - x / back, solved by scipy."""
    found = returning_ramp(away, 0.5, Return(per_day=by_itself, days=back), 7.0)
    push = by_itself + found.step
    path = integrate.solve_ivp(
        lambda _, x: [push - x[0] / back], (0, found.days), [0.0], rtol=1e-9
    )
    assert away == pytest.approx(float(path.y[0][-1]), rel=1e-5)
    assert abs(push) <= 0.5


def test_a_ramp_that_cannot_arrive_pushes_as_much_as_it_may() -> None:
    """Five degrees at half a degree a day, and half of that fades in two days."""
    found = returning_ramp(5.0, 0.5, Return(per_day=0.1, days=3.0), 7.0)
    assert 9 == found.days
    assert 0.4 == pytest.approx(found.step)


def test_a_level_that_comes_back_too_fast_asks_for_the_opposite() -> None:
    """0.8 a day by itself where 0.5 are allowed: a step below 0."""
    found = returning_ramp(2.0, 0.5, Return(per_day=0.8, days=2.5), 7.0)
    assert -0.3 == pytest.approx(found.step)


@pytest.mark.parametrize(
    ("away", "most", "back"), [(nan, 0.5, 3.0), (1.0, 0.0, 3.0), (1.0, 0.5, 0.0)]
)
def test_a_return_that_makes_no_sense_is_refused(
    away: float, most: float, back: float
) -> None:
    """Not finite, no room, or no time."""
    with pytest.raises(OutOfRangeError):
        returning_ramp(away, most, Return(per_day=0.0, days=back), 7.0)
