"""Calcification, the salt it leaves and how calcium goes with alkalinity."""

from collections.abc import Callable
from math import nan
from random import Random

import gsw
import pytest
from molmass import Formula

from slackwater.errors import OutOfRangeError
from slackwater.water.calcification import (
    CALCIUM_MG_PER_MEQ,
    CARBONATE_MG_PER_MEQ,
    alkalinity_to_see,
    coherence,
    fresh_water_share_per_day,
    salinity_gain_grams_per_kg,
    salt_gain_grams_per_litre,
    sea_salt_grams_per_litre,
    strontium_per_calcium_saenger2008,
    strontium_per_calcium_swart2002,
)

DKH = 0.35665246


def test_an_equivalent_is_half_a_mole() -> None:
    """Oracle: molmass; 20.04 mg of calcium and 50.04 mg of carbonate."""
    assert pytest.approx(Formula("Ca").mass / 2, rel=1e-4) == CALCIUM_MG_PER_MEQ
    assert pytest.approx(Formula("CaCO3").mass / 2, rel=1e-4) == CARBONATE_MG_PER_MEQ


def test_calcium_that_goes_with_alkalinity_is_coherent() -> None:
    """One degree of hardness is 7.15 mg/L of calcium."""
    found = coherence(7.147, DKH, calcium_sd=10.0, alkalinity_sd=0.036)
    assert pytest.approx(7.147, abs=1e-3) == found.expected_calcium
    assert pytest.approx(0.0, abs=1e-3) == found.z
    assert found.holds


@pytest.mark.parametrize("calcium", [-40.0, 60.0])
def test_calcium_that_goes_elsewhere_is_not(calcium: float) -> None:
    """A wrong stock, a wrong test, nitrogen or a precipitate."""
    assert not coherence(calcium, DKH, calcium_sd=10.0, alkalinity_sd=0.036).holds


def test_chance_alone_is_told_apart_as_often_as_it_says() -> None:
    """A thousand simulated pairs of tests: z is standard normal."""
    chance = Random(1)  # noqa: S311 - a simulation, no secret
    found = []
    for _ in range(1000):
        calcium = 20.0 + chance.gauss(0, 6) - chance.gauss(0, 6)
        alkalinity = 20.0 / CALCIUM_MG_PER_MEQ + chance.gauss(0, 0.05 * 2**0.5)
        found.append(coherence(calcium, alkalinity, calcium_sd=6.0, alkalinity_sd=0.05))
    spread = (sum(one.z**2 for one in found) / 1000) ** 0.5
    assert pytest.approx(1.0, abs=0.07) == spread


def test_a_calcium_test_sees_nothing_before_four_degrees() -> None:
    """A kit good to 10 mg/L, two deviations of the difference, 28 mg/L."""
    assert pytest.approx(4.0, abs=0.05) == alkalinity_to_see(10.0) / DKH


# Abstracts of the two papers, as read.
@pytest.mark.parametrize(("celsius", "printed"), [(20.0, 9.223), (26.0, 8.9404)])
def test_a_coral_takes_up_strontium_by_the_temperature(
    celsius: float, printed: float
) -> None:
    """Swart et al. 2002: 10.165 - 0.0471 t."""
    assert pytest.approx(printed) == strontium_per_calcium_swart2002(celsius)


def test_both_calibrations_lie_in_the_range_of_corals() -> None:
    """8.5 to 9.5 mmol per mol of calcium."""
    for celsius in (24.0, 26.0, 28.0):
        assert 8.5 < strontium_per_calcium_swart2002(celsius) < 9.5
        assert 8.5 < strontium_per_calcium_saenger2008(celsius, 3.5) < 9.5


# Abstract of Saenger et al. 2008: 8.8 mmol/mol is 24.0 to 30.9 degC in four colonies
# that grew by 12.6 to 2.3 mm a year.
@pytest.mark.parametrize(("celsius", "extension"), [(24.0, 12.6), (30.9, 2.3)])
def test_the_same_strontium_is_another_temperature_by_growth(
    celsius: float, extension: float
) -> None:
    """Within the errors that the abstract states."""
    found = strontium_per_calcium_saenger2008(celsius, extension)
    assert pytest.approx(8.8, abs=0.13) == found


def test_sea_salt_of_a_litre_is_that_of_the_library() -> None:
    """Oracle: gsw, reference salinity times density."""
    library = 35.16504 * float(gsw.rho_t_exact(35.16504, 25, 0)) / 1000
    assert pytest.approx(library, rel=1e-5) == sea_salt_grams_per_litre(35.0, 25.0)


def test_a_matched_pair_leaves_one_salt_an_equivalent() -> None:
    """Oracle: molmass; a year at one degree a day leaves 7.6 g in a litre."""
    grams = Formula("NaCl").mass * DKH * 365.25 / 1000
    assert pytest.approx(grams, rel=1e-3) == salt_gain_grams_per_litre(DKH, 365.25)
    per_kg = salinity_gain_grams_per_kg(DKH, 365.25, salinity=35.0, celsius=25.0)
    assert pytest.approx(grams / 1.02334, rel=1e-3) == per_kg


def test_fresh_water_takes_out_what_the_pair_leaves() -> None:
    """58 mL a day of 100 L and degree, and the salt of that is the salt gained."""
    share = fresh_water_share_per_day(DKH, salinity=35.0, celsius=25.0)
    assert pytest.approx(0.0579, abs=1e-4) == 100 * share
    taken = share * sea_salt_grams_per_litre(35.0, 25.0)
    assert pytest.approx(salt_gain_grams_per_litre(DKH, 1.0)) == taken


@pytest.mark.parametrize(
    "call",
    [
        lambda: coherence(nan, 1.0, calcium_sd=10.0, alkalinity_sd=0.1),
        lambda: coherence(1.0, nan, calcium_sd=10.0, alkalinity_sd=0.1),
        lambda: coherence(1.0, 1.0, calcium_sd=0.0, alkalinity_sd=0.1),
        lambda: coherence(1.0, 1.0, calcium_sd=10.0, alkalinity_sd=0.0),
        lambda: alkalinity_to_see(0.0),
        lambda: strontium_per_calcium_swart2002(14.0),
        lambda: strontium_per_calcium_saenger2008(33.0, 3.0),
        lambda: strontium_per_calcium_saenger2008(26.0, 2.2),
        lambda: sea_salt_grams_per_litre(1.0, 25.0),
        lambda: salt_gain_grams_per_litre(-1.0, 1.0),
        lambda: salt_gain_grams_per_litre(1.0, -1.0),
        lambda: salinity_gain_grams_per_kg(1.0, 1.0, salinity=50.0, celsius=25.0),
        lambda: fresh_water_share_per_day(-1.0, salinity=35.0, celsius=25.0),
    ],
)
def test_what_is_no_balance_is_refused(call: Callable[[], object]) -> None:
    """Outside the sea, negative, or no number."""
    with pytest.raises(OutOfRangeError):
        call()
