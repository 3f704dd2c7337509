"""Worked examples of water changes, ramps, doses and removal, one test an example."""

from fractions import Fraction

import pytest

from slackwater.water.parameters import PARAMETERS
from slackwater.water.quantiles import student_quantile
from slackwater.water.ramps import Bounds, dead_band, next_dose, ramp
from slackwater.water.recipes import Jar, mass_fraction
from slackwater.water.removal import adsorbent_grams, resin_ml
from slackwater.water.spellings import units_of
from slackwater.water.water_changes import (
    after_change,
    after_changes,
    after_exchange,
    changes_to_reach,
    excess_water,
    fraction_to_reach,
    half_life_days,
    rise_by_topoff,
    salinity_after_evaporation,
    salinity_after_excess,
    steady_state,
    time_constant_days,
)
from tests.water.checks import Example, agree, params

DKH = float(units_of(PARAMETERS["alkalinity"])["dKH"])


@pytest.mark.parametrize("example", params("wc-single"))
def test_one_change_mixes(example: Example) -> None:
    """Old and new by their parts."""
    found = after_change(
        example.number("C0"), example.number("C_new"), example.number("fraction")
    )
    agree(example, {"C1": found})


@pytest.mark.parametrize("example", params("wc-sequential"))
def test_small_changes_do_less_than_one_large(example: Example) -> None:
    """Five tenths are not one half."""
    level, new = example.number("C0"), example.number("C_new")
    count = int(example.number("n"))
    agree(
        example,
        {
            "C_n": after_changes(level, new, example.number("fraction"), count),
            "one_50_percent_change": after_change(level, new, 0.5),
        },
    )


@pytest.mark.parametrize("example", params("wc-count"))
def test_changes_are_counted(example: Example) -> None:
    """Until the limit, and one fewer does not do."""
    level, new = example.number("C0_ug_per_L"), example.number("C_new_ug_per_L")
    fraction = example.number("fraction")
    count = changes_to_reach(level, example.number("limit_ug_per_L"), new, fraction)
    agree(
        example,
        {
            "changes_needed": count,
            "C_after": after_changes(level, new, fraction, count),
            "C_one_fewer": after_changes(level, new, fraction, count - 1),
        },
    )


@pytest.mark.parametrize("example", params("wc-continuous"))
def test_a_steady_exchange_dilutes(example: Example) -> None:
    """Ten litres a day of two hundred."""
    constant = time_constant_days(example.number("V_L"), example.number("Q_L_per_day"))
    level = after_exchange(
        example.number("C0"), example.number("C_new"), constant, example.number("days")
    )
    agree(
        example,
        {
            "C_t": level,
            "time_constant_days": constant,
            "half_life_days": half_life_days(constant),
        },
    )


@pytest.mark.parametrize("example", params("wc-steady"))
def test_changes_and_production_find_a_balance(example: Example) -> None:
    """What is made between two changes goes with each."""
    found = steady_state(
        example.number("production_per_day"),
        example.number("interval_days"),
        example.number("fraction"),
        example.number("C_new"),
    )
    agree(
        example,
        {
            "just_before_change": found.before_change,
            "just_after_change": found.after_change,
        },
    )


@pytest.mark.parametrize("example", params("evaporation"))
def test_evaporation_leaves_the_salt(example: Example) -> None:
    """Four litres of two hundred."""
    found = salinity_after_evaporation(
        example.number("S"), example.number("V_L"), example.number("evaporated_L")
    )
    agree(example, {"S_after": found})


@pytest.mark.parametrize("example", params("topoff-"))
def test_topoff_leaves_what_it_holds(example: Example) -> None:
    """In milligrams or micrograms."""
    (unit,) = {"mg", "ug"} & {
        key.split("_")[2] for key in example.inputs if "conc" in key
    }
    found = rise_by_topoff(
        example.number(f"topoff_conc_{unit}_per_L"),
        example.number("topoff_L_per_day"),
        example.number("V_L"),
        example.number("days"),
    )
    agree(example, {f"rise_{unit}_per_L": found})


@pytest.mark.parametrize("example", params("dose-vs-evaporation"))
def test_more_dosed_water_than_evaporates_freshens(example: Example) -> None:
    """The excess leaves as tank water."""
    excess = excess_water(
        example.number("dose_water_L_per_day"),
        example.number("evaporation_L_per_day"),
    )
    found = salinity_after_excess(
        example.number("S0"), example.number("V_L"), excess, example.number("days")
    )
    agree(example, {"excess_L_per_day": excess, "S_after": found})


