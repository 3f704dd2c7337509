"""Nitrogen, carbon and alkalinity, by molar masses from outside."""

from collections.abc import Callable
from math import nan

import pytest
from molmass import Formula

from slackwater.errors import OutOfRangeError
from slackwater.water.nutrients import (
    CARBON_CAP,
    CARBON_MACHINE_LIMIT,
    alkalinity_of_acetic_acid,
    alkalinity_of_nitrate_made,
    alkalinity_of_nitrate_removed,
    carbon_allowed,
    carbon_may_run,
    days_to_carbon_cap,
)

DKH = 0.35665246


@pytest.mark.parametrize(
    ("days", "allowed"),
    [(0.0, 0.015), (6.9, 0.015), (7.0, 0.03), (63.0, 0.15), (700.0, 0.15)],
)
def test_carbon_rises_by_a_step_a_week(days: float, allowed: float) -> None:
    """Common practice, no source."""
    assert pytest.approx(allowed) == carbon_allowed(days)


def test_the_cap_is_reached_after_nine_weeks_and_is_half_of_the_limit() -> None:
    """The day before it is not yet allowed."""
    assert 63 == days_to_carbon_cap()
    assert carbon_allowed(62.9) < CARBON_CAP
    assert 2 * CARBON_CAP == CARBON_MACHINE_LIMIT


@pytest.mark.parametrize(
    ("nitrate", "phosphate", "celsius", "runs"),
    [
        (5.0, 0.05, 25.0, True),
        (0.9, 0.05, 25.0, False),
        (5.0, 0.01, 25.0, False),
        (5.0, 0.05, 29.1, False),
        (1.0, 0.02, 29.0, True),
    ],
)
def test_carbon_needs_food_and_cool_water(
    nitrate: float, phosphate: float, celsius: float, runs: bool
) -> None:
    """Common practice, no source."""
    assert runs == carbon_may_run(nitrate, phosphate, celsius)


def test_vinegar_takes_alkalinity_until_it_is_eaten() -> None:
    """50 mL of 5 percent acid in 250 L are -0.47 dKH; oracle: molmass."""
    grams = 50 * 1.005 * 0.05
    carbon = 2 * grams / Formula("CH3COOH").mass * 1000 / 250
    assert pytest.approx(-0.47, abs=0.005) == alkalinity_of_acetic_acid(carbon) / DKH


def test_nitrate_that_goes_gives_alkalinity_back() -> None:
    """10 mg/L are 0.45 dKH; oracle: molmass."""
    found = alkalinity_of_nitrate_removed(10.0)
    assert pytest.approx(10 / Formula("NO3").mass, rel=1e-4) == found
    assert pytest.approx(0.45, abs=0.005) == found / DKH


def test_nitrate_that_is_made_takes_twice_as_much() -> None:
    """Two protons an ammonium."""
    made, removed = (
        alkalinity_of_nitrate_made(5.0),
        alkalinity_of_nitrate_removed(5.0),
    )
    assert pytest.approx(-2 * removed) == made


@pytest.mark.parametrize(
    "call",
    [
        lambda: carbon_allowed(-1.0),
        lambda: carbon_may_run(-1.0, 0.1, 25.0),
        lambda: carbon_may_run(1.0, nan, 25.0),
        lambda: carbon_may_run(1.0, 0.1, nan),
        lambda: alkalinity_of_acetic_acid(-0.1),
        lambda: alkalinity_of_nitrate_removed(-0.1),
        lambda: alkalinity_of_nitrate_made(nan),
    ],
)
def test_what_is_no_amount_is_refused(call: Callable[[], object]) -> None:
    """Negative or no number."""
    with pytest.raises(OutOfRangeError):
        call()
