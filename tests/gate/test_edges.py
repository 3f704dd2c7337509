"""What the gate says at the very amounts and moments where its word changes.

Every figure of a reason is worked by hand from what the test puts in; limits are common
practice, no source.
"""

import random
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from math import hypot, inf, sqrt

import pytest

from slackwater.facts.reasons import Code, Reason
from slackwater.facts.safeguards import BypassGranted
from slackwater.facts.tank import Outside
from slackwater.gate.alkalinity import falls, frozen, hourly_medians
from slackwater.gate.by_hand import over_hand_cap
from slackwater.gate.caps import over_caps
from slackwater.gate.drift import ratio_sd
from slackwater.gate.interlocks import may_go_on, refusals
from slackwater.gate.moment import Moment
from slackwater.gate.shortening import share_of
from slackwater.gate.swings.limits import CYCLE_UNKNOWN
from slackwater.gate.swings.usual import Usual, usual_of
from slackwater.gate.swings.verdicts import DoseFault, ProbeFault, Swing
from slackwater.gate.swings.votes import Point, judged
from slackwater.gate.verdict import Refused, may_dose
from slackwater.gate.watches import refusing
from tests.gate.scene import (
    CARBONATE_PEQ_PER_UL,
    GUARD,
    NOW,
    PROBE,
    TODAY,
    ask,
    dkh,
    dkh_peq,
    machine,
    moment,
)
from tests.gate.test_alkalinity import (
    SPARE,
    at_ages,
    thrice,
    water_doubts,
    with_probes,
)
from tests.gate.test_circumstances import counted, limewater
from tests.gate.test_climate import hand_test, salty
from tests.gate.test_drift import weeks
from tests.gate.test_shortening import with_uptake
from tests.gate.watched import HOUR, MINUTE, Watched, watched_machine


def the(code: Code, reasons: Sequence[Reason]) -> Reason:
    """The one reason of this code."""
    (found,) = (reason for reason in reasons if reason.code is code)
    return found


def hand_capped(per_hand_ul: int) -> Moment:
    """The scene with a ceiling of what is given by hand."""
    used = machine()
    pump = replace(used.pumps["carbonate"], per_hand_ul=per_hand_ul)
    return moment(replace(used, pumps={**used.pumps, "carbonate": pump}))


@pytest.mark.parametrize(
    ("volume_ul", "is_over"), [(500, False), (501, True), (1, False), (0, True)]
)
def test_by_hand_the_first_dose_is_held_to_its_ceiling(
    volume_ul: int, is_over: bool
) -> None:
    """Nothing was given by hand before; no volume is no dose."""
    at = hand_capped(500)
    reasons = list(over_hand_cap(at, ask(at), volume_ul))
    assert is_over == bool(reasons)
    figures = {"charged_ul": 0, "asked_ul": volume_ul, "cap_ul": 500}
    assert all(figures == dict(reason.figures) for reason in reasons)


def test_sources_outside_take_their_part_of_the_net_rise() -> None:
    """0.5 dKH a day and the surely used 1.2, less 1.0 that comes by itself."""
    used = machine()
    pump = replace(used.pumps["carbonate"], per_dose_ul=60_000)
    lime = Outside(id="lime", tank="reef", parameter="alkalinity", per_day=dkh_peq(1.0))
    at = moment(replace(used, pumps={**used.pumps, "carbonate": pump}, outside=(lime,)))
    room = dkh_peq(0.5) + dkh_peq(1.2) - dkh_peq(1.0)
    most_ul = room // CARBONATE_PEQ_PER_UL
    assert [] == over_caps(at, ask(at), most_ul, TODAY)
    reason = the(Code.CAP_NET, over_caps(at, ask(at), most_ul + 1, TODAY))
    rise = (most_ul + 1) * CARBONATE_PEQ_PER_UL + dkh_peq(1.0) - dkh_peq(1.2)
    assert rise == reason.figures["rise"]


