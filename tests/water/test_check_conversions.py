"""Worked unit conversions, salinities and densities, one test an example."""

from dataclasses import replace
from fractions import Fraction
from math import sqrt

import pytest

from slackwater.water import seawater
from slackwater.water.levels import parse_level
from slackwater.water.masses import molar_mass
from slackwater.water.parameters import PARAMETERS
from slackwater.water.salinities import parse_salinity
from slackwater.water.seawater import (
    conductivity_from_salinity,
    density_eos1980,
    normalised,
    per_kg,
    per_litre,
    reference_salinity_millero2008,
    salinity_from_conductivity,
    salinity_pss1978,
    specific_gravity,
)
from slackwater.water.spellings import units_of
from tests.water.checks import Example, agree, params

ALKALINITY = units_of(PARAMETERS["alkalinity"])
NAMES = {
    "Ca": "calcium",
    "Mg": "magnesium",
    "K": "potassium",
    "Sr": "strontium",
    "Na": "sodium",
    "Cl": "chloride",
    "SO4": "sulfate",
}
PAIRS = {"sg_25_25": "25/25", "sg_20_20": "20/20", "sg_60F_60F": "60F/60F"}


def level(text: str, parameter: str) -> Fraction:
    """A level that may lie outside the window of a reef."""
    return parse_level(text, parameter, where="", confirmed=True)


def alkalinity(meq: Fraction) -> dict[str, Fraction | float]:
    """Alkalinity in the units of the examples at S = 35 and 25 degC."""
    return {
        "meq_per_L": meq,
        "dKH": meq / ALKALINITY["dKH"],
        "mg_per_L_CaCO3": meq / ALKALINITY["mg/L CaCO3"],
        "umol_per_kg": 1000 * per_kg(float(meq), 35.0, 25.0),
    }


@pytest.mark.parametrize("example", params("unit-dkh-def"))
def test_a_german_degree_is_its_definition(example: Example) -> None:
    """One degree is 10 mg/L of calcium oxide, two equivalents a mole."""
    degree = ALKALINITY["dKH"]
    agree(
        example,
        {
            "meq_per_L": degree,
            "mg_per_L_CaCO3": degree / ALKALINITY["mg/L CaCO3"],
            "dKH_per_meq_per_L": 1 / degree,
            "mg_per_L_CaO": degree / 2 * molar_mass("CaO"),
        },
    )


@pytest.mark.parametrize("example", params("alk-"))
def test_alkalinity_converts_between_its_units(example: Example) -> None:
    """Degrees, equivalents, calcium carbonate and micromoles per kilogram agree."""
    unit = example.text("unit")
    if unit == "umol/kg":
        meq = Fraction(per_litre(example.number("value"), 35.0, 25.0)) / 1000
    else:
        meq = level(f"{example.text('value')} {unit}", "alkalinity")
    agree(example, alkalinity(meq))


@pytest.mark.parametrize("example", params("unit-ca", "unit-mg", "unit-k", "unit-sr"))
def test_an_element_converts_between_mass_and_moles(example: Example) -> None:
    """Per litre and per kilogram, milligrams and millimoles agree."""
    salinity, celsius = (
        example.number("salinity_PSS78"),
        example.number("temperature_C"),
    )
    text = f"{example.text('value')} {example.text('unit')}"
    value = level(text, NAMES[example.text("element")])
    mass = float(molar_mass(example.text("element")))
    by_mass = per_kg(float(value), salinity, celsius)
    agree(
        example,
        {
            "mmol_per_L": float(value) / mass,
            "mg_per_kg": by_mass,
            "mmol_per_kg": by_mass / mass,
            "density_kg_per_L": density_eos1980(salinity, celsius) / 1000,
        },
    )


@pytest.mark.parametrize("example", params("no3-"))
def test_nitrate_converts_to_nitrogen(example: Example) -> None:
    """Nitrate as nitrogen is a unit of its own, not another parameter."""
    nitrogen = units_of(PARAMETERS["nitrate"])["mg/L NO3-N"]
    value = level(f"{example.text('value')} mg/L", "nitrate")
    agree(
        example,
        {
            "NO3_N_mg_per_L": value / nitrogen,
            "umol_per_L": 1000 * value / molar_mass("NO3"),
            "factor_NO3_per_N": nitrogen,
        },
    )


