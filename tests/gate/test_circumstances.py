"""Treatments, tests that were too high, nutrients for carbon, limewater, absence.

Limits are common practice, no source: carbon from 1 mg/L nitrate and 0.02 mg/L
phosphate, 150 % of the median top-off of up to 14 days, two weeks of whole upkeep while
nobody tests.
"""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.events import ReadingKept
from slackwater.facts.limits import Switch
from slackwater.facts.messages import CounterSeen
from slackwater.facts.reasons import Code
from slackwater.facts.safeguards import (
    AwayDeclared,
    AwayEnded,
    ProbeTakenOut,
    TopOffSummed,
)
from slackwater.facts.sight import see
from slackwater.facts.tank import Outside, Uptake
from slackwater.facts.waters import HusbandryNoted
from slackwater.gate.shortening import share_of
from tests.gate.scene import PROBE, dkh, dkh_peq
from tests.gate.test_climate import hand_test
from tests.gate.watched import (
    ALKALINE,
    DAY,
    HOUR,
    LINES,
    MINUTE,
    RAISING,
    Watched,
    switch,
    watched_machine,
)

REFILL: Switch = switch("top-off", "refill", unit_ul=1000, topic="t", pointer="")
USUAL_UL = 4_000_000


def bare(*groups: tuple[str, ...]) -> Watched:
    """The tank without any probe."""
    return Watched(watched_machine(), *groups)


def treated(water: Watched, lasts: timedelta) -> HusbandryNoted:
    """A medicine went in, and is over after a time."""
    return HusbandryNoted(
        **water.stamp,
        id="h-1",
        tank="reef",
        what="treatment",
        happened_at=water.at.now.utc,
        by="keeper",
        until=water.at.now.utc + lasts,
    )


def test_a_treatment_ends_corrections_carbon_and_traces() -> None:
    """Until its end to the second; alkalinity and calcium are kept up."""
    water = bare()
    water.write(treated(water, 5 * DAY))
    assert {"raise", "food", "iodine"} == water.stopped
    water.pass_time(5 * DAY - MINUTE / 60)
    assert {"raise", "food", "iodine"} == water.stopped
    water.pass_time(MINUTE / 60)
    assert set() == water.stopped


@pytest.mark.parametrize(
    ("nitrate", "phosphate", "stopped"),
    [
        (1.0, 0.02, set()),
        (0.99, 0.02, {"food"}),
        (1.0, 0.019, {"food"}),
        (40.0, 0.3, set()),
    ],
)
def test_carbon_needs_nitrate_and_phosphate(
    nitrate: float, phosphate: float, stopped: set[str]
) -> None:
    """Below either limit by the newest tests; all else goes on."""
    water = bare()
    water.write(hand_test(water, "nitrate", nitrate))
    water.write(hand_test(water, "phosphate", phosphate))
    assert stopped == water.stopped


def test_nutrients_nobody_can_see_are_too_low() -> None:
    """A test that finds nothing says less than any figure; without one carbon runs."""
    water = bare()
    assert set() == water.stopped
    water.write(hand_test(water, "phosphate", 0.05, censored=True))
    assert [Code.NUTRIENTS_LOW] == water.codes("food")
    water.pass_time(MINUTE)
    water.write(hand_test(water, "phosphate", 0.05))
    assert set() == water.stopped


@pytest.mark.parametrize(("value", "stops"), [(9.7, False), (9.71, True)])
def test_a_hand_test_above_the_ceiling_stops_alkalinity(
    value: float, *, stops: bool
) -> None:
    """As a probe would; trace, carbon and effect-free lines go on (unpaired)."""
    water = bare(("mild", "calcium"))
    water.write(hand_test(water, "alkalinity", dkh(value)))
    expected = ALKALINE | {"calcium"} if stops else set()
    assert expected == water.stopped
    water.pass_time(31 * MINUTE)
    water.write(hand_test(water, "alkalinity", dkh(9.0)))
    assert set() == water.stopped


@pytest.mark.parametrize(
    ("value", "uptake_dkh", "hours"),
    [
        # No uptake is known: a day.
        (10.0, None, 24.0),
        # 0.3 above the ceiling and 0.2 below it at 1.2 dKH a day: ten hours.
        (10.0, 1.2, 10.0),
        # Never less than an hour, never more than three days.
        (9.71, 20.0, 1.0),
        (14.0, 0.5, 72.0),
    ],
)
def test_a_test_counts_as_long_as_the_tank_needs(
    value: float, uptake_dkh: float | None, hours: float
) -> None:
    """Mass balance of one box with the lower bound of uptake."""
    used = watched_machine()
    if uptake_dkh is not None:
        low = dkh_peq(uptake_dkh)
        uptake = {"alkalinity": Uptake(estimate=2 * low, low=low)}
        tank = replace(used.tanks["reef"], uptake=uptake)
        used = replace(used, tanks={"reef": tank})
    water = Watched(used)
    water.write(hand_test(water, "alkalinity", dkh(value)))
    water.pass_time(hours * HOUR - MINUTE)
    assert ALKALINE == water.stopped
    water.pass_time(2 * MINUTE)
    assert set() == water.stopped


