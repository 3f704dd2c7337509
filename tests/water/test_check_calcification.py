"""Worked examples of calcification and its salt, one test an example."""

from fractions import Fraction

import pytest

from slackwater.water.calcification import (
    CALCIUM_MG_PER_MEQ,
    CARBONATE_MG_PER_MEQ,
    DAYS_PER_YEAR,
    coherence,
    fresh_water_share_per_day,
    salinity_gain_grams_per_kg,
    salt_gain_grams_per_litre,
    strontium_per_calcium_swart2002,
)
from slackwater.water.masses import molar_mass
from slackwater.water.parameters import PARAMETERS
from slackwater.water.spellings import units_of
from slackwater.water.stoichiometry import calcified, salt_left_behind_mg
from tests.water.checks import Example, agree, params

DKH = units_of(PARAMETERS["alkalinity"])["dKH"]


@pytest.mark.parametrize("example", params("calc-stoich"))
def test_calcification_takes_calcium_with_alkalinity(example: Example) -> None:
    """One calcium for two equivalents."""
    alkalinity = example.exact("alkalinity_consumed_dKH") * DKH
    calcium = calcified(alkalinity).calcium
    agree(
        example,
        {
            "Ca_mg_per_L": calcium,
            "Ca_mg_per_L_per_meq": CALCIUM_MG_PER_MEQ,
            "CaCO3_mg_per_L": float(alkalinity) * CARBONATE_MG_PER_MEQ,
            "Ca_mmol_per_L": calcium / molar_mass("Ca"),
        },
    )


@pytest.mark.parametrize("example", params("calc-uptake"))
def test_a_daily_uptake_is_an_amount_for_the_whole_tank(example: Example) -> None:
    """Per litre and for the tank, alkalinity and calcium agree."""
    daily = example.exact("uptake_dKH_per_day") * DKH
    net_litres = example.exact("net_volume_L")
    calcium = calcified(daily).calcium
    agree(
        example,
        {
            "alk_meq_per_day": daily * net_litres,
            "Ca_mg_per_L_per_day": calcium,
            "Ca_g_per_day": calcium * net_litres / 1000,
            "CaCO3_g_per_day": float(daily * net_litres) / 1000 * CARBONATE_MG_PER_MEQ,
        },
    )


@pytest.mark.parametrize("example", params("calc-sr-mg"))
def test_skeletons_take_strontium_and_magnesium_too(example: Example) -> None:
    """The three metals together are half the equivalents."""
    found = calcified(
        example.exact("uptake_dKH") * DKH,
        strontium_per_calcium=example.exact("Sr_to_Ca_mmol_per_mol") / 1000,
        magnesium_per_calcium=example.exact("Mg_to_Ca_mmol_per_mol") / 1000,
    )
    agree(
        example,
        {
            "Ca_mg_per_L": found.calcium,
            "Sr_mg_per_L": found.strontium,
            "Mg_mg_per_L": found.magnesium,
        },
    )


@pytest.mark.parametrize("example", params("nacl-residue"))
def test_a_matched_pair_leaves_salt_behind(example: Example) -> None:
    """One sodium chloride for each equivalent that calcified."""
    uptake = float(example.exact("uptake_dKH_per_day") * DKH)
    share = fresh_water_share_per_day(uptake, salinity=35.0, celsius=25.0)
    agree(
        example,
        {
            "NaCl_mg_per_L_per_day": salt_left_behind_mg(Fraction(uptake)),
            "NaCl_g_per_L_per_year": salt_gain_grams_per_litre(uptake, DAYS_PER_YEAR),
            "salinity_rise_g_per_kg_per_year": salinity_gain_grams_per_kg(
                uptake, DAYS_PER_YEAR, salinity=35.0, celsius=25.0
            ),
            "fraction_of_volume_to_exchange_for_fresh_water_per_day": share,
            "mL_per_day": share * 1000 * example.number("net_volume_L"),
            "percent_of_volume_per_year": 100 * share * DAYS_PER_YEAR,
        },
    )


@pytest.mark.parametrize("example", params("sr-ca-"))
def test_a_coral_is_a_thermometer(example: Example) -> None:
    """The calibration of one species."""
    found = strontium_per_calcium_swart2002(example.number("SST_C"))
    agree(example, {"Sr_to_Ca_mmol_per_mol": found})


@pytest.mark.parametrize("example", params("ca-alk-"))
def test_calcium_is_held_against_alkalinity(example: Example) -> None:
    """The z of the difference, and whether two deviations hold it."""
    found = coherence(
        example.number("Ca_drop_mg_per_L"),
        float(example.exact("alk_drop_dKH") * DKH),
        calcium_sd=example.number("sigma_Ca_mg_per_L_single"),
        alkalinity_sd=float(example.exact("sigma_alk_dKH_single") * DKH),
    )
    agree(
        example,
        {
            "expected_Ca_drop": found.expected_calcium,
            "z": found.z,
            "consistent_at_2_sigma": abs(found.z) <= 2,
        },
    )
