"""A kit beside a laboratory: brought to its scale only by what pairs of tests prove.

The errors are those of the tables of practice: calcium at home 10 mg/L, a laboratory
3 %; strontium at home 0.5 mg/L, a laboratory 5 %. All levels are invented.
"""

import math
from dataclasses import replace

import pytest

from slackwater.assessment.agreement import agreements
from slackwater.assessment.assess import assess
from slackwater.assessment.carrying import Carried, Consumption, carried
from slackwater.assessment.evidence import evidence_of
from slackwater.assessment.inflow import Inflow, day_of
from slackwater.assessment.records import Standing
from slackwater.assessment.series import series_of
from slackwater.assessment.wants import Given, correction
from slackwater.facts.history import History
from slackwater.facts.proposal import Ground
from slackwater.facts.tank import Machine
from slackwater.water.limits import limits_of
from tests.assessment.past import (
    NOW,
    ago,
    history,
    machine,
    measured,
    report,
    standard,
    with_report,
)

DROPS = ("drops", "")
TODAY = measured("calcium", 409.0, 0.0)
YESTERDAY = measured("calcium", 412.0, 1.0)
SAMPLE = report(3.0, {"calcium": 405.0})
STATED = {"calcium": (7.0, 5.0)}


def made(uptake: dict[str, tuple[float, float]] | None = None) -> Machine:
    """A tank that should be at 425 mg/L."""
    return machine(targets={"calcium": 425.0}, uptake=uptake)


def calcium(past: History, made: Machine) -> Standing:
    """Where calcium stands."""
    return assess(past, made, "reef", NOW).standings["calcium"]


@pytest.mark.parametrize("uptake", [None, STATED])
@pytest.mark.parametrize("known_days", [1.0, 10.0])
def test_two_fresh_tests_are_not_moved_by_a_sample_that_agrees(
    known_days: float, uptake: dict[str, tuple[float, float]] | None
) -> None:
    """405, then 412 and 409: whatever is used up, no test says less than 401."""
    past = with_report(history(TODAY, YESTERDAY), SAMPLE)
    past = replace(past, known_since=ago(known_days))
    found = calcium(past, made(uptake))
    alone = calcium(
        history(TODAY, YESTERDAY, known_since=ago(known_days)), made(uptake)
    )

    assert ("hand", "in band", 0.0) == (found.provenance, found.word, found.bias)
    assert 409.0 == found.sampled
    assert (alone.level, alone.level_sd) == (found.level, found.level_sd)


def test_nothing_is_corrected_for_a_bias_that_nobody_proved() -> None:
    """The tank is 18 mg/L from its target, give or take 8, and not 37."""
    past = with_report(history(TODAY, YESTERDAY), SAMPLE)
    tank = made().tanks["reef"]
    found = assess(replace(past, known_since=ago(1.0)), made(), "reef", NOW)
    evidence = evidence_of(found, tank)["calcium"]
    told = correction(evidence, limits_of("calcium", 425.0), Given(dose=5.0, most=15.0))

    assert 15.0 < told.per_day * told.days < 20.0
    assert Ground.CORRECTION_UP in {one.ground for one in told.grounds}


def test_a_difference_within_its_own_error_moves_nothing() -> None:
    """Twenty mg/L in one pair that is good to sixteen; in four it is proven."""
    days = (60, 45, 30, 15)
    homes = [measured("calcium", 400.0, day) for day in days]
    reports = [report(day, {"calcium": 430.0}) for day in days]
    newest = measured("calcium", 400.0, 0)
    one = with_report(history(homes[-1], newest), report(15, {"calcium": 420.0}))
    four = with_report(history(*homes, newest), *reports)

    assert (0.0, 400.0) == (calcium(one, made()).bias, calcium(one, made()).sampled)
    assert (-30.0, 430.0) == pytest.approx(
        (calcium(four, made()).bias, calcium(four, made()).sampled)
    )


def running(use: Consumption, inflow: Inflow | None = None) -> tuple[int, float, float]:
    """How many pairs tell of the kit, what they say, and the error of that."""
    past = with_report(
        history(measured("calcium", 400.0, 8)), report(6, {"calcium": 420.0})
    )
    found = agreements(
        series_of(past, "calcium", NOW),
        past,
        inflow or Inflow(parameter="calcium"),
        use,
    ).get(DROPS)
    return (
        (0, 0.0, 0.0)
        if found is None
        else (
            len(found.pairs),
            found.running,
            found.sd,
        )
    )


@pytest.mark.parametrize(
    ("sd", "pairs"), [(0.0, 1), (2.0, 1), (3.5, 1), (5.0, 0), (10.0, 0)]
)
def test_what_the_water_did_in_between_must_be_known(sd: float, pairs: int) -> None:
    """Two days at an uptake that is known to 3.5 mg/L a day, or not even to that."""
    count, _, _ = running(Consumption(per_day=5.0, sd=sd))
    assert pairs == count


def test_days_without_a_known_uptake_tell_no_bias() -> None:
    """Calcium may have fallen by anything up to 14 mg/L a day."""
    assert 0 == running(Consumption())[0]


def test_days_of_which_nobody_told_the_doses_tell_no_bias() -> None:
    """Five mg/L a day were used up; whether they were replaced is not known."""
    sure = Consumption(per_day=8.0, sd=0.5)
    untold = Inflow(parameter="calcium", known_from=day_of(NOW))
    assert 1 == running(sure)[0]
    assert 0 == running(sure, untold)[0]


