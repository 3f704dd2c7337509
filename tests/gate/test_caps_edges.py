"""Caps, bases and rises at their very edges, each figure worked by hand."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.charging import charge
from slackwater.facts.messages import Reading
from slackwater.facts.reasons import Code
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.state import Flow
from slackwater.facts.tank import EffectCap, Outside, Uptake
from slackwater.gate.acidity import rise_after, rise_per_hour
from slackwater.gate.caps import over_caps
from slackwater.gate.moment import Moment
from slackwater.gate.resuming import WHOLE
from slackwater.gate.shortening import line_base_ppm
from tests.gate.scene import (
    CALCIUM_PG_PER_UL,
    NOW,
    PROVEN_MS,
    TODAY,
    ask,
    dkh_peq,
    machine,
    moment,
)
from tests.gate.test_caps import close, over, with_pump

MINUTE_S = 60


@pytest.mark.parametrize(
    ("age_ms", "room"), [(0, 0.0), (DAY_MS - 1, 0.0), (DAY_MS, 2.0)]
)
def test_an_unanswered_start_uses_up_what_may_be_added_too(
    age_ms: int, room: float
) -> None:
    """2 dKH a day: none to the last moment of a day, then all."""
    used = machine()
    pump = replace(used.pumps["carbonate"], per_dose_ul=10**9, per_day_ul=10**9)
    tank = replace(
        used.tanks["reef"], caps={"alkalinity": EffectCap(gross=dkh_peq(2.0))}
    )
    at = moment(
        replace(used, pumps={**used.pumps, "carbonate": pump}, tanks={"reef": tank})
    )
    at.state.unanswered_ms = PROVEN_MS - age_ms
    per_ul = at.rules.pumps["carbonate"].adds["alkalinity"]
    most_ul = dkh_peq(room) // per_ul
    assert Code.CAP_GROSS in over(at, most_ul + 1)
    assert Code.CAP_GROSS not in over(at, most_ul)


def test_no_volume_passes_no_cap() -> None:
    """Each of them says so: an hour, what it adds, a run into a cylinder."""
    at = with_pump(per_hour_ul=1500)
    codes = over(at, 0)
    assert {Code.CAP_DOSE, Code.CAP_HOUR, Code.CAP_GROSS} <= set(codes)
    assert Code.CAP_CALIBRATION in over(at, 0, kind="calibrate")


def test_the_smallest_effect_there_is_may_be_added() -> None:
    """One pico-unit of a microlitre is within any cap of one."""
    used = machine()
    weak = replace(used.solutions["carbonate"], effects={"alkalinity": 1})
    tank = replace(used.tanks["reef"], caps={"alkalinity": EffectCap(gross=1)})
    at = moment(
        replace(
            used, solutions={**used.solutions, "carbonate": weak}, tanks={"reef": tank}
        )
    )
    assert [] == over(at, 1)
    assert [Code.CAP_GROSS] == over(at, 2)


def test_what_has_no_cap_has_one_of_nothing() -> None:
    """And it is told as that."""
    used = machine()
    bare = replace(used.tanks["reef"], caps={})
    at = moment(replace(used, tanks={"reef": bare}))
    (reason,) = over_caps(at, ask(at), 1, TODAY)
    assert (Code.CAP_GROSS, 0) == (reason.code, reason.figures["cap"])


PLANNED = 48_000 * CALCIUM_PG_PER_UL


@pytest.mark.parametrize(
    ("low", "outside", "expected"),
    [
        (PLANNED, 0, 800_000),
        (PLANNED // 2, 0, 500_000),
        (PLANNED, PLANNED // 4, 550_000),
        (PLANNED, PLANNED, 0),
    ],
)
def test_the_base_of_calcium_is_what_is_used_less_what_comes_by_itself(
    low: int, outside: int, expected: int
) -> None:
    """Four fifths of an uptake of the whole plan, or its lower bound (mass balance)."""
    used = machine()
    tank = replace(
        used.tanks["reef"], uptake={"calcium": Uptake(estimate=PLANNED, low=low)}
    )
    source = Outside(id="kalk", tank="reef", parameter="calcium", per_day=outside)
    sources = (source,) if outside else ()
    at = moment(replace(used, tanks={"reef": tank}, outside=sources))
    line = replace(at.rules.lines["reef/calcium"], follows_alkalinity=False)
    share = line_base_ppm(at, at.rules.pumps["calcium"], line)
    assert pytest.approx(expected, abs=2) == share
    assert share <= WHOLE


def acid(*pairs: tuple[float, float]) -> list[Reading]:
    """Readings of pH by (age in seconds, value), oldest first."""
    return [
        Reading(
            tank="reef",
            probe="ph",
            parameter="ph",
            value=value,
            at=NOW - timedelta(seconds=age_s),
        )
        for age_s, value in sorted(pairs, reverse=True)
    ]


def ran(seconds_ago: float) -> Moment:
    """The last drop of the carbonate pump so long ago."""
    at = moment()
    at.state.flows["carbonate"] = Flow(
        tank="reef",
        solution="carbonate",
        end_ms=PROVEN_MS - round(1000 * seconds_ago),
    )
    return at


def test_a_rise_after_a_dose_begins_before_it_can_have_begun() -> None:
    """60 s of the longest run and 8 s of its deadline before the last drop."""
    at = ran(0.0)
    series = acid((69.0, 8.0), (60.0, 8.2), (0.0, 8.3))
    found = rise_after(at, at.rules.pumps["carbonate"], series)
    assert pytest.approx(0.3) == found


@pytest.mark.parametrize(
    ("ages_min", "expected"),
    [
        ((0, 5, 60, 65), 0.4),
        ((0, 5, 59, 65), None),
        ((0, 5, 60, 90), None),
        ((0, 29, 60, 89), 0.4),
        ((0, 30, 60, 65), None),
    ],
)
def test_a_rise_of_an_hour_is_between_two_half_hours(
    ages_min: tuple[float, ...], expected: float | None
) -> None:
    """The last one, and one from an hour and a half ago on; two readings each."""
    values = (8.5, 8.5, 8.1, 8.1)
    series = acid(
        *((MINUTE_S * age, value) for age, value in zip(ages_min, values, strict=True))
    )
    found = rise_per_hour(series, moment())
    assert expected == (None if found is None else round(found, 6))


def elsewhere(at: Moment, pump: str, solution: str, end_ms: int) -> None:
    """A pump of another tank gave something, until so many milliseconds ago."""
    end_ms = PROVEN_MS - end_ms
    at.state.flows[pump] = Flow(tank="frag", solution=solution, end_ms=end_ms)


def test_what_yesterday_was_charged_leaves_today_whole() -> None:
    """60 mL of 60 although the 24 hours before a day's end were used up, and no more.

    The rolling day has forgotten it; of alkalinity 1.7 dKH may be added again.
    """
    at = with_pump(per_dose_ul=60_001)
    free = EffectCap(gross=10**15)
    tank = replace(at.machine.tanks["reef"], caps={"alkalinity": free})
    wide = moment(replace(at.machine, tanks={"reef": tank}))
    late, before = (PROVEN_MS - DAY_MS, 60_000, "x"), TODAY - timedelta(days=1)
    charge(wide.state, "pump/carbonate", late, before)
    assert [] == over(wide, 60_000)
    assert [Code.CAP_ROLLING, Code.CAP_DAY] == over(wide, 60_001)
    used = machine()
    weak = replace(used.solutions["carbonate"], effects={"alkalinity": 1})
    tank = replace(used.tanks["reef"], caps={"alkalinity": EffectCap(gross=1000)})
    solutions = {**used.solutions, "carbonate": weak}
    small = moment(replace(used, solutions=solutions, tanks={"reef": tank}))
    charge(small.state, "effect/reef/alkalinity", late, before)
    assert [] == over(small, 1000)
    assert [Code.CAP_GROSS] == over(small, 1001)


def test_a_day_after_an_unanswered_start_all_of_it_is_free() -> None:
    """60 mL of 60 with nothing charged: to the microlitre, and not one more."""
    at = with_pump(per_dose_ul=60_000)
    free = EffectCap(gross=10**15)
    tank = replace(at.machine.tanks["reef"], caps={"alkalinity": free})
    wide = moment(replace(at.machine, tanks={"reef": tank}))
    wide.state.unanswered_ms = PROVEN_MS - DAY_MS
    assert [] == over(wide, 60_000)
    assert {Code.CAP_ROLLING, Code.CAP_DAY} <= set(over(wide, 60_001))


def test_no_volume_is_told_by_every_cap_of_its_pump() -> None:
    """Nothing was charged: neither a day nor 24 hours hold what is no dose."""
    codes = {Code.CAP_DOSE, Code.CAP_ROLLING, Code.CAP_DAY}
    assert codes <= set(over(moment(), 0))


def test_a_microlitre_is_a_dose_and_a_shot() -> None:
    """Of an hour's 1500 µL, and into the cylinder."""
    assert [] == over(with_pump(per_hour_ul=1500), 1)
    assert [] == over(moment(), 1, kind="calibrate")


