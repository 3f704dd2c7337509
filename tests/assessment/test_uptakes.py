"""Uptake from tests and deliveries: worked examples, oracles and refusals."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from random import Random
from statistics import fmean

import numpy as np
import pytest
from scipy import stats

from slackwater.assessment.cleaning import cleaned, fallen
from slackwater.assessment.inflow import day_of, inflows
from slackwater.assessment.records import UptakeFound
from slackwater.assessment.series import series_of
from slackwater.assessment.uptakes import Evidence, marked, uptake_found
from slackwater.facts.history import Gap, History
from slackwater.facts.tank import Machine
from tests.assessment.past import (
    DKH,
    NOW,
    ago,
    change,
    deliveries,
    history,
    kept_tank,
    level_after,
    machine,
    measured,
    pico,
)


def found_in(
    past: History, parameter: str = "alkalinity", made: Machine | None = None
) -> UptakeFound | None:
    """The uptake of a parameter in a past."""
    made = made or machine()
    inflow = inflows(past, made, [parameter], since=past.since, now=NOW)[parameter]
    series = [cleaned(one, inflow) for one in series_of(past, parameter, NOW)]
    evidence = Evidence(history=past, machine=made, inflow=inflow, now=NOW)
    return uptake_found(series, evidence)


def at_the_mean(found: UptakeFound, past: History) -> tuple[float, float]:
    """The uptake at the mean level of the tests that fit, with its error."""
    fitting = [one.value for one in past.measurements if one.value < 9.5 * DKH]
    share = (fmean(fitting) - 3 * DKH) / (5.2 * DKH)
    return (found.at_target_per_day or 0.0) * share, found.at_target_sd * share


def surely(found: UptakeFound | None) -> UptakeFound:
    """An uptake that must be there."""
    assert found is not None
    return found


def example(
    days: Sequence[float],
    levels: Sequence[float],
    per_day: Sequence[tuple[float, float]],
) -> History:
    """A worked example: tests in dKH, the dose from each day on; the last test now."""
    last = days[-1]
    tests = [
        measured("alkalinity", level * DKH, last - day)
        for day, level in zip(days, levels, strict=True)
    ]
    base = deliveries({"alkalinity": DKH}, last)
    doses = []
    for one in base:
        day = last - (NOW - one.at) / timedelta(days=1)
        rate = next(rate for begin, rate in reversed(per_day) if day >= begin - 1e-9)
        doses.append(
            replace(one, amounts={"alkalinity": pico("alkalinity", rate * DKH / 24)})
        )
    return history(*tests, deliveries=tuple(doses))


# Worked examples, OLS and Theil-Sen computed with scipy: levels in dKH at a constant
# dose, after a change of the dose, and with one gross outlier.
CONSTANT = example(
    [0.0, 0.9, 2.0, 3.1, 4.0, 5.0, 6.2, 7.0, 8.1],
    [8.13, 7.95, 7.91, 7.71, 7.62, 7.56, 7.31, 7.28, 7.1],
    [(0, 1.2)],
)
STEP = example(
    [0.0, 1.0, 2.1, 3.0, 4.0, 5.2, 6.0, 7.1, 8.0, 9.0],
    [7.6, 7.38, 7.19, 6.92, 6.75, 6.9, 6.96, 7.1, 7.14, 7.31],
    [(0, 0.9), (4, 1.25)],
)
OUTLIER = example(
    [0.0, 1.2, 1.9, 3.3, 4.1, 5.0, 6.6, 7.4, 8.8, 10.0],
    [8.9, 8.7, 8.8, 8.5, 8.4, 9.9, 8.1, 8.1, 7.8, 7.7],
    [(0, 0.55)],
)


@pytest.mark.parametrize(
    ("past", "theil_sen", "truth"),
    [
        (CONSTANT, 1.3217143, 1.3227468),
        (STEP, 1.1290323, 1.1296457),
        (OUTLIER, 0.67, 0.6685081),
    ],
    ids=["constant dose", "dose step", "outlier"],
)
def test_worked_examples_are_met(past: History, theil_sen: float, truth: float) -> None:
    """The second estimate to rounding of hours, the first within its own error.

    The line knows no level: it has the uptake at the mean of the tests.
    """
    found = surely(found_in(past))
    assert found.check_per_day is not None
    assert theil_sen * DKH == pytest.approx(found.check_per_day, abs=0.004 * DKH)
    per_day, sd = at_the_mean(found, past)
    assert truth * DKH == pytest.approx(per_day, abs=1.645 * sd)


def test_the_outlier_of_the_example_is_not_used() -> None:
    """The sixth test, 9.9 dKH."""
    inflow = inflows(OUTLIER, machine(), ["alkalinity"], since=ago(30), now=NOW)
    (series,) = series_of(OUTLIER, "alkalinity", NOW)
    marks = [point.use for point in cleaned(series, inflow["alkalinity"]).points]
    assert ["outlier"] == [use for use in marks if use != "used"]
    assert "outlier" == marks[5]


def test_a_steady_tank_agrees_with_least_squares() -> None:
    """Daily tests: close to scipy's line, well inside its own interval."""
    past = kept_tank(1.5, 1.2, days=20, every=1.0, sd_dkh=0.1)
    inflow = inflows(past, machine(), ["alkalinity"], since=ago(40), now=NOW)
    (series,) = series_of(past, "alkalinity", NOW)
    less = fallen(series.points, inflow["alkalinity"])
    line = stats.linregress([one.day for one in less], [one.value for one in less])
    found = surely(found_in(past))
    per_day, sd = at_the_mean(found, past)
    assert -line.slope == pytest.approx(per_day, abs=1.645 * sd)
    assert found.at_target_per_day is not None
    assert 1.5 * DKH == pytest.approx(
        found.at_target_per_day, abs=2 * found.at_target_sd
    )
    assert found.enough