def test_what_all_pairs_share_is_not_averaged_away() -> None:
    """Three pairs two days apart: an uptake that is wrong by 3 is wrong in each."""
    days = (6, 16, 26)
    past = with_report(
        history(*(measured("calcium", 400.0, day + 2) for day in days)),
        *(report(day, {"calcium": 420.0}) for day in days),
    )
    series = series_of(past, "calcium", NOW)
    plain = Inflow(parameter="calcium")
    sure, unsure = (
        agreements(series, past, plain, Consumption(per_day=5.0, sd=sd))[DROPS]
        for sd in (0.0, 3.0)
    )
    assert 6.0 == pytest.approx((unsure.sd**2 - sure.sd**2) ** 0.5)


TESTED = Carried(level=405.0, sd=12.0, day=100.0)
USED = Consumption(per_day=7.0, sd=1.2)


def test_a_level_does_not_fall_where_nobody_told_what_was_dosed() -> None:
    """Between nothing and twice of what is used up came in, each as likely."""
    plain = Inflow(parameter="calcium")
    told = carried(TESTED, 103.0, plain, USED)
    untold = carried(TESTED, 103.0, replace(plain, known_from=110.0), USED)
    partly = carried(TESTED, 103.0, replace(plain, known_from=102.0), USED)

    assert (384.0, 405.0, 398.0) == pytest.approx(
        (told.level, untold.level, partly.level)
    )
    assert (21.0 / 3**0.5) ** 2 == pytest.approx(untold.sd**2 - told.sd**2)
    assert (14.0 / 3**0.5) ** 2 == pytest.approx(partly.sd**2 - told.sd**2)


def test_what_is_known_to_have_come_in_counts_where_more_may_have() -> None:
    """Ten mg/L a day from a source, of which seven are used up: three rise."""
    brings = Inflow(parameter="calcium", outside_per_day=10.0, known_from=110.0)
    found = carried(TESTED, 103.0, brings, USED)
    assert 414.0 == pytest.approx(found.level)
    assert found.sd == pytest.approx(
        carried(TESTED, 103.0, replace(brings, known_from=0.0), USED).sd
    )


def test_a_lone_report_is_not_carried_down_by_a_stated_uptake() -> None:
    """Sampled three days ago, and nothing is known of what was dosed since."""
    past = replace(with_report(history(), SAMPLE), known_since=NOW)
    found = calcium(past, made(STATED))
    assert ("lab", "in band") == (found.provenance, found.word)
    assert 405.0 == pytest.approx(found.level)
    told = "nobody told what was dosed: what is used up only widens the error"
    assert told in found.why
    dosed = replace(past, known_since=ago(4.0))
    assert told not in calcium(dosed, made(STATED)).why


def strontium(*home: tuple[float, float]) -> str:
    """What is said of the youngest kit beside the report of ten days ago."""
    past = with_report(
        history(*(measured("strontium", level, day) for day, level in home)),
        *(report(day, {"strontium": 8.0}) for day in (70, 40, 10)),
    )
    found = assess(past, machine(), "reef", NOW).standings["strontium"]
    assert "lab" == found.provenance
    (told,) = [one for one in found.why if one.startswith("a younger test by hand")]
    return told


def test_a_younger_test_is_quoted_as_it_was_read() -> None:
    """It showed 8.3 mg/L, and nothing was proven of its kit."""
    told = strontium((0.5, 8.3))
    assert "says 8.30 mg/L and counts less" in told


def test_a_younger_test_that_is_brought_to_a_scale_is_quoted_with_both() -> None:
    """Three times it read 1 mg/L low: 7.3 was read, and 8.3 is meant by that."""
    told = strontium((70, 7.0), (40, 7.0), (10, 7.0), (0.5, 7.3))
    assert "says 7.30 mg/L, on the laboratory's scale 8.30 mg/L, and counts" in told


def tried(times: int) -> tuple[Standing, tuple[Ground, ...]]:
    """Calcium read at 422 by a kit that showed 440 in a standard of 420 so often."""
    reef = machine(targets={"calcium": 420.0})
    checks = tuple(standard("calcium", 420, 440, 9 + n / 24) for n in range(times))
    past = history(measured("calcium", 422.0, 0.0), standards=checks)
    found = assess(past, reef, "reef", NOW)
    evidence = evidence_of(found, reef.tanks["reef"])["calcium"]
    told = correction(evidence, limits_of("calcium", 420.0), Given(dose=0.0, most=15.0))
    grounds = tuple(one.ground for one in told.grounds)
    return found.standings["calcium"], grounds


def test_a_level_is_no_surer_than_the_bias_that_was_taken_off_it() -> None:
    """18 mg/L too little, known to 14 by one trial: no change beyond its uncertainty.

    Two independent errors of 10 mg/L add up in squares (JCGM 100:2008, 5.1.2).
    """
    found, grounds = tried(1)
    assert 402.0 == pytest.approx(found.level)
    assert math.hypot(10.0, 10.0) == pytest.approx(found.level_sd)
    assert (Ground.WITHIN_ERROR,) == grounds


def test_a_bias_that_was_tried_often_is_known() -> None:
    """Nine trials tell it to 3.3 mg/L: now 18 are more than 1.5 errors."""
    found, grounds = tried(9)
    assert math.hypot(10.0, 10.0 / 3) == pytest.approx(found.level_sd)
    assert Ground.CORRECTION_UP in grounds