def test_a_cap_is_told_with_what_was_charged_against_it() -> None:
    """58 mL of 60 were given; a dose alone has nothing charged against its cap."""
    at = moment()
    charge(at.state, "pump/carbonate", (PROVEN_MS, 58_000, "x"), TODAY)
    found = over_caps(at, ask(at), 3001, TODAY)
    told = {one.code: dict(one.figures) for one in found}
    assert {"asked_ul": 3001, "cap_ul": 3000} == told[Code.CAP_DOSE]
    day = {"charged_ul": 58_000, "asked_ul": 3001, "cap_ul": 60_000}
    assert (day, day) == (told[Code.CAP_ROLLING], told[Code.CAP_DAY])


def test_h46_the_last_millisecond_of_a_gap_is_kept() -> None:
    """Of a quarter of an hour since the ledger began, and of a shot's own pump."""
    young = replace(moment(), proven_ms=15 * 60_000 - 1)
    assert [1] == close(young)
    at = moment()
    at.state.flows["carbonate"] = Flow(
        tank="reef", solution="carbonate", end_ms=PROVEN_MS + 1
    )
    assert [1] == close(at, shot=True)


@pytest.mark.parametrize(("ago_ms", "expected"), [(899_999, [1]), (900_000, [])])
def test_h46_the_gap_to_an_old_bottle_is_kept_to_the_millisecond(
    ago_ms: int, expected: list[int]
) -> None:
    """A third pump of the tank gave calcium until it was given carbonate.

    Pumps of another tank come before it and are passed over, whatever they gave.
    """
    at = moment()
    elsewhere(at, "first", "", 0)
    elsewhere(at, "second", "calcium", 0)
    end_ms = PROVEN_MS - ago_ms
    at.state.flows["third"] = Flow(tank="reef", solution="calcium", end_ms=end_ms)
    assert expected == close(at)


