"""The solved carbonate system against the reference program."""

from collections.abc import Callable, Mapping
from itertools import product
from typing import get_args

import gsw
import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.errors import OutOfRangeError
from slackwater.water.carbonate_system import (
    Base,
    Carbonates,
    Scale,
    Water,
    after_addition,
    at_carbon_dioxide,
    from_alkalinity_and_carbon,
    from_alkalinity_and_ph,
    nbs_above_total,
    omega_range,
    ph_total,
    umol_per_kg,
)
from tests.water.reference import ALKALINITY, CARBON, PCO2, PH, Known, answers

REEF = Water(salinity=35.0, celsius=25.0)
WATERS = [
    REEF,
    Water(salinity=30.0, celsius=20.0),
    Water(salinity=33.0, celsius=28.0),
    Water(salinity=38.0, celsius=26.0),
]
BASES: tuple[Base, ...] = get_args(Base)
ALKALINITIES = [1500.0, 2300.0, 2850.0, 3900.0]
TESTED_PH = [7.6, 8.0, 8.2, 8.5]
CARBON_SHARES = [0.75, 0.85, 0.95, 1.0]
AIR = [280.0, 420.0, 800.0, 2000.0]
ADDED = [0.0, 0.1, 0.36, 1.0, 2.0]
DEGREES = {7.0: 8.05, 8.0: 8.10, 9.0: 8.14, 10.0: 8.18}
MEQ_PER_DEGREE = 0.35665246
# Kilograms in a litre, by the reference library of TEOS-10.
DENSITY = float(gsw.rho_t_exact(35.16504, 25, 0)) / 1000
NAMES = {
    "alkalinity": "alkalinity",
    "dissolved_inorganic_carbon": "dic",
    "carbonate": "carbonate",
    "ph_total": "pH_total",
    "ph_nbs": "pH_nbs",
    "omega_aragonite": "saturation_aragonite",
    "omega_calcite": "saturation_calcite",
    "fco2_uatm": "fCO2",
    "pco2_uatm": "pCO2",
}


def known(
    alkalinity: float,
    second: tuple[int, float],
    water: Water = REEF,
    scale: Scale = "total",
) -> Known:
    """Alkalinity and one thing more."""
    return Known(
        first=(ALKALINITY, alkalinity),
        second=second,
        salinity=water.salinity,
        celsius=water.celsius,
        scale=scale,
    )


def _degrees(degrees: float) -> Known:
    return known(degrees * MEQ_PER_DEGREE * 1000 / DENSITY, (PCO2, 420.0))


PROBED = [
    known(alkalinity, (PH, ph), water, scale)
    for alkalinity, ph, water, scale in product(
        ALKALINITIES, TESTED_PH, WATERS, get_args(Scale)
    )
]
ASKED = [
    *PROBED,
    *(
        known(2850.0, (CARBON, 2850.0 * c), w)
        for c, w in product(CARBON_SHARES, WATERS)
    ),
    *(known(2850.0, (PCO2, air), water) for air, water in product(AIR, WATERS)),
    *(_degrees(degrees) for degrees in DEGREES),
    known(2850.0, (PH, 8.15)),
]


def agree(library: Mapping[str, float], found: Carbonates) -> None:
    """Sulfate and fluoride acids, which are left out, cost a part in two thousand."""
    for name, key in NAMES.items():
        near = (
            pytest.approx(library[key], abs=5e-4)
            if name.startswith("ph")
            else pytest.approx(library[key], rel=1e-3)
        )
        assert near == getattr(found, name), name


@pytest.mark.parametrize("water", WATERS)
@pytest.mark.parametrize("alkalinity", ALKALINITIES)
@pytest.mark.parametrize("ph", TESTED_PH)
@pytest.mark.parametrize("scale", get_args(Scale))
def test_alkalinity_and_ph_give_the_system(
    scale: Scale, ph: float, alkalinity: float, water: Water
) -> None:
    """On both scales."""
    library = answers(ASKED)[known(alkalinity, (PH, ph), water, scale)]
    agree(library, from_alkalinity_and_ph(alkalinity, ph, scale, water))


