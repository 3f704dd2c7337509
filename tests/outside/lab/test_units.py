"""Units of laboratories, against reference libraries.

Molar masses from molmass; density from gsw (TEOS-10), which agrees with the density of
1980 within 1 part in 50 000 at 25 degC.
"""

from fractions import Fraction

import gsw
import pytest
from hypothesis import given
from hypothesis import strategies as st
from molmass import Formula

from slackwater.errors import InputError
from slackwater.outside.lab.names import Analyte, analyte_named
from slackwater.outside.lab.units import (
    decimal_text,
    density_kg_per_litre,
    level_of,
    parse_unit,
    units_for,
)
from slackwater.water.parameters import PARAMETERS

ONE = Fraction(1)
MASS_ACCURACY = 2e-4
# Half a part in 10 000 is more than the two equations of state differ.
DENSITY_ACCURACY = 5e-5


def level(number: str, unit: str, name: str, density: Fraction = ONE) -> float:
    """The canonical level of a number with a unit."""
    known, analyte = parse_unit(unit), analyte_named(name)
    assert known is not None
    assert analyte is not None
    return float(level_of(Fraction(number), known, analyte, density))


def mass(formula: str) -> float:
    """Grams per mole, by the library."""
    return float(Formula(formula).mass)


@pytest.mark.parametrize(
    "texts",
    [
        (
            "mg/L",
            "mg/l",
            "mg / L",
            "mg L-1",
            "mg\u00b7l\u207b\u00b9",
            "mgL-1",
            "mg/dm3",
        ),
        ("ug/L", "\u00b5g/L", "\u03bcg/l", "mcg/L", "ug l^-1", "\u00b5g per litre"),
        ("mg/kg", "ppm", "PPM", "mg kg-1"),
        ("ug/kg", "\u00b5g/kg", "ppb", "Ppb"),
        ("mg/L NO3-N", "mg/L as N", "mg/L (as N)", "mg N/L", "mg/L-N", "mg/l (N)"),
        ("umol/kg", "\u00b5mol/kg", "\u03bcmol kg-1"),
        ("mg/L CaCO3", "mg/L as CaCO3", "mg/l (as CaCO3)"),
        ("dKH", "\u00b0dKH", "dkh", "\u00b0dH"),
        ("PSU", "psu", "PSS-78"),
    ],
)
def test_spellings_of_one_unit_are_the_same(texts: tuple[str, ...]) -> None:
    """Both micro signs, two cases of the litre, inverse powers, forms."""
    assert 1 == len({parse_unit(text) for text in texts})
    assert None is not parse_unit(texts[0])


@pytest.mark.parametrize(
    "text",
    [
        *("", "mg", "MG/L", "Mg/L", "mg/dL", "%", "ppt", "\u2030", "kg/L", "mg/L foo"),
        *("mg N/L as P", "mg/L/L", "dGH", "meq", "mg per day", "ML", "ug/mL"),
    ],
)
def test_what_is_no_unit_here_is_not_known(text: str) -> None:
    """Parts per thousand or trillion, millions of grams, days."""
    assert None is parse_unit(text)


@pytest.mark.parametrize(
    ("name", "unit", "ratio"),
    [
        ("NO3-N", "mg/L", mass("NO3") / mass("N")),
        ("NO3", "mg/L as N", mass("NO3") / mass("N")),
        ("PO4-P", "mg/L", mass("PO4") / mass("P")),
        ("P", "mg/L", mass("PO4") / mass("P")),
        ("S", "mg/L", mass("SO4") / mass("S")),
        ("B(OH)3", "mg/L", mass("B") / mass("B(OH)3")),
        ("SiO2", "mg/L", mass("Si") / mass("SiO2")),
        ("Ca", "mmol/L", mass("Ca")),
        ("NO3", "umol/L", mass("NO3") / 1000),
        ("NO3-N", "umol/L", mass("NO3") / 1000),
        ("I", "nmol/L", mass("I") / 1000),
        ("KH", "mg/L as CaCO3", 2 / mass("CaCO3")),
        ("KH", "dKH", 20 / mass("CaO")),
    ],
)
def test_forms_and_moles_agree_with_the_library(
    name: str, unit: str, ratio: float
) -> None:
    """What one of the unit is in the canonical one."""
    assert pytest.approx(ratio, rel=MASS_ACCURACY) == level("1", unit, name)