def with_kh(shown: float) -> Watched:
    """An alkalinity probe that is kept showing a value in dKH, with hand tests."""
    probe = replace(PROBE, period_s=300.0)
    water = Watched(watched_machine(probe))
    for _ in range(13):
        water.pass_time(5 * MINUTE)
        water.read("kh", dkh(shown) + 0.004 * (len(water.at.sight.readings["kh"]) % 2))
    water.write(
        ReadingKept(
            **water.stamp,
            tank="reef",
            probe="kh",
            parameter="alkalinity",
            value=dkh(shown),
            taken_at=water.at.now.utc,
        )
    )
    return water


def test_h52_a_probe_that_agrees_with_the_test_speaks_for_the_water() -> None:
    """Both are high: the probe's own ceiling holds, and ends by the probe."""
    water = with_kh(9.6)
    water.write(hand_test(water, "alkalinity", dkh(9.8)))
    assert set() == water.stopped


@pytest.mark.parametrize(
    ("test", "shares"), [(8.7, False), (8.72, True), (7.3, False), (7.28, True)]
)
def test_h52_a_probe_that_the_hand_contradicts_shortens(
    test: float, *, shares: bool
) -> None:
    """0.7 dKH from what it showed beside the test, either way; nothing latches."""
    water = with_kh(8.0)
    water.write(hand_test(water, "alkalinity", dkh(test)))
    expected = dict.fromkeys(ALKALINE, 80) if shares else {}
    assert (set(), expected) == (water.stopped, water.shares)


def test_h52_a_hand_that_finds_too_much_stops_against_the_probe() -> None:
    """Either may stop on excess."""
    water = with_kh(8.0)
    water.write(hand_test(water, "alkalinity", dkh(10.0)))
    assert ALKALINE == water.stopped


@pytest.mark.parametrize(("ago", "stops"), [(50 * MINUTE, True), (70 * MINUTE, False)])
def test_h51_a_probe_read_before_a_high_test_and_not_beside_it_proves_nothing(
    ago: timedelta, *, stops: bool
) -> None:
    """A titrator of each 4 h, read an hour ago: only what it read since speaks."""
    water = Watched(watched_machine(replace(PROBE, period_s=4 * 3600.0)))
    water.pass_time(HOUR)
    taken_at = water.at.now.utc - ago
    water.write(hand_test(water, "alkalinity", dkh(10.0), taken_at=taken_at))
    assert (ALKALINE if stops else set()) == water.stopped


def test_h59_an_alkalinity_probe_out_of_service_needs_hand_tests() -> None:
    """The base for 48 hours after one and without; it comes back by itself."""
    water = with_kh(8.0)
    water.pass_time(HOUR)
    assert dict.fromkeys(ALKALINE, 80) == water.shares
    until = water.at.now.utc + 5 * DAY
    water.write(ProbeTakenOut(**water.stamp, probe="kh", until=until, by="keeper"))
    assert dict.fromkeys(ALKALINE, 80) == water.shares
    water.write(hand_test(water, "alkalinity", dkh(8.0)))
    assert dict.fromkeys(ALKALINE, 80) == water.shares
    assert {Code.PROBE_STOOD_IN} == _share_codes(water, "soda")
    water.pass_time(48 * HOUR)
    assert dict.fromkeys(ALKALINE, 80) == water.shares
    assert {Code.PROBE_STOOD_IN} == _share_codes(water, "soda")
    water.pass_time(MINUTE)
    assert dict.fromkeys(ALKALINE, 80) == water.shares
    assert {Code.PROBE_OUT} == _share_codes(water, "soda")
    water.pass_time(3 * DAY)
    assert {} == water.at.state.out_of_service
    assert Code.ALKALINITY_STALE in _share_codes(water, "soda")


def _share_codes(water: Watched, line: str) -> set[Code]:
    return {reason.code for reason in share_of(water.at, water.asked(line)).reasons}


def limewater(days: int = 14) -> Watched:
    """Limewater in the top-off, with so many whole days known."""
    used = watched_machine(switches=(REFILL,))
    lime = Outside(id="lime", tank="reef", parameter="alkalinity", per_day=10**10)
    water = Watched(replace(used, outside=(lime,)))
    today = water.at.now.utc.date()
    for ago in range(1, days + 1):
        water.write(
            TopOffSummed(
                **water.stamp,
                tank="reef",
                switch="refill",
                day=today - ago * DAY,
                volume_ul=USUAL_UL + (ago % 3 - 1) * 100_000,
            )
        )
    return water