@pytest.mark.parametrize("water", WATERS)
@pytest.mark.parametrize("share", CARBON_SHARES)
def test_alkalinity_and_carbon_give_the_system(share: float, water: Water) -> None:
    """From carbon poor, as after caustic, to carbon rich."""
    library = answers(ASKED)[known(2850.0, (CARBON, 2850.0 * share), water)]
    agree(library, from_alkalinity_and_carbon(2850.0, 2850.0 * share, water))


@pytest.mark.parametrize("water", WATERS)
@pytest.mark.parametrize("air", AIR)
def test_air_sets_the_ph(air: float, water: Water) -> None:
    """Room air at night holds two or three times the carbon dioxide of the sea."""
    library = answers(ASKED)[known(2850.0, (PCO2, air), water)]
    agree(library, at_carbon_dioxide(2850.0, air, water))


def after(added: float, base: Base) -> Known:
    """The question for the water after an addition, carbon by the formula of a base."""
    start = answers(ASKED)[known(2850.0, (PH, 8.15))]["dic"]
    umol = added * 1000 / DENSITY
    carbon = {"carbonate": umol / 2, "bicarbonate": umol, "hydroxide": 0.0}[base]
    return known(2850.0 + umol, (CARBON, start + carbon))


@pytest.mark.parametrize("base", BASES)
@pytest.mark.parametrize("added", ADDED)
def test_a_base_moves_the_system_as_the_program_says(added: float, base: Base) -> None:
    """Closed system, nothing falls out and no gas leaves."""
    before = from_alkalinity_and_ph(2850.0, 8.15, "total", REEF)
    every = [after(meq, which) for meq, which in product(ADDED, BASES)]
    library = answers(every)[after(added, base)]
    found = after_addition(before, added, base, REEF)
    assert pytest.approx(library["pH_total"], abs=2e-3) == found.ph_total
    near = pytest.approx(library["saturation_aragonite"], rel=3e-3)
    assert near == found.omega_aragonite
    assert pytest.approx(library["pCO2"], rel=1e-2) == found.pco2_uatm


def test_bicarbonate_lowers_what_the_others_raise() -> None:
    """Hydroxide most; a dose of bicarbonate must never be governed by pH."""
    before = from_alkalinity_and_ph(2850.0, 8.15, "total", REEF)
    ph = {base: after_addition(before, 0.36, base, REEF).ph_total for base in BASES}
    assert ph["bicarbonate"] < before.ph_total < ph["carbonate"] < ph["hydroxide"]


@pytest.mark.parametrize(("degrees", "ph"), DEGREES.items())
def test_ph_comes_back_to_what_air_and_alkalinity_set(
    degrees: float, ph: float
) -> None:
    """At 420 µatm, S = 35 and 25 degC, two digits as a keeper reads them."""
    assert ph == round(answers(ASKED)[_degrees(degrees)]["pH_total"], 2)
    alkalinity = umol_per_kg(degrees * MEQ_PER_DEGREE, REEF)
    assert ph == round(at_carbon_dioxide(alkalinity, 420.0, REEF).ph_total, 2)


@pytest.mark.parametrize("salinity", [30.0, 34.0, 38.0])
@pytest.mark.parametrize("celsius", [20.0, 25.0, 28.0])
def test_a_probe_reads_above_the_total_scale(salinity: float, celsius: float) -> None:
    """0.122 to 0.148 for waters of a reef."""
    water = Water(salinity=salinity, celsius=celsius)
    above = nbs_above_total(water)
    assert 0.121 < above < 0.149
    assert pytest.approx(8.2 - above) == ph_total(8.2, "NBS", water)


def test_taking_one_scale_for_the_other_costs_a_quarter() -> None:
    """Why a pH without a scale is refused."""
    wrong = from_alkalinity_and_ph(2850.0, 8.2, "total", REEF).omega_aragonite
    right = from_alkalinity_and_ph(2850.0, 8.2, "NBS", REEF).omega_aragonite
    assert pytest.approx(1.26, abs=0.04) == wrong / right


