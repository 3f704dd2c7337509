"""Remedies for the water as a whole."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import pytest

from slackwater.assessment.records import Advice
from slackwater.assessment.water_advice import water_advice
from slackwater.facts.history import History
from slackwater.facts.waters import HusbandryNoted, What
from tests.assessment.past import NOW, ago, change, history, machine
from tests.assessment.pictures import drops, picture, stands


def advised(
    levels: Mapping[str, float] | None = None, **other: object
) -> Sequence[Advice]:
    """The advice for a tank that is well but for these levels."""
    return list(water_advice(picture(levels, **other)))  # type: ignore[arg-type]  # as picture takes


def happened(what: What, days_ago: float) -> History:
    """A past in which this happened."""
    note = HusbandryNoted(
        at=ago(days_ago),
        boot_s=0.0,
        proven_ms=0,
        id="note",
        tank="reef",
        what=what,
        happened_at=ago(days_ago),
        by="keeper",
    )
    return history(happenings=(note,))


def test_a_tank_that_is_well_needs_nothing() -> None:
    """Nor one of which nothing is known."""
    assert [] == advised()
    assert [] == advised(dict.fromkeys(("salinity", "nitrate", "phosphate"), None))  # type: ignore[arg-type]  # unknown levels


@pytest.mark.parametrize("salinity", [34.5, 35.5])
def test_half_a_unit_of_salinity_is_no_task(salinity: float) -> None:
    """Bounds included."""
    assert [] == advised({"salinity": salinity})


def test_salinity_is_brought_back_by_the_day() -> None:
    """36.2 to 35 at 0.3 a day: four days of 300 L * 0.3/36.2 fresh water."""
    (found,) = advised({"salinity": 36.2})
    assert found.text.startswith("Bring salinity from 36.20 to 35.00 over 4 days")
    assert ("correct_salinity", 4) == (found.remedy, found.figures["days"])
    assert 2.4862 == pytest.approx(float(str(found.figures["litres_a_day"])), rel=1e-3)
    assert "replace 2.5 L of tank water by fresh water a day" in found.text


def test_low_salinity_is_raised_with_salt_water() -> None:
    """To the target that was stated."""
    (found,) = advised({"salinity": 33.0}, made=machine(targets={"salinity": 34.0}))
    assert "from 33.00 to 34.00 over 4 days" in found.text
    assert "salt water instead of fresh" in found.text


@pytest.mark.parametrize(
    ("parameter", "low", "enough", "rank"),
    [("phosphate", 0.01, 0.05, 40), ("nitrate", 0.4, 5.0, 60)],
)
def test_two_low_tests_of_a_nutrient_are_told(
    parameter: str, low: float, enough: float, rank: int
) -> None:
    """Phosphate the more urgently; one low test, or one after another, is no news."""
    twice = advised({parameter: low}, series={parameter: (drops(parameter, low, low),)})
    once = advised(
        {parameter: low}, series={parameter: (drops(parameter, enough, low),)}
    )
    single = advised({parameter: low}, series={parameter: (drops(parameter, low),)})
    other = drops(parameter, low, low)
    elsewhere = advised(
        {parameter: low},
        series={parameter: (drops(parameter, low, low, last="held"), other)},
    )
    assert [("other", rank)] == [(one.remedy, one.rank) for one in twice]
    assert ([], []) == (once, single)
    assert 1 == len(elsewhere)


def test_much_nitrate_goes_slowly() -> None:
    """60 to 10 at a fifth a week: nine weeks; a refugium of 30 to 60 L of 300."""
    export, changes = advised({"nitrate": 60.0})
    assert ("export_nutrients", "water_change") == (export.remedy, changes.remedy)
    assert 9 == export.figures["weeks"]
    assert (30, 60) == pytest.approx(
        (export.figures["refugium_least_l"], export.figures["refugium_most_l"])
    )
    assert "common practice" in export.text
    assert "12 water changes of 15 %" in changes.text
    assert "faster than the rate of a week" in changes.text


@pytest.mark.parametrize(
    ("parameter", "level", "told", "weeks"),
    [
        ("nitrate", 25.0, "to 10.00 mg/L by at most 20 % a week", 5),
        ("phosphate", 0.2, "to 0.100 mg/L by at most 30 % a week", 2),
    ],
)
def test_a_nutrient_above_its_band_is_a_mild_task(
    parameter: str, level: float, told: str, weeks: int
) -> None:
    """A step and a cap for carbon, and what ends it; common practice, no source.

    25 mg/L times 0.8 five times is 8.2; 0.2 times 0.7 twice is 0.098.
    """
    (found,) = advised({parameter: level})
    assert ("export_nutrients", parameter) == (found.remedy, found.parameter)
    assert told in found.text
    assert "begins at 0.015 mmol C/L a day" in found.text
    assert "to 0.15 at most" in found.text
    assert "above 29 degC" in found.text
    assert weeks == found.figures["weeks"]


def test_a_nutrient_at_the_level_a_person_wants_is_no_task() -> None:
    """The band ends at 10 mg/L of nitrate, and the target is 20."""
    wanted = stands("nitrate", 18.0, word="high", target=20.0)
    assert [] == advised(standings=[wanted])
    assert [] == advised({"nitrate": 10.0, "phosphate": 0.1})


def test_much_phosphate_may_be_adsorbed() -> None:
    """0.50 to 0.10 mg/L in 300 L is 39.1 mg P: 8 to 39 g at 5 to 1 mg a gram.

    Mass balance with M(P)/M(PO4) = 1/3.06612; capacities from memory.
    """
    *_, adsorbent = advised({"phosphate": 0.5})
    milligrams = 0.4 / 3.06612 * 300
    assert "adsorbent" == adsorbent.remedy
    assert (milligrams / 5, milligrams) == pytest.approx(
        (adsorbent.figures["least_g"], adsorbent.figures["most_g"]), rel=1e-4
    )
    assert 0.15 / 3.06612 * 300 / 5 == pytest.approx(
        float(str(adsorbent.figures["first_g"])), rel=1e-4
    )
    assert "at most 30 % a week" in adsorbent.text


def test_a_small_tank_is_never_told_to_begin_with_nothing() -> None:
    """0.50 to 0.10 mg/L in 20 L: 0.52 to 2.6 g, the first of them 0.2 g; not 0."""
    made = machine()
    small = replace(made.tanks["reef"], net_ul=20_000_000)
    made = replace(made, tanks={"reef": small})
    export, _changes, adsorbent = advised({"phosphate": 0.5}, made=made)
    assert "adsorbent 0.52 to 2.6 g in all" in adsorbent.text
    assert "begin with 0.2 g" in adsorbent.text
    assert "a refugium of 2 to 4 L" in export.text


def test_after_a_treatment_comes_carbon() -> None:
    """For a fortnight; other happenings ask for nothing."""
    (found,) = advised(past=happened("treatment", 3))
    assert ("activated_carbon", "") == (found.remedy, found.parameter)
    assert [] == advised(past=happened("treatment", 15))
    assert [] == advised(past=happened("harvest", 3))


def test_water_that_nobody_tested_is_asked_for() -> None:
    """A change within a month; tested ones, and old ones, are fine."""
    (found,) = advised(past=history(changes=(change(10, 30),)))
    assert ("test_new_water", "") == (found.remedy, found.parameter)
    assert found.due_on > NOW.date()
    tested = history(changes=(change(10, 30, {"alkalinity": 3.0}),))
    assert [] == advised(past=tested)
    assert [] == advised(past=history(changes=(change(40, 30),)))