def counted(water: Watched, total_ul: int) -> None:
    """The counter shows a total."""
    now = water.at.now
    see(
        water.at.sight,
        CounterSeen(
            tank="reef",
            switch="refill",
            total_ul=total_ul,
            at=now.utc,
            heard_boot_s=now.boot_s,
        ),
    )
    water.look()


@pytest.mark.parametrize(
    ("today_ul", "held"), [(6_000_000, False), (6_000_001, True), (20_000_000, True)]
)
def test_half_more_limewater_than_usual_stops_carbonate(
    today_ul: int, *, held: bool
) -> None:
    """1.5 times the median of 4 L; what raises pH waits, bicarbonate goes on."""
    water = limewater()
    counted(water, 1_000)
    counted(water, 1_000 + today_ul)
    assert (RAISING if held else set()) == water.stopped


@pytest.mark.parametrize(("days", "held"), [(6, False), (7, True)])
def test_a_week_of_whole_days_makes_a_usual_volume(days: int, *, held: bool) -> None:
    """With less nothing is usual."""
    water = limewater(days)
    counted(water, 0)
    counted(water, 50_000_000)
    assert (RAISING if held else set()) == water.stopped


def test_top_off_without_a_declared_source_stops_nothing() -> None:
    """Plain water adds no alkalinity."""
    water = limewater()
    water.at = replace(water.at, rules=replace(water.at.rules, outside={"reef": 0}))
    counted(water, 0)
    counted(water, 50_000_000)
    assert set() == water.stopped


def test_limewater_holds_for_a_day_and_until_a_day_was_usual() -> None:
    """Not at midnight: what came in is still in the water."""
    water = limewater()
    counted(water, 0)
    counted(water, 9_000_000)
    water.pass_time(23 * HOUR)
    counted(water, 9_100_000)
    assert ["top-off/refill"] == water.holds
    water.pass_time(HOUR)
    assert [] == water.holds


def test_a_counter_that_is_no_longer_configured_ends_its_hold() -> None:
    """A day after it began: nobody could show any more that a day was usual."""
    water = limewater()
    counted(water, 0)
    counted(water, 9_000_000)
    water.at = replace(water.at, machine=replace(water.at.machine, switches={}))
    water.pass_time(23 * HOUR)
    assert ["top-off/refill"] == water.holds
    water.pass_time(HOUR)
    assert [] == water.holds


def test_whole_days_of_a_counter_come_into_the_ledger_once() -> None:
    """The first day was not heard whole; the day that runs is not over."""
    water = limewater(days=0)
    for hours in range(0, 96, 6):
        counted(water, hours * 100_000)
        water.pass_time(6 * HOUR)
    kept = [event for event in water.events if isinstance(event, TopOffSummed)]
    assert [2_400_000] * 3 == [event.volume_ul for event in kept]
    days = [event.day for event in kept]
    assert days == sorted(set(days))
    assert water.at.now.utc.date() not in days


def away(water: Watched, begins: timedelta, ends: timedelta) -> AwayDeclared:
    """Nobody is there for a while."""
    now = water.at.now.utc
    return AwayDeclared(
        **water.stamp, from_at=now + begins, until=now + ends, by="keeper"
    )


def test_an_absence_freezes_corrections_from_its_beginning() -> None:
    """Not before, and until somebody is back, however late."""
    water = bare()
    water.write(away(water, DAY, 8 * DAY))
    water.pass_time(DAY - MINUTE)
    assert {} == water.shares
    water.pass_time(MINUTE)
    assert {"raise": 0} == water.shares
    water.pass_time(10 * DAY)
    assert {"raise": 0} == water.shares
    water.write(AwayEnded(**water.stamp, by="keeper"))
    assert {} == water.shares


def test_after_two_weeks_without_a_test_nine_tenths_run() -> None:
    """The agreed schedule: whole upkeep for 14 days, then 90 %."""
    water = bare()
    water.write(away(water, timedelta(), 30 * DAY))
    water.pass_time(14 * DAY)
    assert {"raise": 0} == water.shares
    water.pass_time(MINUTE)
    assert dict.fromkeys(LINES - {"raise"}, 90) | {"raise": 0} == water.shares


def test_a_sound_probe_tests_while_nobody_is_there() -> None:
    """The whole upkeep goes on."""
    water = with_kh(8.0)
    water.write(away(water, timedelta(), 30 * DAY))
    water.pass_time(20 * DAY)
    for _ in range(4):
        water.pass_time(5 * MINUTE)
        water.read("kh", dkh(8.0) + 0.004 * (len(water.at.sight.readings["kh"]) % 2))
    assert {"raise": 0} == water.shares
