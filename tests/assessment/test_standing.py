"""Where one parameter stands, then and now."""

from dataclasses import replace

import pytest

from slackwater.assessment.agreement import Agreement, agreements
from slackwater.assessment.carrying import Consumption
from slackwater.assessment.cleaning import cleaned
from slackwater.assessment.inflow import inflows
from slackwater.assessment.records import Standing
from slackwater.assessment.series import series_of
from slackwater.assessment.standing import Scene, consumption_of, standing
from slackwater.assessment.uptakes import Evidence, uptake_found
from slackwater.facts.history import History
from slackwater.facts.tank import Machine
from tests.assessment.past import (
    DKH,
    NOW,
    ago,
    deliveries,
    history,
    kept_tank,
    machine,
    measured,
    report,
    standard,
    with_report,
)


def scene(
    past: History,
    parameter: str,
    made: Machine | None = None,
    *,
    salinity: float | None = None,
    estimated: bool = False,
) -> Scene:
    """Everything there is to judge a parameter from."""
    made = made or machine()
    inflow = inflows(past, made, [parameter], since=ago(200), now=NOW)[parameter]
    series = tuple(cleaned(one, inflow) for one in series_of(past, parameter, NOW))
    evidence = Evidence(history=past, machine=made, inflow=inflow, now=NOW)
    agreed: dict[tuple[str, str], Agreement] = dict(
        agreements(series, past, inflow, Consumption())
    )
    return Scene(
        tank=made.tanks["reef"],
        history=past,
        now=NOW,
        series=series,
        inflow=inflow,
        uptake=uptake_found(series, evidence) if estimated else None,
        agreements=agreed,
        salinity=salinity,
    )


def of(*args: object, **other: object) -> Standing:
    """The standing of a scene."""
    return standing(scene(*args, **other))  # type: ignore[arg-type]  # as scene takes


def test_what_nobody_tested_is_unknown() -> None:
    """With everything that is known without a test."""
    found = of(history(), "calcium", machine(targets={"calcium": 430}))
    assert ("unknown", "none", None) == (found.word, found.confidence, found.level)
    assert (430, 500, 421.7, 14) == (
        found.target,
        found.stop_above,
        found.natural,
        found.shelf_days,
    )
    assert ("no test of it is known",) == found.why


@pytest.mark.parametrize(
    ("level", "word"), [(380, "low"), (425, "in band"), (470, "high")]
)
def test_the_word_follows_the_band(level: float, word: str) -> None:
    """Calcium 401 to 451 mg/L."""
    assert word == of(history(measured("calcium", level, 1)), "calcium").word


def test_without_a_band_there_is_no_opinion() -> None:
    """Rubidium."""
    found = of(history(measured("rubidium", 120, 1, sd=5)), "rubidium")
    assert ("no band", None, "good") == (found.word, found.band, found.confidence)


@pytest.mark.parametrize(("days", "word"), [(13.9, "in band"), (14.1, "too old")])
def test_a_value_counts_for_its_shelf_life(days: float, word: str) -> None:
    """Calcium for 14 days from sampling; the figure stays readable."""
    found = of(history(measured("calcium", 425, days)), "calcium")
    assert word == found.word
    assert days == pytest.approx(found.age_days)
    assert 425 == pytest.approx(found.level)
    assert ("none" == found.confidence) == (word == "too old")


def test_salinity_brings_it_to_35_and_both_are_shown() -> None:
    """Calcium 400 in water of 33: as much as 424 at 35."""
    found = of(history(measured("calcium", 400, 1)), "calcium", salinity=33.0)
    assert 400 == pytest.approx(found.level)
    assert 400 * 35 / 33 == pytest.approx(found.level_35)
    assert "in band" == found.word


def test_without_a_salinity_it_is_judged_as_it_is() -> None:
    """And that is said."""
    found = of(history(measured("calcium", 400, 1)), "calcium")
    assert None is found.level_35
    assert "low" == found.word
    assert "salinity is not known, so it is judged as it is" in found.why


def test_nutrients_are_never_brought_to_35() -> None:
    """They do not keep their proportion."""
    found = of(history(measured("nitrate", 5, 1)), "nitrate", salinity=33.0)
    assert None is found.level_35