@pytest.mark.parametrize("example", params("po4-"))
def test_phosphate_converts_to_phosphorus(example: Example) -> None:
    """Phosphate as phosphorus is a unit of its own."""
    units = units_of(PARAMETERS["phosphate"])
    value = level(f"{example.text('value')} mg/L", "phosphate")
    every = {
        "PO4_P_mg_per_L": value / units["mg/L PO4-P"],
        "P_ug_per_L": value / units["ug/L PO4-P"],
        "umol_per_L": 1000 * value / molar_mass("PO4"),
        "factor_PO4_per_P": units["mg/L PO4-P"],
    }
    agree(example, {key: every[key] for key in example.expected})


@pytest.mark.parametrize("example", params("p-element"))
def test_phosphorus_converts_to_phosphate(example: Example) -> None:
    """Micrograms of phosphorus become milligrams of phosphate."""
    value = level(f"{example.text('value')} ug/L PO4-P", "phosphate")
    agree(example, {"PO4_mg_per_L": value})


@pytest.mark.parametrize("example", params("s-900"))
def test_sulfur_converts_to_sulfate(example: Example) -> None:
    """A laboratory's sulfur is the same amount as sulfate."""
    value = level(f"{example.text('value')} mg/L S", "sulfate")
    agree(
        example,
        {
            "SO4_mg_per_L": value,
            "mmol_per_L": value / molar_mass("SO4"),
            "factor_SO4_per_S": units_of(PARAMETERS["sulfate"])["mg/L S"],
        },
    )


@pytest.mark.parametrize("example", params("b-4p5"))
def test_boron_converts_to_boric_acid(example: Example) -> None:
    """Boric acid holds 17 percent of boron."""
    acid = units_of(PARAMETERS["boron"])["mg/L B(OH)3"]
    value = level(f"{example.text('value')} mg/L", "boron")
    agree(
        example,
        {
            "B_OH_3_mg_per_L": value / acid,
            "mmol_per_L": value / molar_mass("B"),
            "factor_BOH3_per_B": 1 / acid,
        },
    )


@pytest.mark.parametrize("example", params("si-"))
def test_silicon_converts_to_silica(example: Example) -> None:
    """Silica holds 47 percent of silicon."""
    value = level(f"{example.text('value')} {example.text('unit')}", "silicon")
    every = {
        "SiO2_mg_per_L": value / units_of(PARAMETERS["silicon"])["mg/L SiO2"],
        "umol_per_L": 1000 * value / molar_mass("Si"),
    }
    agree(example, {key: every[key] for key in example.expected})


@pytest.mark.parametrize("example", params("i-60"))
def test_iodine_converts_to_moles(example: Example) -> None:
    """Micrograms of iodine become nanomoles."""
    value = level(f"{example.text('value')} ug/L", "iodine")
    agree(example, {"nmol_per_L": 1000 * value / molar_mass("I")})


@pytest.mark.parametrize("example", params("ppm-", "ppb-"))
def test_parts_by_mass_become_a_content_per_litre(example: Example) -> None:
    """A part per million by mass is 2.3 percent more per litre."""
    salinity, celsius = (
        example.number("salinity_PSS78"),
        example.number("temperature_C"),
    )
    content = per_litre(example.number("value"), salinity, celsius)
    density = density_eos1980(salinity, celsius) / 1000
    unit = "ug/L" if example.text("unit").startswith("ug") else "mg/L"
    assert example.expected["unit"] == unit
    numbers = {key: value for key, value in example.expected.items() if key != "unit"}
    agree(
        replace(example, expected=numbers),
        {"per_litre": content, "density_kg_per_L": density},
    )


@pytest.mark.parametrize("example", params("norm-"))
def test_a_level_is_judged_at_standard_salinity(example: Example) -> None:
    """Diluted water is not poor in calcium."""
    value = normalised(
        example.number("value_mg_per_L"), example.number("salinity_PSS78")
    )
    agree(example, {"normalised_mg_per_L": value})


def _pressure_factor(ratio: float, celsius: float, decibar: float) -> float:
    """How much pressure raises conductivity; no aquarium is that deep.

    Source: UNESCO 44, equation 4.
    """
    above = decibar * (2.070e-5 + decibar * (-6.370e-10 + decibar * 3.989e-15))
    below = 1 + celsius * (3.426e-2 + celsius * 4.464e-4)
    return 1 + above / (below + ratio * (4.215e-1 - 3.107e-3 * celsius))


@pytest.mark.parametrize("example", params("pss78-"))
def test_conductivity_ratios_give_the_published_salinity(example: Example) -> None:
    """The three check values of the report, their pressure taken out first."""
    ratio, celsius = example.number("conductivity_ratio_R"), example.number("t68_C")
    pressure = _pressure_factor(ratio, celsius, example.number("pressure_dbar"))
    agree(example, {"practical_salinity": salinity_pss1978(ratio / pressure, celsius)})


