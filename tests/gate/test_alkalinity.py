"""Judging readings: too much stops, doubt shortens, a low value raises nothing.

The limits in dKH are common practice, no source; the figures beside them are worked by
hand.
"""

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import pytest

from slackwater.facts.events import HoldRaised
from slackwater.facts.messages import Reading
from slackwater.facts.reasons import Code, Reason, because
from slackwater.facts.tank import Probe
from slackwater.gate.alkaline import ceiling_clears, unknown_for_s
from slackwater.gate.alkalinity import (
    alkalinity_probes,
    climbs,
    falls,
    frozen,
    hourly_medians,
    is_fresh,
    may_release_ceiling,
    too_high,
)
from slackwater.gate.moment import Moment
from slackwater.gate.watches import doubting
from tests.gate.scene import GUARD, NOW, PROBE, dkh, machine, moment, probed

SPARE = replace(PROBE, id="spare")
SALINITY = replace(PROBE, id="salt", parameter="salinity")
ELSEWHERE = replace(PROBE, id="other", tank="frag")


def at_ages(*pairs: tuple[float, float], probe: str = "kh") -> list[Reading]:
    """Readings by (age in minutes, dKH), oldest first."""
    return [
        Reading(
            tank="reef",
            probe=probe,
            parameter="alkalinity",
            value=dkh(value),
            at=NOW - timedelta(minutes=age),
        )
        for age, value in sorted(pairs, reverse=True)
    ]


def thrice(*pairs: tuple[float, float]) -> list[Reading]:
    """The same, each told by three readings within a second or two: none is alone."""
    apart = (0.02, 0.01, 0.0)
    return at_ages(*[(age + more, value) for age, value in pairs for more in apart])


def with_probes(*probes: Probe) -> Moment:
    """The scene with these probes."""
    return moment(replace(machine(), probes={probe.id: probe for probe in probes}))


@pytest.mark.parametrize(("before", "after"), [(8.0, 10.0), (10.0, 8.0)])
def test_one_hour_alone_is_neither_climb_nor_fall(before: float, after: float) -> None:
    """However far its readings lie apart, there is none to compare it with."""
    pairs = [(50, before), (40, before), (2, after), (1, after), (0, after)]
    series = at_ages(*pairs)
    assert (None, None) == (climbs(GUARD, series, NOW), falls(GUARD, series, NOW))


def test_a_ceiling_that_is_no_longer_stated_ends_no_hold() -> None:
    """A machine file without it says nothing of the water."""
    at = moment(replace(machine(), guards={}, probes={"kh": PROBE}))
    at.sight.readings["kh"] = at_ages(*((minutes, 8.0) for minutes in range(0, 90, 15)))
    hold = HoldRaised(
        at=NOW,
        boot_s=0.0,
        proven_ms=0,
        hold_id="alkalinity-ceiling/reef",
        scope="alkalinity/reef",
        reason=because(Code.ALKALINITY_CEILING),
        latched=False,
    )
    assert not ceiling_clears(at, "reef", hold)
    guarded = replace(at, machine=replace(at.machine, guards={"reef": GUARD}))
    assert ceiling_clears(guarded, "reef", hold)


def water_doubts(at: Moment, tank: str) -> list[Reason]:
    """Everything that the interlocks on alkalinity doubt, in the order of the table."""
    configured = at.rules.watched.get(tank, frozenset())
    return [
        doubt.reason
        for row in doubting(configured)
        if row.scope == "alkalinity" and row.doubts is not None
        for doubt in row.doubts(at, tank)
    ]


def codes(reasons: list[Reason]) -> list[Code]:
    """Their codes in order."""
    return [reason.code for reason in reasons]


def test_only_alkalinity_probes_of_the_tank_are_asked() -> None:
    """In order of name; other parameters and tanks say nothing here."""
    at = with_probes(SPARE, SALINITY, PROBE, ELSEWHERE)
    assert ["kh", "spare"] == [p.id for p in alkalinity_probes(at, "reef")]