@pytest.mark.parametrize(("censored", "tested"), [(False, 0.457), (True, 0.0)])
def test_too_little_nitrate_is_told_as_it_was_tested(
    censored: bool, tested: float
) -> None:
    """To three digits; what was not seen is nothing."""
    water = Watched(watched_machine())
    water.write(hand_test(water, "nitrate", 0.4567, censored=censored))
    reason = the(Code.NUTRIENTS_LOW, water.reasons("food"))
    figures = {"parameter": "nitrate", "tested": tested, "least": 1.0}
    assert figures == dict(reason.figures)


def test_of_two_tests_that_are_too_high_the_higher_is_told() -> None:
    """10.2 and 9.9 dKH within one visit, to three digits in meq/L."""
    water = Watched(watched_machine())
    for value in (10.2, 9.9):
        water.write(hand_test(water, "alkalinity", dkh(value)))
    reason = the(Code.ALKALINITY_TEST, water.reasons("soda"))
    assert round(dkh(10.2), 3) == reason.figures["tested_meq_per_l"]
    assert round(dkh(9.7), 3) == reason.figures["ceiling_meq_per_l"]


def test_salinity_is_told_to_two_digits() -> None:
    """34.123 are 1.123 off the target of 33."""
    water = salty(33.0)
    water.pass_time(MINUTE)
    water.read("salt", 34.123)
    figures = water.raised[-1].reason.figures
    assert (34.12, 1.12) == (figures["salinity"], figures["off"])


@pytest.mark.parametrize("field", ["believed_ul", "runs"])
def test_levels_between_which_nothing_ran_say_nothing(field: str) -> None:
    """Neither without a volume nor without a run."""
    (one,) = weeks(1.0)
    assert 0 < ratio_sd(one) < inf
    assert inf == ratio_sd(replace(one, **{field: 0}))  # type: ignore[arg-type]  # a number each


def test_two_probes_are_told_with_how_far_they_are_apart() -> None:
    """8.0 and 8.6 dKH, in meq/L to three digits, the lower one first."""
    at = with_probes(PROBE, SPARE)
    for name, value in (("kh", 8.6), ("spare", 8.0)):
        ages = [(float(age), value + age % 2 / 50) for age in range(0, 90, 15)]
        at.sight.readings[name] = at_ages(*ages, probe=name)
    figures = the(Code.ALKALINITY_SPREAD, water_doubts(at, "reef")).figures
    expected = {
        "probes": "spare, kh",
        "apart_meq_per_l": round(dkh(8.6) - dkh(8.0), 3),
        "limit_meq_per_l": round(dkh(0.5), 3),
    }
    assert expected == dict(figures)


def test_an_hour_of_two_readings_takes_the_one_before_it_too() -> None:
    """8.0 and 8.2 with the 9.0 of before, not with the 7.0 that came after."""
    first = ((5, 7.0), (20, 7.0), (40, 7.0))
    series = at_ages(*first, (70, 8.0), (75, 8.2), (200, 9.0))
    expected = [dkh(value) for value in (7.0, 8.2, 8.2)]
    assert pytest.approx(expected) == hourly_medians(series, NOW)


