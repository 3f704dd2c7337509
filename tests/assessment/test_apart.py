"""Readings of one half hour that contradict each other are no one value.

Three standard deviations of 0.15 dKH, what a drop test at home differs by, are common
practice, no source; the ceiling is 9.5 dKH. As at the gate the highest reading decides.
"""

import pytest

from slackwater.assessment.assess import assess
from slackwater.assessment.evidence import evidence_of
from slackwater.assessment.records import Assessment, Standing
from slackwater.assessment.series import series_of
from slackwater.facts.history import History
from slackwater.facts.proposal import Ground
from slackwater.facts.waters import MeasurementKept
from tests.assessment.past import DKH, NOW, history, measured
from tests.assessment.reefs import change, grounds
from tests.assessment.test_excess import guarded, proposal, sinking

MINUTE = 1 / 1440
ALKALINITY = "alkalinity"


def reads(dkh: float, minutes_ago: float, sd: float | None = None) -> MeasurementKept:
    """Drops read so much, so many minutes ago."""
    return measured(ALKALINITY, dkh * DKH, minutes_ago * MINUTE, sd=sd)


def found_of(past: History) -> Assessment:
    """The assessment of a tank with a ceiling of 9.5 dKH."""
    return assess(past, guarded(), "reef", NOW)


def stands(past: History) -> Standing:
    """Where alkalinity stands."""
    return found_of(past).standings[ALKALINITY]


def held_text(past: History) -> str:
    """What is to be tested again, and why."""
    (told,) = [
        one.text
        for one in found_of(past).advice
        if (one.remedy, one.parameter) == ("retest", ALKALINITY)
    ]
    return told


PAIRS = [
    pytest.param((reads(7.3, 12), reads(11.2, 1)), id="high-last"),
    pytest.param((reads(11.2, 12), reads(7.3, 1)), id="high-first"),
    pytest.param((reads(7.3, 9), reads(11.2, 5), reads(7.35, 1)), id="outvoted"),
]


@pytest.mark.parametrize("tests", PAIRS)
def test_the_highest_of_them_is_the_level(tests: tuple[MeasurementKept, ...]) -> None:
    """No mean of 9.25 below the ceiling, and no older level of 7.3."""
    found = found_of(sinking(*tests))
    alkalinity = found.standings[ALKALINITY]
    assert ("high", "poor") == (alkalinity.word, alkalinity.confidence)
    assert (11.2 * DKH,) * 3 == pytest.approx(
        (alkalinity.above, alkalinity.level, alkalinity.sampled)
    )
    assert 7.3 == pytest.approx((alkalinity.gainsaid_by or 0.0) / DKH, abs=0.3)
    assert "other tests say 7." in alkalinity.why[0]
    assert found.todo[0].startswith("Alkalinity was tested at 11.20 dKH, above 9.50")


@pytest.mark.parametrize("tests", PAIRS)
def test_nothing_raises_it_and_its_line_is_held(
    tests: tuple[MeasurementKept, ...],
) -> None:
    """The tank was low, and its dose would have risen; no ramp down either."""
    told = proposal(found_of(sinking(*tests)))
    line = change(told, ALKALINITY)
    assert ("same", 0) == (line.kind, line.correction_ul)
    assert Ground.ABOVE_BOUND in grounds(told, ALKALINITY)


def test_a_wild_one_moves_the_level_as_much_as_the_word() -> None:
    """17 dKH: the column of now says so too, and how unsure that is."""
    alkalinity = stands(sinking(reads(7.3, 12), reads(17.0, 1)))
    assert 17.0 == pytest.approx((alkalinity.level or 0.0) / DKH)
    assert "high" == alkalinity.word
    assert 4.0 < (alkalinity.level_sd or 0.0) / DKH < 10.0


def test_a_lone_pair_is_shown_by_its_higher_one() -> None:
    """Nothing else is known: as unsure as they are apart, and no uptake."""
    found = found_of(history(reads(7.3, 12), reads(8.3, 1)))
    alkalinity = found.standings[ALKALINITY]
    assert ("in band", "poor") == (alkalinity.word, alkalinity.confidence)
    assert (8.3, 1.0) == pytest.approx(
        ((alkalinity.level or 0.0) / DKH, (alkalinity.level_sd or 0.0) / DKH), rel=0.01
    )
    assert any("contradict each other" in one for one in alkalinity.why)
    assert ALKALINITY not in found.uptakes