@pytest.mark.parametrize(
    ("age_min", "expected"),
    [(0.0, True), (30.0, True), (30.1, False), (-1.0, True), (-1.1, False)],
)
def test_h48_a_reading_is_fresh_for_two_periods(
    age_min: float, *, expected: bool
) -> None:
    """A probe of every 15 minutes may be silent for 30; from ahead a minute counts."""
    assert expected == is_fresh(PROBE, at_ages((age_min, 8.0)), NOW)


def test_h48_nothing_heard_is_not_fresh() -> None:
    """Silence does not speak for the water."""
    assert not is_fresh(PROBE, [], NOW)


@pytest.mark.parametrize(("newest", "expected"), [(9.70, False), (9.71, True)])
def test_one_reading_above_the_ceiling_is_enough(
    newest: float, *, expected: bool
) -> None:
    """The ceiling is 9.7 dKH; at it is not above it."""
    reason = too_high(GUARD, at_ages((15, 8.0), (0, newest)), NOW)
    assert expected == (reason is not None)


def test_a_high_reading_says_which_probe_and_how_much() -> None:
    """10 dKH are 3.567 meq/L, 9.7 are 3.460 (1 dKH = 10 mg/L CaO, 0.35665 meq/L)."""
    reason = too_high(GUARD, at_ages((0, 10.0)), NOW)
    assert reason is not None
    figures = {"probe": "kh", "newest_meq_per_l": 3.567, "ceiling_meq_per_l": 3.46}
    assert (Code.ALKALINITY_CEILING, figures) == (reason.code, reason.figures)


@pytest.mark.parametrize("age_min", [None, 24 * 60 + 1])
def test_no_reading_of_the_last_day_says_nothing(age_min: float | None) -> None:
    """Neither too high nor climbing nor falling."""
    series = [] if age_min is None else at_ages((age_min, 12.0), (age_min + 60, 5.0))
    said = [rule(GUARD, series, NOW) for rule in (too_high, climbs, falls)]
    assert [None, None, None] == said


def test_hourly_medians_count_back_from_the_newest_reading() -> None:
    """Newest first; hours without a reading are left out, the 25th is the last."""
    series = at_ages(
        (5, 8.3), (20, 8.1), (64, 8.2), (65, 8.0), (200, 7.9), (1445, 7.0), (1446, 6.0)
    )
    # 5 to 64 min ago are the first hour: 8.3, 8.1, 8.2; 65 min ago begins the next.
    expected = [dkh(value) for value in (8.2, 8.0, 7.9, 7.0)]
    assert pytest.approx(expected) == hourly_medians(series, NOW)


@pytest.mark.parametrize(("rise", "expected"), [(0.79, False), (0.81, True)])
def test_a_climb_of_more_than_the_limit_is_seen(rise: float, *, expected: bool) -> None:
    """The last hour against the lowest hour of the day before it: 0.8 dKH."""
    series = thrice((600, 8.5), (300, 8.0), (90, 8.4), (0, 8.0 + rise))
    reason = climbs(GUARD, series, NOW)
    assert expected == (reason is not None)


def test_there_is_no_median_without_a_reading_of_the_last_day() -> None:
    """Neither of nothing nor of what is too old to say anything."""
    day = timedelta(days=1)
    series = thrice((0, 8.0))
    assert [] == hourly_medians([], NOW)
    assert [dkh(8.0)] == hourly_medians(series, NOW + day)
    assert [] == hourly_medians(series, NOW + day + timedelta(seconds=1))


def test_one_wild_value_among_quiet_ones_is_no_climb() -> None:
    """The median of an hour passes over it."""
    series = at_ages((120, 8.0), (45, 8.0), (30, 9.6), (15, 8.1), (0, 8.0))
    assert climbs(GUARD, series, NOW) is None


def test_one_wild_value_of_a_titrator_is_no_climb() -> None:
    """With one reading an hour it is that hour; the next one says it again or not."""
    hourly = [(age * 60.0, 8.0) for age in range(24, 1, -1)]
    assert climbs(GUARD, at_ages(*hourly, (60, 8.0), (0, 9.6)), NOW) is None
    assert climbs(GUARD, at_ages(*hourly, (60, 9.6), (0, 8.0)), NOW) is None
    assert climbs(GUARD, at_ages(*hourly, (60, 6.4), (0, 8.0)), NOW) is None
    assert climbs(GUARD, at_ages(*hourly, (60, 9.6), (0, 9.6)), NOW) is not None