@pytest.mark.parametrize(
    ("beats", "up_ms", "is_settling"),
    [(3, 60_000, False), (2, 60_000, True), (3, 59_999, True)],
)
def test_a_node_has_settled_with_three_beats_and_a_minute(
    beats: int, up_ms: int, is_settling: bool
) -> None:
    """Both limits themselves are enough."""
    at = moment()
    seen = at.sight.nodes["shelf"]
    seen.beats, seen.beat = beats, replace(seen.beat, up=up_ms)
    reasons = refusals(at, ask(at))
    codes = [reason.code for reason in reasons]
    assert is_settling == (Code.NODE_SETTLING in codes)
    figures = {"node": "shelf", "beats": beats, "up_s": up_ms // 1000}
    assert all(
        figures == dict(reason.figures)
        for reason in reasons
        if reason.code is Code.NODE_SETTLING
    )


def test_a_silent_probe_is_told_with_its_age_in_minutes() -> None:
    """Two hours and five minutes."""
    water = Watched(watched_machine("warm"))
    water.pass_time(2 * HOUR + 5 * MINUTE + timedelta(seconds=59))
    reasons = share_of(water.at, water.asked("raise")).reasons
    assert 125 == the(Code.PROBE_STALE, reasons).figures["age_min"]


def test_a_share_too_small_for_a_dose_is_told_in_percent() -> None:
    """0.1 dKH of 1.27 a day are 7 %: 157 µL of 2000, where 300 are the least."""
    at = with_uptake(estimate=1.0, low=0.1)
    refused = may_dose(at, ask(at), TODAY)
    assert isinstance(refused, Refused)
    figures = the(Code.TOO_SMALL, refused.reasons).figures
    assert {"share_percent": 7, "smallest_ul": 300} == dict(figures)
    assert refused.final


def test_a_refusal_alone_is_not_final() -> None:
    """Who says nothing of waiting does not say that it cannot help."""
    assert not Refused(reasons=()).final


def test_a_gap_is_kept_to_the_millisecond() -> None:
    """A quarter of an hour, as the file has it."""
    assert (("calcium", 900_000),) == moment().rules.pumps["carbonate"].apart


def test_a_run_is_frozen_when_chance_gives_it_less_than_one_in_a_thousand() -> None:
    """Oracle: the chance reckoned with zip over the readings before the run.

    Series of one to forty readings on two levels, some of them quiet at their end.
    """
    chance = random.Random(8)  # noqa: S311  # no secret
    told = 0
    for _ in range(400):
        values = [8.0 + 0.01 * (chance.random() < 0.3) for _ in range(30)]
        values = values[: chance.randrange(1, 31)] + [8.0] * chance.randrange(0, 11)
        series = at_ages(*((15.0 * age, one) for age, one in enumerate(values[::-1])))
        run = next(
            (n for n, one in enumerate(values[::-1]) if one != values[-1]), len(values)
        )
        before = values[: len(values) - run]
        equal = sum(one == other for one, other in pairwise(before))
        likely = (equal + 5) / (max(len(before) - 1, 0) + 10)
        is_frozen = run >= 2 and likely ** (run - 1) < 0.001
        found = frozen(PROBE, series)
        assert is_frozen == (found is not None)
        if found is not None:
            told += 1
            assert run == found.figures["equal_readings"]
            assert (
                pytest.approx(likely ** (run - 1), rel=0.06) == found.figures["chance"]
            )
    assert told > 20


def test_a_row_that_is_left_aside_leaves_the_others() -> None:
    """Of all rows that refuse only one tells of a test that was too high."""
    names = [
        row.name
        for row in refusing(frozenset({"alkalinity", "return-pump"}))
        if row.refuses is not None
    ]
    silent = []
    for name in names:
        water = Watched(watched_machine())
        water.write(hand_test(water, "alkalinity", dkh(10.2)))
        assert [Code.ALKALINITY_TEST] == water.codes("soda")
        granted = BypassGranted(
            **water.stamp,
            interlock=name,
            scope="all",
            until=water.at.now.utc + HOUR,
            why="test",
            by="keeper",
        )
        water.write(granted)
        silent += [name] if not water.codes("soda") else []
    assert len(names) > 1
    assert 1 == len(silent)


def test_limewater_that_goes_on_is_held_without_a_break() -> None:
    """A day after it began the day is as unusual as the one before."""
    water = limewater()
    counted(water, 0)
    counted(water, 9_000_000)
    water.pass_time(23 * HOUR)
    counted(water, 20_000_000)
    water.pass_time(HOUR)
    assert (["top-off/refill"], []) == (water.holds, water.released)


def test_verdicts_on_a_series_are_told_in_rounded_figures() -> None:
    """Three digits for the water, five for the noise of a probe."""
    swing = Swing(
        size=0.123456,
        sd=0.045678,
        since=NOW,
        votes=("sums", "range"),
        points=4,
        outliers=1,
    )
    assert {
        "source": "kh",
        "off_meq_per_l": 0.123,
        "noise_meq_per_l": 0.046,
        "since": "2026-05-03T12:00:00+00:00",
        "votes": "sums, range",
        "readings": 4,
        "outliers": 1,
    } == dict(swing.reason("kh").figures)
    fault = ProbeFault(how="noise", usual_noise=0.1234567)
    assert {"source": "kh", "how": "noise", "usual_noise_meq_per_l": 0.12346} == dict(
        fault.reason("kh").figures
    )
    dose = DoseFault(
        pump="soda", dose=0.54321, size=-0.123456, since=NOW, votes=("sums",)
    )
    figures = dose.reason("kh").figures
    assert (-0.123, 0.543) == (figures["off_meq_per_l"], figures["dose_meq_per_l"])


def test_the_error_of_a_baseline_adds_up() -> None:
    """Source: independent errors add in squares (JCGM 100:2008, 5.1.2).

    Four readings say what the clock does at three, none at four; 10 h of drift.
    """
    cycle = [(0.25, 4) if hour == 3 else (0.0, 0) for hour in range(24)]
    usual = Usual(
        hour=17.0,
        level=3.0,
        drift=0.01,
        back_h=0.0,
        fades=0.0,
        cycle=cycle,
        sd=0.1,
        level_sd=0.02,
        drift_sd=0.003,
        count=99,
    )
    assert pytest.approx(3.0 + 0.1 + 0.25) == usual.at(27.0)
    known = 0.02**2 + (0.1 * 1.2533) ** 2 / 4 + 0.03**2
    assert pytest.approx(known) == usual.variance_at(27.0)
    unknown = 0.02**2 + CYCLE_UNKNOWN**2 + 0.033**2
    assert pytest.approx(unknown) == usual.variance_at(28.0)


def test_the_error_of_a_drift_is_that_of_a_line_through_even_days() -> None:
    """Source: the variance of a slope through n even points is 12 / (n^3 - n).

    Five days of 24 readings; textbook least squares, from memory.
    """
    residuals = [(float(hour), 3.0 + 0.01 * (hour * 7 % 5)) for hour in range(6 * 24)]
    usual = usual_of(residuals, 6 * 24.0 - 0.5, 1.0, 0.001)
    assert usual is not None
    assert pytest.approx(usual.sd * 1.2533 / sqrt(24)) == usual.level_sd
    line = usual.level_sd * sqrt(12 / 120) / 24
    assert pytest.approx(hypot(line, usual.drift / 4)) == usual.drift_sd


@pytest.mark.parametrize(("hours", "is_swing"), [(19, True), (20, False)])
def test_what_began_before_four_fifths_of_a_day_is_a_level(
    hours: int, is_swing: bool
) -> None:
    """0.8 of 24 hours: 19.2."""
    points = [Point(3600.0 * hour, 1.0, 0.1, 0.0) for hour in range(hours + 1)]
    levels = [(3600.0 * hour, 2.0) for hour in range(-30, 0)]
    levels += [(point.at_s, 3.0) for point in points]
    assert is_swing == isinstance(judged(points, levels), Swing)


def test_a_run_into_a_cylinder_goes_on_whatever_the_water_is() -> None:
    """It has no line that an input could reach; only a hold ends it."""
    at = moment()
    asked = replace(ask(at), kind="calibrate", line=None)
    assert may_go_on(at, asked)
    assert may_go_on(at, ask(at))


def test_the_lower_of_two_probes_is_held_to_the_floor() -> None:
    """6.0 dKH is below 6.5, whatever the other one shows."""
    at = with_probes(PROBE, SPARE)
    for name, value in (("kh", 8.0), ("spare", 6.0)):
        ages = [(float(age), value + age % 2 / 50) for age in range(0, 90, 15)]
        at.sight.readings[name] = at_ages(*ages, probe=name)
    figures = the(Code.ALKALINITY_LOW, water_doubts(at, "reef")).figures
    expected = {
        "probe": "spare",
        "newest_meq_per_l": round(dkh(6.0), 3),
        "floor_meq_per_l": round(dkh(6.5), 3),
    }
    assert expected == dict(figures)


def test_a_fall_is_told_to_three_digits() -> None:
    """From 9.0 to 8.0 dKH."""
    reason = falls(GUARD, thrice((300, 9.0), (0, 8.0)), NOW)
    assert reason is not None
    expected = {
        "probe": "kh",
        "fall_meq_per_l": round(dkh(1.0), 3),
        "limit_meq_per_l": round(dkh(0.8), 3),
    }
    assert expected == dict(reason.figures)
