"""Results that must hang together, and some that do not."""

import pytest

from slackwater.assessment.cleaning import cleaned
from slackwater.assessment.coherence import (
    Used,
    calcification_check,
    calcium_against_alkalinity,
    charge_balance,
    report_checks,
    report_levels,
)
from slackwater.assessment.inflow import inflows
from slackwater.assessment.records import Check
from slackwater.assessment.series import series_of
from slackwater.facts.history import History
from slackwater.water.parameters import PARAMETERS
from tests.assessment.past import (
    DKH,
    NOW,
    ago,
    deliveries,
    history,
    machine,
    measured,
    report,
    with_report,
)

MAJORS = (
    *("sodium", "magnesium", "calcium", "potassium", "strontium", "chloride"),
    *("sulfate", "bromide", "fluoride", "alkalinity"),
)
NATURE = {name: PARAMETERS[name].natural or 0.0 for name in MAJORS}


def test_natural_sea_water_is_neutral() -> None:
    """The reference composition of Millero et al. 2008 balances by definition.

    Borate is part of the alkalinity, so nothing else is needed: 0.1 % for rounding.
    """
    found = charge_balance(NATURE, 35.0)
    assert found.holds
    assert 0 == pytest.approx(float(str(found.figures["off_share"])), abs=0.001)
    # 605 mmol of charge in a kilogram, 1.0233 kg in a litre.
    assert 620 == pytest.approx(float(str(found.figures["positive_meq_per_l"])), abs=1)


def test_what_is_missing_of_the_small_ions_is_natures() -> None:
    """Four ions decide, at the salinity of the sample."""
    four = {
        name: NATURE[name] * 33 / 35 for name in ("sodium", "magnesium", "chloride")
    }
    four["sulfate"] = NATURE["sulfate"] * 33 / 35
    assert charge_balance(four, 33.0).holds


@pytest.mark.parametrize(("factor", "holds"), [(0.9, True), (0.85, False)])
def test_a_report_that_is_not_neutral_is_doubted(factor: float, holds: bool) -> None:
    """Five percent of the sum: sodium a tenth low is 4 %, three twentieths 6 %.

    Standard Methods for the Examination of Water and Wastewater 1030 E, from memory.
    """
    found = charge_balance({**NATURE, "sodium": factor * NATURE["sodium"]}, 35.0)
    assert holds == found.holds
    assert ("doubt the report" in found.text) != holds
    assert "Standard Methods 1030 E" in found.text


def test_without_the_large_ions_it_cannot_say() -> None:
    """And names them."""
    found = charge_balance({"sodium": 11000.0}, 35.0)
    assert None is found.holds
    assert "no chloride, magnesium, sulfate" in found.text


def checks(past: History, salinity: float | None = 35.0) -> dict[str, Check]:
    """The checks of the newest report by name."""
    return {check.name: check for check in report_checks(past, salinity)}


def test_a_report_of_nature_fits_itself() -> None:
    """Sodium and chloride mean 35 each."""
    found = checks(with_report(history(), report(5, NATURE)))
    assert {"charge-balance", "salinity-sodium", "salinity-chloride"} == set(found)
    assert all(one.holds for one in found.values())


def test_sodium_that_means_another_salinity_does_not_fit() -> None:
    """42 instead of 35: beyond three errors of laboratory and instrument."""
    levels = {**NATURE, "sodium": 1.2 * NATURE["sodium"]}
    found = checks(with_report(history(), report(5, levels)))
    assert False is found["salinity-sodium"].holds
    assert "means a salinity of 42.0 and does not fit 35.00" in (
        found["salinity-sodium"].text
    )


def test_the_report_may_bring_its_own_salinity() -> None:
    """Where nobody tested it at home."""
    levels = {"sodium": NATURE["sodium"], "salinity": 35.0}
    found = checks(with_report(history(), report(5, levels)), None)
    assert found["salinity-sodium"].holds


def test_without_any_salinity_only_charges_are_weighed() -> None:
    """Nature's proportions at 35 stand in for what is missing."""
    found = checks(with_report(history(), report(5, NATURE)), None)
    assert {"charge-balance"} == set(found)


def test_no_report_has_no_checks() -> None:
    """Nothing to weigh."""
    assert {} == checks(history())


def test_the_newest_report_speaks_and_only_what_was_seen() -> None:
    """Values of older reports and censored ones are left out."""
    past = with_report(
        history(),
        report(50, {"sodium": 9000.0}),
        report(5, {"sodium": 11000.0, "copper": 0.5}, unseen=["copper"]),
    )
    assert {"sodium": 11000.0} == report_levels(past, past.reports[-1])