@pytest.mark.parametrize("example", params("salinity-raise"))
def test_saltier_water_lifts_salinity(example: Example) -> None:
    """The part to replace at once."""
    found = fraction_to_reach(
        example.number("S0"), example.number("S_target"), example.number("S_new")
    )
    agree(example, {"fraction_to_replace": found})


@pytest.mark.parametrize(
    "example", params("ramp-alk", "ramp-ca", "ramp-uneven", "ramp-float-trap")
)
def test_a_ramp_has_equal_steps(example: Example) -> None:
    """As few as its limit allows, floating point or not."""
    found = ramp(
        example.number("from"),
        example.number("to"),
        example.number("max_rise_per_day"),
    )
    agree(example, {"days": found.days, "per_day": found.step})


@pytest.mark.parametrize("example", params("ramp-with-uptake"))
def test_a_ramp_is_dosed_above_the_uptake(example: Example) -> None:
    """In millilitres of a soda solution, during the ramp and after it."""
    uptake = example.number("uptake_dKH_per_day")
    found = ramp(
        example.number("from_dKH"),
        example.number("to_dKH"),
        example.number("max_rise_dKH_per_day"),
    )
    jar = Jar(formula=example.text("stock"), hydrate="anhydrous", purity=Fraction(1))
    meq_per_ml = float(mass_fraction(jar, "alkalinity")) * example.number("g_per_L")
    ml_per_dkh = DKH * example.number("net_volume_L") / meq_per_ml
    agree(
        example,
        {
            "days": found.days,
            "dose_mL_per_day_during_ramp": found.dose(uptake) * ml_per_dkh,
            "dose_mL_per_day_after": uptake * ml_per_dkh,
        },
    )


@pytest.mark.parametrize("example", params("ramp-downward"))
def test_a_fall_is_a_dose_withheld(example: Example) -> None:
    """Never below nothing."""
    found = ramp(
        example.number("from_dKH"),
        example.number("to_dKH"),
        example.number("max_fall_dKH_per_day"),
    )
    dose = found.dose(example.number("uptake_dKH_per_day"))
    agree(
        example,
        {
            "days": found.days,
            "dose_dKH_per_day_during": dose,
            "never_negative": found.dose(0.0) == 0.0,
        },
    )


@pytest.mark.parametrize("example", params("propose-"))
def test_a_dose_is_proposed_within_its_bounds(example: Example) -> None:
    """Nothing inside the dead-band, a tenth a day outside it."""
    dose = example.number("current_dose_dKH_per_day")
    degrees = int(example.number("df"))
    band = dead_band(dose, example.number("stderr"), degrees)
    bounds = Bounds(
        cap=10.0,
        least_rise=0.0,
        rise_share=example.number("max_relative_change_per_day"),
    )
    found = next_dose(dose, example.number("uptake_hat"), band, bounds)
    agree(
        example,
        {
            "t_quantile": student_quantile(
                (1 + example.number("confidence")) / 2, degrees
            ),
            "deadband_dKH_per_day": band,
            "new_dose": found,
            "changed": found != dose,
        },
    )


@pytest.mark.parametrize("example", params("adsorbent-"))
def test_adsorbent_is_phosphorus_over_capacity(example: Example) -> None:
    """The capacity is an input."""
    fall = example.exact("PO4_from_mg_per_L") - example.exact("PO4_to_mg_per_L")
    found = adsorbent_grams(
        float(fall),
        example.number("net_volume_L"),
        example.number("capacity_mg_P_per_g"),
    )
    agree(
        example,
        {"P_removed_mg": found.milligrams, "grams_adsorbent": found.medium},
    )


@pytest.mark.parametrize("example", params("resin-"))
def test_resin_is_metal_over_capacity(example: Example) -> None:
    """Less than a millilitre for a tank."""
    fall = example.exact("from_ug_per_L") - example.exact("to_ug_per_L")
    capacity = example.number("usable_capacity_mmol_per_mL")
    found = resin_ml("copper", float(fall), example.number("net_volume_L"), capacity)
    agree(
        example,
        {
            "removed_mg": found.milligrams,
            "removed_mmol": found.medium * capacity,
            "mL_resin_minimum": found.medium,
        },
    )