def test_a_low_hour_of_the_day_before_counts_for_a_day() -> None:
    """At 24 hours before the newest it still counts, a minute later not."""
    assert climbs(GUARD, thrice((1440, 7.0), (60, 8.0), (0, 8.0)), NOW) is not None
    assert climbs(GUARD, thrice((1441, 7.0), (60, 8.0), (0, 8.0)), NOW) is None


@pytest.mark.parametrize("rule", [climbs, falls])
def test_a_single_hour_has_no_direction(rule: object) -> None:
    """There is nothing to compare with."""
    series = at_ages((30, 5.0), (0, 9.0))
    assert callable(rule)
    assert rule(GUARD, series, NOW) is None


@pytest.mark.parametrize(("fall", "expected"), [(0.79, False), (0.81, True)])
def test_a_fall_is_the_mirror(fall: float, *, expected: bool) -> None:
    """The last hour against the highest of the day before."""
    series = thrice((300, 8.5), (90, 8.0), (0, 8.5 - fall))
    assert expected == (falls(GUARD, series, NOW) is not None)


@pytest.mark.parametrize(
    ("pairs", "expected"),
    [
        ([(60, 9.5), (30, 9.4), (0, 9.4)], True),
        ([(59, 9.5), (30, 9.4), (0, 9.4)], False),
        ([(60, 9.5), (0, 9.4)], False),
        ([(90, 9.8), (60, 9.5), (30, 9.4), (0, 9.4)], True),
        ([(90, 9.4), (60, 9.4), (30, 9.51), (0, 9.4)], False),
        ([], False),
    ],
)
def test_a_ceiling_needs_good_readings_for_long_enough(
    pairs: list[tuple[float, float]], *, expected: bool
) -> None:
    """Three of at most 9.5 dKH (9.7 less 0.2), the first at least an hour ago."""
    assert expected == may_release_ceiling(GUARD, [at_ages(*pairs)], NOW)


def test_every_probe_must_release_the_ceiling() -> None:
    """One that still reads high, or reads nothing, keeps it."""
    good = at_ages((60, 9.4), (30, 9.4), (0, 9.4))
    high = at_ages((60, 9.4), (30, 9.4), (0, 9.6))
    released = [
        may_release_ceiling(GUARD, series, NOW)
        for series in ([good, good], [good, high], [good, []], [])
    ]
    assert [True, False, False, False] == released


def test_h49_a_run_is_frozen_by_the_noise_before_it() -> None:
    """Neighbours of 20 noisy readings were never equal: (0 + 5) / (19 + 10) = 0.172.

    0.172^4 is 8.8e-4, below 0.001; 0.172^3 is not. So 5 equal readings are a run.
    """
    noisy = [8.0 + 0.02 * (n % 2) for n in range(20)]
    runs = []
    for equal in (4, 5):
        values = [*noisy, *([8.5] * equal)]
        ages = range(15 * (len(values) - 1), -1, -15)
        series = at_ages(*zip(ages, values, strict=True))
        runs.append(frozen(PROBE, series))
    assert runs[0] is None
    assert runs[1] is not None
    assert {"probe": "kh", "equal_readings": 5, "chance": 8.8e-4} == runs[1].figures


def test_h49_a_coarse_probe_may_repeat_itself() -> None:
    """Where every second neighbour was equal, five equal ones prove nothing."""
    values = [8.0, 8.0, 8.1, 8.1] * 10 + [8.5] * 5
    ages = range(15 * (len(values) - 1), -1, -15)
    assert frozen(PROBE, at_ages(*zip(ages, values, strict=True))) is None


@pytest.mark.parametrize("values", [[], [8.0], [8.0, 8.1]])
def test_h49_less_than_a_pair_is_no_run(values: list[float]) -> None:
    """One reading repeats nothing."""
    ages = range(15 * (len(values) - 1), -1, -15)
    assert frozen(PROBE, at_ages(*zip(ages, values, strict=True))) is None