@pytest.mark.parametrize(
    ("alkalinity", "calcium", "sd", "expected", "z"),
    [
        (1.9, 14.0, 10.0, 13.57922143, 0.02958402),
        (2.6, 31.0, 6.0, 18.58209, 1.44064918),
    ],
)
def test_worked_examples_of_calcium_against_alkalinity(
    alkalinity: float, calcium: float, sd: float, expected: float, z: float
) -> None:
    """Stoichiometry of calcification, both with a test error of 0.15 dKH."""
    found = calcium_against_alkalinity(
        Used(amount=calcium, sd=sd), Used(amount=alkalinity * DKH, sd=0.15 * DKH)
    )
    assert (expected, z) == pytest.approx(
        (found.figures["expected_mg_per_l"], found.figures["z"]), rel=5e-3
    )
    assert found.holds is not False


def test_a_kit_of_ten_says_nothing_before_four_degrees() -> None:
    """28 mg/L, two errors of a difference of two tests."""
    sd = 0.1 * DKH
    little = calcium_against_alkalinity(
        Used(amount=14, sd=10), Used(amount=2 * DKH, sd=sd)
    )
    enough = calcium_against_alkalinity(
        Used(amount=30, sd=10), Used(amount=4.1 * DKH, sd=sd)
    )
    assert (None, True) == (little.holds, enough.holds)


def test_calcium_that_is_used_up_otherwise_is_told() -> None:
    """Twelve degrees and not a milligram: even a coarse kit sees that."""
    found = calcium_against_alkalinity(
        Used(amount=0, sd=10), Used(amount=12 * DKH, sd=0.1 * DKH)
    )
    assert False is found.holds
    assert "wrong stock" in found.text


def past_of(calcium_per_day: float, alkalinity_per_day: float) -> History:
    """Thirty days: both dosed at what 1.5 dKH a day needs, both tested weekly."""
    calcium_dose, dose = 1.5 * 7.147, 1.5
    tests = []
    for back in (29, 22, 15, 8, 1):
        passed = 29 - back
        tests.append(
            measured("calcium", 430 + (calcium_dose - calcium_per_day) * passed, back)
        )
        tests.append(
            measured(
                "alkalinity",
                (8 + (dose - alkalinity_per_day) * passed) * DKH,
                back + 0.5,
            )
        )
    return history(
        *tests,
        deliveries=deliveries({"alkalinity": dose * DKH, "calcium": calcium_dose}, 31),
    )


def of(past: History) -> Check | None:
    """The check of a past."""
    names = ("calcium", "alkalinity")
    came = inflows(past, machine(), names, since=ago(60), now=NOW)
    series = {
        name: [cleaned(one, came[name]) for one in series_of(past, name, NOW)]
        for name in names
    }
    return calcification_check(
        (series["calcium"], came["calcium"]),
        (series["alkalinity"], came["alkalinity"]),
    )


def test_a_tank_that_calcifies_holds_together() -> None:
    """1.5 dKH and 10.7 mg/L a day, as the equation says."""
    found = of(past_of(1.5 * 7.147, 1.5))
    assert found is not None
    assert found.holds
    assert 0 == pytest.approx(float(str(found.figures["z"])), abs=0.5)


def test_a_weak_calcium_stock_is_found() -> None:
    """Calcium seems to be used up twice as fast: the stock is half as strong."""
    found = of(past_of(2 * 1.5 * 7.147, 1.5))
    assert found is not None
    assert False is found.holds


@pytest.mark.parametrize(
    "keep",
    [
        {"alkalinity"},
        {"calcium"},
        {"alkalinity", "calcium-hand-1"},
        {"calcium", "alkalinity-hand-1.5"},
        {"calcium", "alkalinity-hand-29.5"},
    ],
    ids=["no calcium", "no alkalinity", "one calcium", "late only", "early only"],
)
def test_without_tests_of_both_at_both_ends_there_is_no_check(keep: set[str]) -> None:
    """A comparison needs the same stretch."""
    past = past_of(10.7, 1.5)
    kept = [one for one in past.measurements if one.parameter in keep or one.id in keep]
    assert None is of(history(*kept, deliveries=past.deliveries))


def test_alkalinity_from_a_laboratory_is_no_partner() -> None:
    """It changed in the post."""
    past = past_of(10.7, 1.5)
    kept = [one for one in past.measurements if one.parameter == "calcium"]
    posted = with_report(
        history(*kept, deliveries=past.deliveries),
        report(29, {"alkalinity": 3.0}),
        report(1, {"alkalinity": 3.0}),
    )
    assert None is of(posted)


def test_one_alkalinity_test_near_both_ends_is_not_enough() -> None:
    """Two calcium tests three days apart around a single alkalinity test."""
    past = history(
        measured("calcium", 430, 4),
        measured("calcium", 425, 2),
        measured("alkalinity", 8 * DKH, 3),
    )
    assert None is of(past)


def test_laboratory_results_take_no_part() -> None:
    """Two samples in two months are no pair of kits."""
    past = with_report(
        past_of(10.7, 1.5), report(25, {"calcium": 300}), report(2, {"calcium": 600})
    )
    found = of(past)
    assert found is not None
    assert found.holds