@pytest.mark.parametrize("example", params("cond-53", "cond-42"))
def test_conductivity_gives_salinity(example: Example) -> None:
    """A conductivity belongs to the temperature it was taken at."""
    conductivity = example.number("conductivity_mS_per_cm")
    salinity = salinity_from_conductivity(conductivity, example.number("t90_C"))
    agree(example, {"practical_salinity": salinity})


@pytest.mark.parametrize("example", params("cond-inv"))
def test_salinity_gives_conductivity(example: Example) -> None:
    """The inverse finds the conductivity of a standard."""
    conductivity = conductivity_from_salinity(
        example.number("practical_salinity"), example.number("t90_C")
    )
    agree(example, {"conductivity_mS_per_cm": conductivity})


@pytest.mark.parametrize("example", params("sg-3"))
def test_salinity_gives_specific_gravity(example: Example) -> None:
    """Four reference pairs show four figures for the same water."""
    salinity = example.number("practical_salinity")
    pairs = PAIRS | {"sg_20_4": "20/4"}
    agree(
        example, {key: specific_gravity(salinity, pair) for key, pair in pairs.items()}
    )


@pytest.mark.parametrize("example", params("sg-inv"))
def test_specific_gravity_gives_salinity(example: Example) -> None:
    """A specific gravity is read with the pair of its instrument."""
    pair = f"{example.text('sample_t_C')}/{example.text('reference_t_C')}"
    text = f"{example.text('specific_gravity')} SG {pair}"
    agree(example, {"practical_salinity": parse_salinity(text, where="")})


def _bulk_modulus(salinity: float, t: float, bar: float) -> float:
    """How hard sea water is to press; no aquarium is that deep.

    Source: UNESCO 44, equations 15 to 19.
    """
    root = salinity * sqrt(salinity)
    still = (
        19652.21
        + t * (148.4206 + t * (-2.327105 + t * (1.360477e-2 - t * 5.155288e-5)))
        + salinity * (54.6746 + t * (-0.603459 + t * (1.09987e-2 - t * 6.1670e-5)))
        + root * (7.944e-2 + t * (1.6483e-2 - t * 5.3009e-4))
    )
    linear = (
        3.239908
        + t * (1.43713e-3 + t * (1.16092e-4 - t * 5.77905e-7))
        + salinity * (2.2838e-3 + t * (-1.0981e-5 - t * 1.6078e-6))
        + 1.91075e-4 * root
    )
    square = (
        8.50935e-5
        + t * (-6.12293e-6 + t * 5.2787e-8)
        + salinity * (-9.9348e-7 + t * (2.0816e-8 + t * 9.1697e-10))
    )
    return still + bar * (linear + bar * square)


@pytest.mark.parametrize("example", params("eos80-"))
def test_density_is_the_published_one(example: Example) -> None:
    """The check values of the report, given in IPTS-68 degrees, pressure put in."""
    t68, salinity = example.number("t68_C"), example.number("practical_salinity")
    bar = example.number("pressure_dbar") / 10
    density = density_eos1980(salinity, t68 / 1.00024)
    pressed = density / (1 - bar / _bulk_modulus(salinity, t68, bar))
    agree(example, {"density_kg_per_m3": pressed})


@pytest.mark.parametrize("example", params("teos-"))
def test_the_newer_equation_of_state_is_met(example: Example) -> None:
    """The older equation differs by 2.4 parts in a million, and no more."""
    salinity = example.number("practical_salinity")
    reference = reference_salinity_millero2008(salinity)
    assert example.expected["reference_salinity_g_per_kg"] == pytest.approx(reference)
    density = density_eos1980(salinity, example.number("t90_C"))
    assert example.expected["density_kg_per_m3"] == pytest.approx(density, rel=2.5e-6)


@pytest.mark.parametrize("example", params("refcomp-"))
def test_natural_levels_are_those_of_the_reference_composition(
    example: Example,
) -> None:
    """The table of parameters knows the composition of standard sea water."""
    levels = {}
    for key in example.expected:
        natural = PARAMETERS[NAMES[key.removesuffix("_mg_per_L")]].natural
        assert natural is not None
        levels[key] = natural
    agree(example, levels)


def test_pure_water_is_heaviest_near_four_degrees() -> None:
    """Handbook fact: water is heaviest at 3.98 degC."""
    heaviest = max(range(100), key=lambda tenth: density_eos1980(0.0, tenth / 10))
    assert 40 == heaviest


def test_the_module_names_every_pair_of_the_trade() -> None:
    """Pairs on instruments are common practice, no source."""
    assert {"25/25", "20/20", "60F/60F", "20/4"} == set(seawater.REFERENCE_PAIRS)