@pytest.mark.parametrize(("ago_ms", "expected"), [(899_999, [1]), (900_000, [])])
def test_h46_a_pump_that_was_moved_leaves_its_gap_behind(
    ago_ms: int, expected: list[int]
) -> None:
    """It gave calcium to this tank, and gives the same to another one from now on."""
    at = moment()
    elsewhere(at, "moved", "calcium", 0)
    end_ms = PROVEN_MS - ago_ms
    at.state.flows["moved"] = Flow(tank="reef", solution="calcium", end_ms=end_ms)
    used = at.rules.pumps["calcium"]
    away = replace(used, pump=replace(used.pump, id="moved", tank="frag"))
    rules = replace(
        at.rules,
        pumps={**at.rules.pumps, "moved": away},
        solutions={**at.rules.solutions, "moved": "calcium"},
    )
    assert expected == close(replace(at, rules=rules))


@pytest.mark.parametrize(("ago_s", "expected"), [(1799, [1]), (1800, [])])
def test_h46_the_gap_to_an_old_bottle_is_no_shorter_than_the_turnover(
    ago_s: int, expected: list[int]
) -> None:
    """Three tank volumes take half an hour; the same solution waits for nothing."""
    used = machine()
    slow = replace(used.tanks["reef"], turnover_s=1800.0)
    at = moment(replace(used, tanks={"reef": slow}))
    end_ms = PROVEN_MS - ago_s * 1000
    at.state.flows["third"] = Flow(tank="reef", solution="calcium", end_ms=end_ms)
    at.state.flows["fourth"] = Flow(tank="reef", solution="carbonate", end_ms=PROVEN_MS)
    assert expected == close(at)


@pytest.mark.parametrize(("ago_ms", "left_s"), [(0, 900), (899_999, 1), (900_000, 0)])
def test_h46_a_pump_keeps_the_gap_to_what_it_gave_itself(
    ago_ms: int, left_s: int
) -> None:
    """It gave calcium before it was given carbonate: both are in the water."""
    at = moment()
    end_ms = PROVEN_MS - ago_ms
    at.state.flows["carbonate"] = Flow(tank="reef", solution="calcium", end_ms=end_ms)
    own = [60] if ago_ms == 0 else []
    assert [*own, *([left_s] if left_s else [])] == close(at)