def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    """A hundred invented tanks, two tests a week: 90 % within a few."""
    held = 0
    for seed in range(100):
        past = kept_tank(1.3, 1.2, days=42, every=3.5, sd_dkh=0.15, seed=seed)
        found = surely(found_in(past))
        truth = 1.3 * (level_after(42, 1.3, 1.2) - 3) / 5.2
        held += abs(found.per_day - truth * DKH) <= 1.645 * found.sd_per_day
    assert 84 <= held <= 100


def test_what_is_poured_in_by_the_hour_is_the_input() -> None:
    """Uptake is what is delivered, when the level does not move."""
    found = surely(found_in(kept_tank(1.2, 1.2)))
    assert 1.2 * DKH == pytest.approx(found.delivered_per_day, rel=0.01)
    assert 1.2 * DKH == pytest.approx(found.per_day, abs=2 * found.sd_per_day)
    assert 8.2 * DKH == pytest.approx(found.level, abs=3 * found.level_sd)


@pytest.mark.parametrize("declared", [None, 0.0, 0.4])
def test_without_a_declared_source_it_is_a_net_balance(declared: float | None) -> None:
    """A source that is declared, even as nothing, makes it an uptake."""
    made = machine(outside=None if declared is None else {"alkalinity": declared * DKH})
    found = surely(found_in(kept_tank(1.2, 1.2), made=made))
    assert (declared is None) == found.is_net_balance
    expected = (1.2 + (declared or 0.0)) * DKH
    assert expected == pytest.approx(found.per_day, abs=2 * found.sd_per_day)


def test_two_tests_far_apart_are_enough() -> None:
    """Fourteen days tell more than five tests in four days."""
    past = history(
        measured("alkalinity", 8.0 * DKH, 14),
        measured("alkalinity", 7.8 * DKH, 0),
        deliveries=deliveries({"alkalinity": 1.2 * DKH}, 15),
    )
    found = surely(found_in(past))
    assert (1.2 + 0.2 / 14) * DKH == pytest.approx(found.per_day, rel=0.05)
    assert found.enough
    assert found.falls