def test_below_the_ceiling_too_they_raise_nothing_and_are_told() -> None:
    """7.3 and 8.3 dKH: the tank stands by its older tests, and waits for a retest."""
    past = sinking(reads(7.3, 12), reads(8.3, 1))
    found = found_of(past)
    evidence = evidence_of(found, guarded().tanks["reef"])[ALKALINITY]
    assert found.standings[ALKALINITY].above is None
    assert 7.3 == pytest.approx(
        (found.standings[ALKALINITY].level or 0.0) / DKH, abs=0.3
    )
    assert (Ground.BLOCKED,) == evidence.no_rise
    assert not evidence.enough
    assert "same" == change(proposal(found), ALKALINITY).kind
    assert "contradict each other, 7.30 dKH and 8.30 dKH" in held_text(past)
    assert ["7.30 dKH and 8.30 dKH"] == [
        one.text[one.text.index("7.30") :][:21]
        for one in found.notices
        if one.code == "tests-apart"
    ]


def test_the_next_visit_ends_it() -> None:
    """Half an hour after the pair one test says which; the pair tells no uptake."""
    past = sinking(reads(7.3, 50), reads(11.2, 45), reads(7.3, 1))
    found = found_of(past)
    assert found.standings[ALKALINITY].above is None
    assert not found.is_blocked(ALKALINITY, "rise", "correction")
    used = found.uptakes[ALKALINITY]
    without = found_of(sinking(reads(7.3, 1))).uptakes[ALKALINITY]
    assert (without.tests, without.per_day) == (used.tests, used.per_day)


def test_a_high_one_of_a_visit_before_does_not_count() -> None:
    """As at the gate: 11.2 dKH fifty minutes ago, then two tests that say 7.3."""
    past = sinking(reads(11.2, 50), reads(7.3, 25), reads(7.3, 1))
    assert stands(past).above is None


@pytest.mark.parametrize(("second", "above"), [(9.6, 9.6), (9.45, None)])
def test_each_of_two_that_agree_is_held_against_the_ceiling(
    second: float, above: float | None
) -> None:
    """9.3 and 9.6 are one test of 9.45; the gate looks at 9.6 alone, as this does."""
    tests = [measured(ALKALINITY, 9.4 * DKH, day) for day in range(9, 0, -1)]
    found = stands(history(*tests, reads(9.3, 12), reads(second, 1)))
    assert above == (None if found.above is None else pytest.approx(found.above / DKH))
    assert 9.4 == pytest.approx((found.level or 0.0) / DKH, abs=0.1)


def test_a_single_test_that_nothing_fits_is_the_level_too() -> None:
    """11 dKH after a month that says 7.3: now is not 7.3 beside the word high."""
    alkalinity = stands(sinking(measured(ALKALINITY, 11.0 * DKH, 0.5)))
    assert 11.0 == pytest.approx((alkalinity.level or 0.0) / DKH)
    assert "poor" == alkalinity.confidence


def test_a_test_that_fits_leaves_the_level_to_all_tests() -> None:
    """Ten days at 10 dKH: the estimate stands, and the plan is led down as ever."""
    tests = [measured(ALKALINITY, 10.0 * DKH, day) for day in range(10)]
    alkalinity = stands(history(*tests))
    assert alkalinity.gainsaid_by is None
    assert "good" == alkalinity.confidence


def test_calcium_that_was_tested_too_high_gets_no_dose() -> None:
    """No gate knows calcium by tests, so the proposal itself gives none."""
    low = [measured("calcium", 400.0, day) for day in (21, 14, 7)]
    past = history(*low, measured("calcium", 560.0, 0.01))
    found = found_of(past)
    assert 560.0 == pytest.approx(found.standings["calcium"].level)
    assert found.is_blocked("calcium", "dose")


def test_an_unsure_kit_may_differ_more() -> None:
    """A stated error of 1 dKH: two readings 2.5 apart are one test of their mean."""
    pair = reads(7.0, 12, sd=DKH), reads(9.5, 1, sd=DKH)
    (series,) = series_of(history(*pair), ALKALINITY, NOW)
    (point,) = series.points
    assert 8.25 * DKH == pytest.approx(point.value)
    assert not point.apart
    assert [7.0, 9.5] == pytest.approx([one.value / DKH for one in point.singles])


def test_a_limit_contradicts_nothing() -> None:
    """Nothing seen below 0.02, and 0.3 read."""
    limit = measured("phosphate", 0.02, 12 * MINUTE, censored=True)
    seen = measured("phosphate", 0.3, MINUTE)
    (series,) = series_of(history(limit, seen), "phosphate", NOW)
    (point,) = series.points
    assert not point.apart
