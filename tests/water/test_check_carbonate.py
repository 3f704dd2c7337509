"""Worked examples of the carbonate system, one test an example."""

from collections.abc import Mapping
from math import log, log10
from typing import get_args

import pytest
from molmass import Formula

from slackwater.water import carbonate
from slackwater.water.carbonate_system import (
    Base,
    Carbonates,
    Scale,
    Water,
    after_addition,
    at_carbon_dioxide,
    from_alkalinity_and_carbon,
    from_alkalinity_and_ph,
    umol_per_kg,
)
from slackwater.water.parameters import PARAMETERS
from slackwater.water.spellings import units_of
from tests.water.checks import Example, agree, params
from tests.water.reference import ALKALINITY, PH, Known, answers

DKH = float(units_of(PARAMETERS["alkalinity"])["dKH"])


def water(example: Example) -> Water:
    """The water of an example."""
    return Water(
        salinity=example.number("salinity"), celsius=example.number("temperature_C")
    )


def figures(found: Carbonates) -> Mapping[str, float]:
    """The system under the names of the examples."""
    return {
        "alkalinity_umol_per_kg": found.alkalinity,
        "omega_aragonite": found.omega_aragonite,
        "omega_calcite": found.omega_calcite,
        "pCO2_uatm": found.pco2_uatm,
        "DIC_umol_per_kg": found.dissolved_inorganic_carbon,
        "pH_total": found.ph_total,
        "pH_NBS": found.ph_nbs,
    }


def named(example: Example, found: Carbonates) -> Mapping[str, float]:
    """Those figures that an example asks for."""
    return {key: figures(found)[key] for key in example.expected}


@pytest.mark.parametrize("example", params("co2-constants"))
def test_constants_are_those_of_the_guide(example: Example) -> None:
    """Check values of Dickson, Sabine and Christian 2007."""
    at = example.number("salinity"), example.number("temperature_C")
    aragonite = carbonate.aragonite_solubility_mucci1983(*at)
    agree(
        example,
        {
            "ln_K0": log(carbonate.co2_solubility_weiss1974(*at)),
            "pK1": -log10(carbonate.first_dissociation_lueker2000(*at)),
            "pK2": -log10(carbonate.second_dissociation_lueker2000(*at)),
            "ln_KB": log(carbonate.borate_dissociation_dickson1990(*at)),
            "ln_KW": log(carbonate.water_dissociation_millero1995(*at)),
            "ln_KS_free": log(carbonate.sulfate_dissociation_dickson1990(*at)),
            "log10_Ksp_aragonite": log10(aragonite),
            "log10_Ksp_calcite": log10(carbonate.calcite_solubility_mucci1983(*at)),
        },
    )


@pytest.mark.parametrize("example", params("sw-totals"))
def test_totals_are_the_published_ones(example: Example) -> None:
    """Boron, sulfate, fluoride and calcium at S = 35."""
    salinity = example.number("salinity")
    totals = {
        "borate_umol_per_kg_Uppstrom1974": carbonate.total_borate_uppstrom1974,
        "borate_umol_per_kg_Lee2010": carbonate.total_borate_lee2010,
        "sulfate_umol_per_kg": carbonate.total_sulfate_morris1966,
        "fluoride_umol_per_kg": carbonate.total_fluoride_riley1965,
        "calcium_umol_per_kg": carbonate.total_calcium_riley1967,
    }
    agree(
        example,
        {f"total_{name}": 1e6 * total(salinity) for name, total in totals.items()},
    )


def _scale(example: Example) -> Scale:
    (found,) = (one for one in get_args(Scale) if one == example.text("pH_scale"))
    scale: Scale = found
    return scale


@pytest.mark.parametrize("example", params("co2-2300", "co2-8dkh", "co2-9p5"))
def test_alkalinity_and_ph_solve_the_system(example: Example) -> None:
    """In either unit of alkalinity and on either scale of pH."""
    alkalinity = example.number("alkalinity")
    if example.text("alkalinity_unit") == "dKH":
        alkalinity = umol_per_kg(alkalinity * DKH, water(example))
    found = from_alkalinity_and_ph(
        alkalinity, example.number("pH"), _scale(example), water(example)
    )
    agree(example, named(example, found))


@pytest.mark.parametrize("example", params("co2-ta-dic"))
def test_alkalinity_and_carbon_solve_the_system(example: Example) -> None:
    """The pH is found, not given."""
    found = from_alkalinity_and_carbon(
        example.number("alkalinity_umol_per_kg"),
        example.number("DIC_umol_per_kg"),
        water(example),
    )
    agree(example, named(example, found))


@pytest.mark.parametrize("example", params("air-equilibrium"))
def test_a_tank_in_balance_with_air(example: Example) -> None:
    """Room air, not alkalinity alone, sets the pH."""
    found = at_carbon_dioxide(
        example.number("alkalinity_umol_per_kg"),
        example.number("pCO2_uatm"),
        water(example),
    )
    agree(example, named(example, found))


@pytest.mark.parametrize("example", params("dose-co3", "dose-small"))
def test_three_bases_move_a_closed_tank(example: Example) -> None:
    """Carbonate, bicarbonate and hydroxide of the same alkalinity."""
    before = from_alkalinity_and_ph(
        example.number("alkalinity_umol_per_kg"),
        example.number("pH_total"),
        "total",
        water(example),
    )
    computed: dict[str, Mapping[str, float]] = {
        "before": {
            "omega_aragonite": before.omega_aragonite,
            "pCO2_uatm": before.pco2_uatm,
        }
    }
    bases: tuple[Base, ...] = get_args(Base)
    for base in bases:
        added = example.number("added_meq_per_L")
        after = after_addition(before, added, base, water(example))
        computed[base] = {
            "pH_total": after.ph_total,
            "delta_pH": after.ph_total - before.ph_total,
            "omega_aragonite": after.omega_aragonite,
            "pCO2_uatm": after.pco2_uatm,
        }
    agree(example, computed)


@pytest.mark.parametrize("example", params("phreeqc-"))
def test_a_speciation_program_bounds_the_reference_program(example: Example) -> None:
    """It bounds the oracle only: our own code models no ion pairs.

    Aragonite and calcite are those of the reference program for the same water; that of
    dolomite follows from the published one of calcite and the magnesium in the water,
    with the constants of the same database, -8.48 and -17.09.
    """
    composition = example.inputs["composition_mg_per_kg"]
    assert isinstance(composition, Mapping)
    amounts = {name: float(str(value)) for name, value in composition.items()}
    alkalinity = amounts["Alkalinity_as_HCO3"] / Formula("HCO3").mass * 1000
    known = Known(
        first=(ALKALINITY, alkalinity),
        second=(PH, example.number("pH")),
        celsius=example.number("temperature_C"),
        scale="NBS",
    )
    found = answers([known])[known]
    calcite = example.expected["SI_calcite"]
    assert isinstance(calcite, float)
    moles = [amounts[metal] / Formula(metal).mass for metal in ("Mg", "Ca")]
    agree(
        example,
        {
            "SI_aragonite": log10(found["saturation_aragonite"]),
            "SI_calcite": log10(found["saturation_calcite"]),
            "SI_dolomite": 2 * (calcite - 8.48) + log10(moles[0] / moles[1]) + 17.09,
        },
    )