@pytest.mark.parametrize("parameter", ["alkalinity", "ph", "nitrate", "phosphate"])
def test_a_posted_sample_does_not_decide_what_changes(parameter: str) -> None:
    """The laboratory's figure is there and nobody takes it for the tank's."""
    past = with_report(history(), report(1, {parameter: 5.0}))
    assert "unknown" == of(past, parameter).word


def test_a_fresh_laboratory_result_decides_elements() -> None:
    """A kit of ten mg/L yields to a laboratory of three percent."""
    past = with_report(history(), report(2, {"calcium": 433.0}))
    found = of(past, "calcium")
    assert ("lab", 433.0) == (found.provenance, found.sampled)


def test_home_tests_after_it_are_brought_to_its_scale() -> None:
    """The kit read 20 low beside three samples; today it reads 400."""
    days = (90, 60, 30)
    past = with_report(
        history(
            *(measured("calcium", 410, day) for day in days),
            measured("calcium", 400, 0),
        ),
        *(report(day, {"calcium": 430.0}) for day in days),
    )
    found = of(past, "calcium")
    assert "hand" == found.provenance
    assert 420.0 == pytest.approx(found.sampled)
    assert 420 == pytest.approx(found.level)
    assert "brought to the laboratory's scale" in found.why


def test_a_disputed_difference_is_not_applied() -> None:
    """Eighty mg/L apart: nobody knows who is right."""
    past = with_report(
        history(measured("calcium", 350, 30), measured("calcium", 400, 0)),
        report(30, {"calcium": 450.0}),
    )
    assert 400 == pytest.approx(of(past, "calcium").level)


def test_alkalinity_is_not_brought_to_a_laboratory() -> None:
    """Its sample was in the post."""
    past = with_report(
        history(measured("alkalinity", 8 * DKH, 1)),
        report(1, {"alkalinity": 8.4 * DKH}),
    )
    assert 8 * DKH == pytest.approx(of(past, "alkalinity").level)


def test_the_bias_of_a_kit_is_said() -> None:
    """Ten mg/L on a standard."""
    past = history(
        measured("calcium", 440, 1), standards=(standard("calcium", 400, 410, 9),)
    )
    found = of(past, "calcium")
    assert (430, 10) == (found.sampled, found.bias)
    assert "the bias of the kit is taken off" in found.why


def test_a_young_test_goes_before_an_old_one() -> None:
    """Whatever its error; among the old the younger speaks."""
    young = history(
        measured("calcium", 400, 1), measured("calcium", 430, 15, method="b", sd=1)
    )
    old = history(
        measured("calcium", 400, 16), measured("calcium", 430, 15, method="b", sd=30)
    )
    assert 400 == of(young, "calcium").sampled
    assert 430 == of(old, "calcium").sampled


def test_held_and_outlying_tests_do_not_speak() -> None:
    """The newest one that fits does."""
    tests = [measured("nitrate", 5.0, day) for day in range(8, 0, -1)]
    found = of(history(*tests, measured("nitrate", 50.0, 0)), "nitrate")
    assert 5.0 == found.sampled
    assert 1.0 == pytest.approx(found.age_days)


def test_a_newest_test_that_does_not_fit_stands_beside_the_level() -> None:
    """With its age and a sentence; one that others followed is no news."""
    days = (5, 4, 3, 2, 1)
    tests = [measured("alkalinity", 8.0 * DKH, day) for day in days]
    found = of(history(*tests, measured("alkalinity", 4.0 * DKH, 0.25)), "alkalinity")
    waits = found.waiting
    assert waits is not None
    assert (4.0 * DKH, 0.25) == pytest.approx((waits.value, found.waiting_age_days))
    assert 1.0 == found.age_days
    assert "4.00 dKH of 2026-06-01, stands apart" in " ".join(found.why)
    odd = history(*tests[:4], measured("alkalinity", 4.0 * DKH, 1.5), tests[4])
    assert None is of(odd, "alkalinity").waiting


def test_a_series_in_which_nothing_fits_does_not_speak() -> None:
    """Its only test waits for a retest."""
    made = scene(history(measured("nitrate", 5.0, 1)), "nitrate")
    (series,) = made.series
    held = replace(series, points=(replace(series.points[0], use="held"),))
    assert "unknown" == standing(replace(made, series=(held,))).word