@pytest.mark.parametrize(
    ("name", "unit", "expected"),
    [
        ("Ca", "ug/L", 0.001),
        ("Ca", "g/L", 1000),
        ("Al", "mg/L", 1000),
        ("Al", "ng/L", 0.001),
        ("KH", "meq/L", 1),
        ("KH", "mmol/L", 1),
        ("KH", "umol/L", 0.001),
        ("pH", "pH", 1),
        ("Salinity", "PSU", 1),
        ("Temperature", "\u00b0C", 1),
    ],
)
def test_prefixes_are_powers_of_ten(name: str, unit: str, expected: float) -> None:
    """Exact."""
    assert expected == level("1", unit, name)


@pytest.mark.parametrize("salinity", [28.0, 33.0, 35.0, 38.0, 40.0])
def test_the_density_agrees_with_the_library(salinity: float) -> None:
    """Reference salinity from practical salinity (Millero et al. 2008), 25 degC."""
    reference = gsw.SR_from_SP(salinity)
    density = gsw.rho_t_exact(reference, 25.0, 0.0) / 1000
    found = float(density_kg_per_litre(salinity))
    assert pytest.approx(density, rel=DENSITY_ACCURACY) == found


@pytest.mark.parametrize("unit", ["mg/kg", "ppm", "ug/kg", "ppb", "umol/kg", "mmol/kg"])
def test_by_mass_is_taken_by_the_density(unit: str) -> None:
    """Per litre it is more, by what a litre weighs."""
    known = parse_unit(unit)
    assert known is not None
    dense = level("1", unit, "Ca", density_kg_per_litre(35.0))
    assert pytest.approx(1.02334 * level("1", unit, "Ca"), rel=1e-5) == dense


@pytest.mark.parametrize(
    ("text", "expected"),
    [("53.065 mS/cm at 25 degC", 35.0), ("1.02637 SG 25/25", 35.0)],
)
def test_salinity_is_read_from_what_instruments_show(
    text: str, expected: float
) -> None:
    """UNESCO 44: 53.065 mS/cm at 25 degC; specific gravity at 25/25 as there."""
    number, _, unit = text.partition(" ")
    assert pytest.approx(expected, abs=0.02) == level(number, unit, "Salinity")


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("Ca", "dKH"),
        ("Ca", "meq/L"),
        ("Ca", "mg/L as N"),
        ("Ca", "pH"),
        ("Al", "mmol/L"),
        ("KH", "mg/L"),
        ("KH", "mmol/L as CaCO3"),
        ("pH", "mg/L"),
        ("Salinity", "g/kg"),
        ("Salinity", "dKH"),
        ("NO3-N", "mg/L as NO3"),
        ("P", "mg/L as PO4"),
        ("S", "mg/L SO4"),
    ],
)
def test_a_unit_that_does_not_fit_is_refused(name: str, unit: str) -> None:
    """Another quantity, or another form than the name says."""
    with pytest.raises(InputError):
        level("1", unit, name)


def test_dkh_for_calcium_says_where_it_belongs() -> None:
    """A figure in the wrong row is the likeliest slip."""
    with pytest.raises(InputError, match="dKH is a unit of alkalinity"):
        level("8.4", "dKH", "Ca")


@pytest.mark.parametrize(
    "identity", [i for i, p in PARAMETERS.items() if p.is_measured]
)
def test_every_unit_that_is_offered_is_accepted(identity: str) -> None:
    """A message names nothing that would be refused."""
    analyte = Analyte(parameter=identity)
    for text in units_for(PARAMETERS[identity]):
        unit = parse_unit(text)
        assert unit is not None
        assert level_of(Fraction(40), unit, analyte, ONE) > 0


@given(st.decimals(0, 10**9, places=9, allow_nan=False, allow_infinity=False))
def test_a_number_is_written_out_exactly(number: object) -> None:
    """As plain digits, nothing lost."""
    exact = Fraction(str(number))
    assert exact == Fraction(decimal_text(exact))