def test_tests_of_three_days_are_not() -> None:
    """However many they are."""
    found = surely(found_in(kept_tank(days=3, every=0.5, sd_dkh=0.02)))
    assert not found.enough
    assert "its tests span 3 days, less than 4" in found.why_not


def test_noisy_tests_are_not() -> None:
    """A kit that scatters by two degrees, whatever it claims."""
    tests = [
        measured("alkalinity", (8.0 + 2 * (back % 2)) * DKH, back)
        for back in range(6, -1, -1)
    ]
    past = history(*tests, deliveries=deliveries({"alkalinity": 1.2 * DKH}, 7))
    assert "its interval is too wide" in surely(found_in(past)).why_not


def test_one_test_says_nothing() -> None:
    """Nor do tests of another parameter."""
    past = history(measured("alkalinity", 8 * DKH, 1))
    assert None is found_in(past)
    assert None is found_in(past, "calcium")


@pytest.mark.parametrize(("share", "enough"), [(0.04, True), (0.06, False)])
def test_unknown_volume_disqualifies(share: float, enough: bool) -> None:
    """Above 5 % of what was asked, nobody knows what flowed."""
    past = replace(kept_tank(), unknown_share={"alkalinity": share})
    assert enough == surely(found_in(past)).enough


def test_a_gap_begins_the_series_anew() -> None:
    """Tests before six hours without a record do not count; a restart is no gap."""
    long = Gap(begins=ago(10.25), ends=ago(10))
    short = Gap(begins=ago(4.01), ends=ago(4))
    past = replace(kept_tank(), gaps=(long, short))
    assert 10 == surely(found_in(past)).span_days


def test_a_gap_means_nothing_where_nothing_is_dosed() -> None:
    """The tests of an undosed tank stand."""
    past = replace(
        kept_tank(0.3, 0.0), deliveries=(), gaps=(Gap(begins=ago(11), ends=ago(10)),)
    )
    assert 28 == surely(found_in(past)).span_days


def test_only_the_last_sixty_days_speak() -> None:
    """Of a hundred days of tests."""
    assert 60 == surely(found_in(kept_tank(days=100))).span_days


def test_methods_are_not_mixed() -> None:
    """A second kit that reads 0.5 dKH higher makes no uptake."""
    past = kept_tank(days=28)
    other = [
        replace(one, id=f"{one.id}-b", method="titration", value=one.value + 0.5 * DKH)
        for one in past.measurements[-3:]
    ]
    both = history(*past.measurements, *other, deliveries=past.deliveries)
    found = surely(found_in(both))
    assert "drops" == found.method
    assert surely(found_in(past)).per_day == found.per_day


def test_a_test_that_does_not_fit_is_held() -> None:
    """The newest one, 1.5 dKH off: the uptake stays what it was."""
    past = kept_tank()
    odd = replace(past.measurements[-1], value=9.6 * DKH)
    found = surely(found_in(replace(past, measurements=(*past.measurements[:-1], odd))))
    assert [9.6 * DKH] == [point.value for point in found.held]
    assert "the newest test does not fit and waits for a retest" in found.why_not
    assert 1.2 * DKH == pytest.approx(found.per_day, abs=0.2 * DKH)


def test_two_tests_cannot_gainsay_each_other() -> None:
    """Four degrees in half a day: nobody knows which is wrong, and no span."""
    past = history(
        measured("alkalinity", 8 * DKH, 0.5), measured("alkalinity", 12 * DKH, 0)
    )
    found = surely(found_in(past))
    assert (2, 0.5, 0.0) == (found.tests, found.span_days, found.delivered_per_day)
    assert not found.enough