def test_measured_calcium_takes_the_place_of_natures() -> None:
    """Saturation is in proportion to it."""
    natural = from_alkalinity_and_ph(2850.0, 8.1, "total", REEF)
    rich = Water(salinity=35.0, celsius=25.0, calcium_mmol_per_kg=10.28457 * 1.1)
    found = from_alkalinity_and_ph(2850.0, 8.1, "total", rich)
    assert pytest.approx(1.1 * natural.omega_aragonite) == found.omega_aragonite
    assert natural.pco2_uatm == found.pco2_uatm


def test_a_saturation_comes_with_the_error_of_its_probe() -> None:
    """0.05 pH is 9 percent or so either way, and no probe is better."""
    found = omega_range(2850.0, 8.2, "NBS", REEF, ph_sd=0.05)
    assert pytest.approx(0.09, abs=0.02) == found.high / found.omega - 1
    assert pytest.approx(0.09, abs=0.02) == 1 - found.low / found.omega
    assert found == omega_range(2850.0, 8.2, "NBS", REEF, ph_sd=0.001)
    assert found.high < omega_range(2850.0, 8.2, "NBS", REEF, ph_sd=0.1).high


@given(alkalinity=st.floats(1200, 6000), ph=st.floats(7.0, 9.0))
def test_the_system_comes_back_from_its_carbon(alkalinity: float, ph: float) -> None:
    """From pH to carbon and back."""
    found = from_alkalinity_and_ph(alkalinity, ph, "total", REEF)
    again = from_alkalinity_and_carbon(
        alkalinity, found.dissolved_inorganic_carbon, REEF
    )
    assert pytest.approx(ph, abs=1e-9) == again.ph_total


@pytest.mark.parametrize(
    "call",
    [
        lambda: from_alkalinity_and_ph(900.0, 8.1, "total", REEF),
        lambda: from_alkalinity_and_ph(8000.0, 8.1, "total", REEF),
        lambda: from_alkalinity_and_ph(2300.0, 6.9, "total", REEF),
        lambda: from_alkalinity_and_ph(2300.0, 9.1, "NBS", REEF),
        lambda: from_alkalinity_and_ph(float("nan"), 8.1, "total", REEF),
        lambda: from_alkalinity_and_ph(
            2300.0, 8.1, "total", Water(salinity=18.0, celsius=25.0)
        ),
        lambda: from_alkalinity_and_ph(
            2300.0, 8.1, "total", Water(salinity=35.0, celsius=36.0)
        ),
        lambda: from_alkalinity_and_ph(
            *(2300.0, 8.1, "total"),
            Water(salinity=35.0, celsius=25.0, calcium_mmol_per_kg=0.0),
        ),
        lambda: from_alkalinity_and_carbon(2300.0, 0.0, REEF),
        lambda: from_alkalinity_and_carbon(2300.0, 900_000_000.0, REEF),
        lambda: at_carbon_dioxide(2300.0, 40.0, REEF),
        lambda: at_carbon_dioxide(2300.0, 10_001.0, REEF),
        lambda: after_addition(
            from_alkalinity_and_ph(2300.0, 8.1, "total", REEF), -0.1, "carbonate", REEF
        ),
        lambda: omega_range(2300.0, 8.1, "total", REEF, ph_sd=0.0),
    ],
)
def test_what_no_reef_has_is_refused(call: Callable[[], object]) -> None:
    """Alkalinity 1 to 8 meq/L, pH 7 to 9, S 19 to 43, 2 to 35 degC."""
    with pytest.raises(OutOfRangeError):
        call()


@pytest.mark.parametrize("scale", ["", "nbs", "free", "seawater"])
def test_a_scale_that_is_not_stated_is_refused(scale: str) -> None:
    """It is asked for, never guessed."""
    with pytest.raises(OutOfRangeError, match="pH scale"):
        ph_total(8.2, scale, REEF)  # type: ignore[arg-type] # the point of the test