def test_steps_below_the_resolution_are_equal() -> None:
    """Half of 0.01 dKH is where a change begins."""
    still = [8.0 + 0.004 * (n % 2) for n in range(40)]
    moving = [8.0 + 0.006 * (n % 2) for n in range(40)]
    assert all(abs(b - a) < 0.005 for a, b in pairwise(still))
    ages = range(15 * 39, -1, -15)
    assert frozen(PROBE, at_ages(*zip(ages, still, strict=True))) is not None
    assert frozen(PROBE, at_ages(*zip(ages, moving, strict=True))) is None


def test_a_tank_without_a_probe_or_a_guard_has_no_doubts() -> None:
    """It doses on hand tests."""
    at = moment()
    unguarded = moment(replace(probed(), guards={}))
    assert ([], []) == (water_doubts(at, "reef"), water_doubts(unguarded, "reef"))


def test_h48_a_stale_reading_says_how_old_it_is() -> None:
    """31 minutes where 30 are allowed."""
    at = with_probes(PROBE)
    at.sight.readings["kh"] = at_ages((31, 8.0))
    doubts = water_doubts(at, "reef")
    assert [Code.ALKALINITY_STALE] == codes(doubts)
    assert {"probe": "kh", "age_min": 31} == doubts[0].figures


def test_one_sound_probe_is_enough() -> None:
    """The other may be missing or stale; with both gone both are named."""
    at = with_probes(PROBE, SPARE)
    at.sight.readings["spare"] = at_ages((0, 8.0), probe="spare")
    assert [] == water_doubts(at, "reef")
    at.sight.readings["spare"] = at_ages((31, 8.0), probe="spare")
    assert [Code.ALKALINITY_MISSING, Code.ALKALINITY_STALE] == codes(
        water_doubts(at, "reef")
    )


@pytest.mark.parametrize(("apart", "expected"), [(0.49, []), (0.51, ["kh, spare"])])
def test_two_sound_probes_may_differ_by_the_spread(
    apart: float, expected: list[str]
) -> None:
    """0.5 dKH; the lower one is named first."""
    at = with_probes(PROBE, SPARE)
    at.sight.readings["kh"] = at_ages((0, 8.0))
    at.sight.readings["spare"] = at_ages((0, 8.0 + apart), probe="spare")
    doubts = water_doubts(at, "reef")
    assert [Code.ALKALINITY_SPREAD] * len(expected) == codes(doubts)
    assert expected == [doubt.figures["probes"] for doubt in doubts]


def test_a_frozen_probe_contradicts_nobody() -> None:
    """Only sound readings are compared; the sound one speaks for the water."""
    at = with_probes(PROBE, SPARE)
    at.sight.readings["kh"] = at_ages(*((15.0 * n, 7.0) for n in range(30)))
    at.sight.readings["spare"] = at_ages((0, 8.0), probe="spare")
    assert [] == water_doubts(at, "reef")


def test_low_and_falling_are_both_said() -> None:
    """A refusal or a shortening carries all its reasons."""
    at = with_probes(PROBE)
    at.sight.readings["kh"] = thrice((90, 8.0), (0, 6.4))
    assert [Code.ALKALINITY_LOW, Code.ALKALINITY_FALL] == codes(
        water_doubts(at, "reef")
    )


def test_nobody_knows_since_when_before_a_plan_and_a_reading() -> None:
    """The plan's beginning, or the newest reading of any probe; neither is no time."""
    at = with_probes(PROBE, SPARE)
    approval = at.approval
    assert approval is not None
    planned_s = (NOW - approval.takes_over_at).total_seconds()
    assert planned_s == unknown_for_s(at, "reef")
    at.sight.readings.update(kh=at_ages((90, 8.0)), spare=at_ages((60, 8.0)))
    assert 3600.0 == unknown_for_s(at, "reef")
    bare = replace(at, approval=None)
    assert 3600.0 == unknown_for_s(bare, "reef")
    bare.sight.readings.clear()
    assert 0.0 == unknown_for_s(bare, "reef")