def test_a_retest_that_says_the_same_is_accepted() -> None:
    """Both move the level, and the uptake is less certain than before."""
    past = kept_tank()
    odd = [
        measured("alkalinity", 6.6 * DKH, 0.4, id="odd"),
        measured("alkalinity", 6.6 * DKH, 0.2, id="again"),
    ]
    both = history(*past.measurements[:-1], *odd, deliveries=past.deliveries)
    found = surely(found_in(both))
    assert () == found.held
    assert 6.7 * DKH == pytest.approx(found.level, abs=0.3 * DKH)
    assert surely(found_in(past)).sd_per_day < found.sd_per_day


def test_marks_follow_the_estimate() -> None:
    """Held and followed by others: an outlier; the newest: held; accepted: used."""
    past = kept_tank()
    inflow = inflows(past, machine(), ["alkalinity"], since=ago(40), now=NOW)
    (series,) = series_of(past, "alkalinity", NOW)
    found = surely(found_in(past))
    other = replace(series, method="titration")
    points = series.points
    odd = replace(found, held=(points[3], points[-1]))
    doubted = replace(series, points=(*points[:-1], replace(points[-1], use="held")))
    first, second = marked([series, other], odd)
    assert ("outlier", "held") == (first.points[3].use, first.points[-1].use)
    assert other is second
    assert "used" == marked([doubted], found)[0].points[-1].use
    assert inflow


def test_a_tested_water_change_is_no_uptake() -> None:
    """A quarter of the water at 12 dKH, into a tank that is fed what it uses."""
    chance = Random(9)  # noqa: S311 -- a simulation, no secret
    tests = [
        measured(
            "alkalinity",
            ((8.0 if back > 10 else 9.0) + chance.gauss(0, 0.05)) * DKH,
            back,
        )
        for back in np.arange(20, -1, -2, dtype=float)
    ]
    doses = deliveries({"alkalinity": 1.2 * DKH}, 21)
    tested = change(11, 75, {"alkalinity": 12 * DKH})
    found = surely(found_in(history(*tests, deliveries=doses, changes=(tested,))))
    assert 1.2 * DKH == pytest.approx(found.per_day, abs=0.06 * DKH)
    assert () == found.held


def test_an_untested_water_change_widens_the_interval() -> None:
    """Nobody knows what it did to the level."""
    past = kept_tank(days=12, every=4.0)
    changed = replace(past, changes=(change(1, 90),))
    assert surely(found_in(past)).sd_per_day < surely(found_in(changed)).sd_per_day


def test_an_undosed_tank_has_an_uptake_too() -> None:
    """Magnesium that falls by 2 mg/L a day, titrated well."""
    past = history(
        *(
            measured("magnesium", 1400 - 2.0 * (40 - back), back, sd=7.0)
            for back in range(40, -1, -5)
        )
    )
    found = surely(found_in(past, "magnesium"))
    assert 2.0 == pytest.approx(found.per_day, abs=2 * found.sd_per_day)
    assert found.falls


def test_a_stated_uptake_widens_what_is_thought_possible() -> None:
    """A dose of nearly nothing in a tank that uses 3 dKH: three tests suffice."""
    past = history(
        *(
            measured("alkalinity", level_after(2 - back, 3, 0.1) * DKH, back)
            for back in (2, 1, 0)
        ),
        deliveries=deliveries({"alkalinity": 0.1 * DKH}, 3),
    )
    made = machine(uptake={"alkalinity": (3 * DKH, 2 * DKH)})
    found = surely(found_in(past, made=made))
    assert found.at_target_per_day is not None
    assert 3 * DKH == pytest.approx(found.at_target_per_day, rel=0.05)


def test_an_uptake_known_to_a_twentieth_of_a_degree_is_enough() -> None:
    """Nothing is used up, and that is well known: 15 % of nothing is not asked for."""
    past = kept_tank(0.0, 0.0, days=40, every=2.0, sd_dkh=0.05)
    made = machine(uptake={"alkalinity": (0.1 * DKH, 0.0)})
    found = surely(found_in(replace(past, deliveries=()), made=made))
    assert 0 == pytest.approx(found.per_day, abs=0.05 * DKH)
    assert not found.falls
    assert found.enough
    assert day_of(found.at) == day_of(NOW)