def test_a_censored_result_is_shown_as_half_its_limit() -> None:
    """And said so."""
    found = of(history(measured("nitrate", 0.5, 1, censored=True)), "nitrate")
    assert (0.25, True, "low") == (found.sampled, found.censored, found.word)
    assert "nothing was seen; half of the limit is shown" in found.why


def test_what_was_added_since_is_not_credited_without_an_uptake() -> None:
    """Five days of 4 mg/L potassium a day, and nobody knows what was used."""
    past = history(
        measured("potassium", 400, 5), deliveries=deliveries({"potassium": 4.0}, 5)
    )
    found = of(past, "potassium")
    assert 400 == pytest.approx(found.level)
    assert 10 < (found.level_sd or 0) < 20
    assert any("only widens the error" in one for one in found.why)


def test_a_stated_uptake_carries() -> None:
    """Ten mg/L a day added, eight used: ten more after five days."""
    past = history(
        measured("calcium", 420, 5), deliveries=deliveries({"calcium": 10.0}, 5)
    )
    found = of(past, "calcium", machine(uptake={"calcium": (8.0, 7.0)}))
    assert 430 == pytest.approx(found.level, rel=1e-3)


def test_an_estimated_level_is_taken_where_tests_made_it() -> None:
    """Fifteen tests say more than the last one."""
    past = kept_tank(sd_dkh=0.15)
    made = scene(past, "alkalinity", estimated=True)
    found = standing(made)
    assert made.uptake is not None
    assert (made.uptake.level, made.uptake.level_sd) == (found.level, found.level_sd)
    assert made.uptake.per_day == consumption_of(made).per_day


def test_another_method_has_no_estimate_of_its_own() -> None:
    """A single titration, better than the drops, is carried by itself."""
    past = kept_tank(sd_dkh=0.15)
    titrated = measured("alkalinity", 8.1 * DKH, 0.1, method="titration", sd=0.02 * DKH)
    both = history(*past.measurements, titrated, deliveries=past.deliveries)
    found = standing(scene(both, "alkalinity", estimated=True))
    assert "titration" == found.method
    assert 8.1 * DKH == pytest.approx(found.level, rel=0.01)


@pytest.mark.parametrize(
    ("sd", "word"), [(5.0, "good"), (20.0, "fair"), (40.0, "poor")]
)
def test_confidence_sets_the_error_against_the_band(sd: float, word: str) -> None:
    """Calcium's band is 51 mg/L wide."""
    found = of(history(measured("calcium", 425, 0, sd=sd)), "calcium")
    assert word == found.confidence


def test_a_trend_needs_three_tests() -> None:
    """Two have none."""
    two = [measured("calcium", 420 - 2 * day, day) for day in (9, 5)]
    found = of(history(*two), "calcium")
    assert (None, None) == (found.trend_per_day, found.trend_sd)


def test_a_trend_is_what_the_level_does() -> None:
    """Two mg/L a day up, whatever is dosed; its error by the tests' own where few."""
    tests = [measured("calcium", 420 - 2 * day, day) for day in (9, 5, 1)]
    few = of(history(*tests), "calcium")
    many = of(
        history(*(measured("calcium", 420 - 2 * day, day) for day in range(12))),
        "calcium",
    )
    assert 2 == pytest.approx(few.trend_per_day)
    assert 10 / 32**0.5 == pytest.approx(few.trend_sd, rel=0.3)
    assert 2 == pytest.approx(many.trend_per_day)
    assert (many.trend_sd or 0) < (few.trend_sd or 0)


@pytest.mark.parametrize(
    ("by_hand", "ends"), [(8.3, "is surer"), (10.6, "other: test again")]
)
def test_a_younger_test_that_does_not_speak_is_told(by_hand: float, ends: str) -> None:
    """A kit of half a mg/L of strontium beside a laboratory of five percent."""
    tests = (measured("strontium", 8.0, 10), measured("strontium", by_hand, 0.5))
    past = with_report(history(*tests), report(10, {"strontium": 8.0}))
    found = of(past, "strontium")
    assert "lab" == found.provenance
    (told,) = [why for why in found.why if why.startswith("a younger test by hand")]
    assert f"says {by_hand:.2f} mg/L and counts less" in told
    assert told.endswith(ends)
