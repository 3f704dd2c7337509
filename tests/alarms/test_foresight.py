"""How long a tank has, against figures worked out by hand."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.alarms.conditions import (
    Condition,
    dose_ul,
    of_all,
    of_pumps,
    used_pumps,
)
from slackwater.alarms.foresight import (
    Level,
    hours_to_ceiling,
    hours_to_floor,
    hours_without_dosing,
    in_dkh,
    level_now,
    levels_in_dkh,
    mean_ul,
    measured,
    pressing,
    short_peq,
    uptake_per_day,
    way_to_floor,
)
from slackwater.facts.alarms import Cause
from slackwater.facts.charging import hour_of
from slackwater.facts.rolling import Rolling
from slackwater.facts.tank import Outside, Tank, Uptake
from slackwater.facts.waters import MeasurementKept
from slackwater.gate.moment import Moment, rules_for
from tests.alarms.desk import Desk, aimed
from tests.gate.scene import (
    GUARD,
    NOW,
    dkh,
    dkh_peq,
    machine,
    moment,
    plan,
    with_probe,
)


def tank_of(found: Moment) -> Tank:
    """The one tank."""
    return found.machine.tanks["reef"]


def thirsty(per_day_dkh: float, floor_dkh: float = 6.0) -> Moment:
    """A tank that takes up so much a day, with this floor."""
    base = aimed(machine())
    uptake = Uptake(estimate=dkh_peq(per_day_dkh), low=dkh_peq(per_day_dkh * 0.8))
    tank = replace(base.tanks["reef"], uptake={"alkalinity": uptake})
    guard = replace(GUARD, floor=dkh(floor_dkh))
    return moment(replace(base, tanks={"reef": tank}, guards={"reef": guard}))


def test_eight_to_six_at_one_and_a_half_a_day_takes_32_hours() -> None:
    """By hand: 2 dKH / (1.5 dKH/day) = 32 h; a sinking uptake would take 41."""
    found = thirsty(1.5)
    stopped = of_all(found, Cause.EVERYTHING_HELD)
    hours = hours_to_floor(found, tank_of(found), dkh(8.0), stopped)
    assert 32.0 == pytest.approx(hours, abs=0.01)


def test_what_still_comes_takes_longer() -> None:
    """0.5 dKH a day from a calcium reactor leave 1 of 1.5: 48 h."""
    found = thirsty(1.5)
    lime = Outside(
        id="reactor", tank="reef", parameter="alkalinity", per_day=dkh_peq(0.5)
    )
    base = replace(found.machine, outside=(lime,))
    found = replace(found, machine=base, rules=rules_for(base, plan()))
    stopped = of_all(found, Cause.EVERYTHING_HELD)
    hours = hours_to_floor(found, tank_of(found), dkh(8.0), stopped)
    assert 48.0 == pytest.approx(hours, abs=0.02)


def test_a_tank_that_gets_as_much_as_it_takes_never_falls() -> None:
    """Nor one whose alkalinity no stopped pump gives."""
    found = thirsty(0.1)
    shortened = Condition(
        cause=Cause.PROBE_STALE, about="kh", tanks=("reef",), share=0.8
    )
    assert None is hours_to_floor(found, tank_of(found), dkh(8.0), shortened)
    line = found.rules.lines["reef/calcium"]
    alone = {"reef/calcium": replace(line, mates=())}
    bare = replace(found, rules=replace(found.rules, lines=alone))
    calcium = of_pumps(bare, (Cause.OVER_DELIVERED, "calcium"), used_pumps(bare))
    assert None is hours_to_floor(bare, tank_of(bare), dkh(8.0), calcium)


def test_the_ceiling_is_met_by_the_plan_alone() -> None:
    """48 mL of 1.88701 meq/mL in 200 L are 1.2698 dKH: 1.7 / 1.2698 * 24 = 32.1 h."""
    found = thirsty(1.5)
    hours = hours_to_ceiling(found, tank_of(found), dkh(8.0))
    assert 32.13 == pytest.approx(hours, abs=0.02)
    assert 0.0 == hours_to_ceiling(found, tank_of(found), dkh(12.0))


def test_nothing_is_said_where_nothing_is_known() -> None:
    """Without a guard, a level or a plan there is no time left to tell."""
    found = thirsty(1.5)
    bare = replace(found, machine=replace(found.machine, guards={}))
    stopped = of_all(found, Cause.EVERYTHING_HELD)
    tank = tank_of(found)
    assert None is hours_to_floor(bare, tank, dkh(8.0), stopped)
    assert None is hours_to_floor(found, tank, None, stopped)
    assert None is hours_to_ceiling(bare, tank, dkh(8.0))
    idle = replace(found, rules=rules_for(found.machine, None))
    assert None is hours_to_ceiling(idle, tank, dkh(8.0))


def test_a_hold_of_everything_is_foreseen_without_any_hold() -> None:
    """As long as if all were held; what the daemon does not give still comes."""
    found = thirsty(1.5)
    tank = tank_of(found)
    hours = hours_without_dosing(found, tank, dkh(8.0))
    assert 32.0 == pytest.approx(hours, abs=0.01)
    for per_day, expected in ((0.5, 48.0), (1.5, None)):
        lime = Outside(
            id="reactor", tank="reef", parameter="alkalinity", per_day=dkh_peq(per_day)
        )
        base = replace(found.machine, outside=(lime,))
        fed = replace(found, machine=base, rules=rules_for(base, plan()))
        hours = hours_without_dosing(fed, tank, dkh(8.0))
        assert expected == (None if hours is None else pytest.approx(hours, abs=0.02))
    bare = replace(found, machine=replace(found.machine, guards={}))
    assert None is hours_without_dosing(bare, tank, dkh(8.0))
    assert None is hours_without_dosing(found, tank, None)


def test_a_level_is_carried_by_uptake_and_doses() -> None:
    """Six hours at 1.4 dKH a day less 0.1 given: 8.0 - 0.35 + 0.1 = 7.75 dKH."""
    desk = Desk()
    found = desk.moment
    with_probe(found, [8.0])
    six = timedelta(hours=6)
    now = replace(found.now, utc=NOW + six)
    found.state.hours["reef"] = {hour_of(NOW) + 2: dkh_peq(0.1)}
    later = replace(found, now=now)
    level = level_now(later, tank_of(later))
    assert level is not None
    assert 7.75 == pytest.approx(levels_in_dkh(level), abs=0.006)


def test_the_newest_test_counts_and_an_old_one_does_not() -> None:
    """A hand test from this morning speaks; two days later the target stands for it."""
    desk = Desk(aimed(machine()))
    found = desk.moment
    assert measured(found, tank_of(found)) is None
    kept = MeasurementKept(
        **desk.stamp,
        id="m-1",
        tank="reef",
        parameter="alkalinity",
        value=dkh(7.2),
        typed="7.2 dKH",
        taken_at=NOW - timedelta(hours=1),
        provenance="hand",
        by="keeper",
        method="titration",
    )
    desk.fold(kept)
    known = measured(found, tank_of(found))
    assert known is not None
    assert (dkh(7.2), "titration") == (known.value, known.source)
    old = replace(found, now=replace(found.now, utc=NOW + timedelta(hours=48)))
    assert measured(old, tank_of(old)) is None
    assert dkh(8.0) == level_now(old, tank_of(old))


def test_where_a_fault_began_stands_for_what_nobody_measures() -> None:
    """From 8.0 dKH ten hours ago, at 1.4 a day: 7.42."""
    found = Desk(aimed(machine())).moment
    begun = Level(value=dkh(8.0), at=NOW - timedelta(hours=10), source="x")
    level = level_now(found, tank_of(found), begun)
    assert level is not None
    assert 7.42 == pytest.approx(levels_in_dkh(level), abs=0.006)


def test_where_no_uptake_is_stated_the_plan_stands_for_it() -> None:
    """A tank that is kept steady takes up what it is given."""
    base = machine()
    tank = replace(base.tanks["reef"], uptake={})
    found = moment(replace(base, tanks={"reef": tank}))
    assert found.rules.alkalinity["reef"][1] == uptake_per_day(found, tank)


def test_a_line_of_some_days_counts_with_its_mean() -> None:
    """Three days a week are 3/7, every other day a half; a dose is a share of a day."""
    rule = moment().rules.lines["reef/carbonate"]
    weekly = replace(rule, line=replace(rule.line, weekdays=("mon", "wed", "fri")))
    second = replace(rule, line=replace(rule.line, every_days=2))
    timed = replace(rule, line=replace(rule.line, count=0, times_minute=(60, 120)))
    assert 48_000 * 3 / 7 == mean_ul(weekly)
    assert 24_000 == mean_ul(second)
    assert (2000, 24_000) == (dose_ul(rule), dose_ul(timed))


def test_amounts_are_told_in_german_degrees() -> None:
    """1 dKH is 10 mg/L of CaO, 0.35665 meq/L (IUPAC weights)."""
    tank = tank_of(moment())
    assert 1.0 == in_dkh(dkh_peq(1.0), tank)
    assert 1.0 == levels_in_dkh(0.35665246)


def test_what_is_short_is_what_was_planned_and_not_given() -> None:
    """More given than planned is not short."""
    found = moment()
    key, tank = "reef/alkalinity", tank_of(found)
    assert 0 == short_peq(found, tank)
    found.state.planned[key] = Rolling()
    found.state.planned[key].add(found.proven_ms, 100, "")
    assert 100 == short_peq(found, tank)
    found.state.believed[key] = Rolling()
    found.state.believed[key].add(found.proven_ms, 130, "")
    assert 0 == short_peq(found, tank)


@pytest.mark.parametrize(
    ("now", "percent"), [(8.0, 0.0), (7.85, 10.0), (7.25, 50.0), (6.0, 100.0), (9, 0.0)]
)
def test_the_way_to_the_floor(now: float, percent: float) -> None:
    """From 8.0 to 6.5 dKH; never beyond its ends."""
    way = way_to_floor(GUARD, dkh(8.0), dkh(now))
    assert percent == pytest.approx(way, abs=0.01)


@pytest.mark.parametrize(
    ("hours", "priority"),
    [
        (None, "note"),
        (0.0, "urgent"),
        (11.9, "urgent"),
        (12.0, "soon"),
        (47.9, "soon"),
        (48.0, "note"),
    ],
)
def test_the_time_left_is_the_priority(hours: float | None, priority: str) -> None:
    """A night, and two days."""
    assert priority == pressing(hours)


def test_a_pump_that_is_gone_brings_nothing() -> None:
    """A line of the plan before may name one that is not there any more."""
    found = thirsty(1.5)
    rules = replace(found.rules, pumps={})
    gone = replace(found, rules=rules)
    stopped = replace(of_all(found, Cause.EVERYTHING_HELD), share=0.5)
    hours = hours_to_floor(gone, tank_of(gone), dkh(8.0), stopped)
    assert 32.0 == pytest.approx(hours, abs=0.01)
