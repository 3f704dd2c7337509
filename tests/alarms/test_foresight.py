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
    measured,
    pressing,
    short_peq,
    touches,
    uptake_per_day,
    way_to_floor,
)
from slackwater.facts.alarms import Cause
from slackwater.facts.charging import hour_of
from slackwater.facts.plan import PlanLine
from slackwater.facts.rolling import Rolling
from slackwater.facts.tank import Outside, Tank, Uptake
from slackwater.facts.waters import MeasurementKept
from slackwater.gate.moment import Moment, rules_for
from tests.alarms.desk import Desk, aimed
from tests.gate.scene import (
    GUARD,
    NOW,
    TODAY,
    dkh,
    dkh_peq,
    machine,
    moment,
    plan,
    with_probe,
)

# Noon in UTC is two o'clock beside the tank.
HOURS_OF_TODAY = 14


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
    """It is judged for two days and carried for two weeks; then the target stands.

    8.4 dKH, and 1.4 a day for two days and an hour: 5.48 are left.
    """
    desk = Desk(aimed(machine()))
    found = desk.moment
    assert measured(found, tank_of(found)) is None
    kept = MeasurementKept(
        **desk.stamp,
        id="m-1",
        tank="reef",
        parameter="alkalinity",
        value=dkh(8.4),
        typed="8.4 dKH",
        taken_at=NOW - timedelta(hours=1),
        provenance="hand",
        by="keeper",
        method="titration",
    )
    desk.fold(kept)
    known = measured(found, tank_of(found))
    assert known is not None
    assert (dkh(8.4), "titration") == (known.value, known.source)
    old = replace(found, now=replace(found.now, utc=NOW + timedelta(hours=48)))
    assert measured(old, tank_of(old)) is None
    level = level_now(old, tank_of(old))
    assert level is not None
    assert 5.54 == pytest.approx(levels_in_dkh(level), abs=0.006)
    ages = replace(found, now=replace(found.now, utc=NOW + timedelta(days=14)))
    assert dkh(8.0) == level_now(ages, tank_of(ages))


def test_where_a_fault_began_stands_for_what_nobody_measures() -> None:
    """From 8.0 dKH ten hours ago, at 1.4 a day: 7.42."""
    found = Desk(aimed(machine())).moment
    begun = Level(value=dkh(8.0), at=NOW - timedelta(hours=10), source="x")
    level = level_now(found, tank_of(found), begun)
    assert level is not None
    assert 7.42 == pytest.approx(levels_in_dkh(level), abs=0.006)


def steady(
    *more: PlanLine, lines: tuple[PlanLine, ...] = (), uptake: bool = False
) -> Moment:
    """The scene's plan, or these lines, and more; uptake unstated unless asked for."""
    base = aimed(machine())
    tank = base.tanks["reef"]
    if not uptake:
        tank = replace(tank, uptake={})
    guard = replace(GUARD, floor=dkh(6.0))
    base = replace(base, tanks={"reef": tank}, guards={"reef": guard})
    asked = replace(plan(), lines=(*(lines or plan().lines), *more))
    return replace(moment(base), rules=rules_for(base, asked))


def correction(first: int, last: int) -> PlanLine:
    """As much again as the scene gives, from one day to another, counted from today."""
    line = next(one for one in plan().lines if one.id == "carbonate")
    return replace(
        line,
        id="up",
        group="",
        purpose="correction",
        first_day=TODAY + timedelta(days=first),
        last_day=TODAY + timedelta(days=last),
    )


def test_where_no_uptake_is_stated_the_plan_stands_for_it() -> None:
    """A tank that is kept steady takes up what it is given."""
    found = steady()
    assert found.rules.alkalinity["reef"][1] == uptake_per_day(found, tank_of(found))


@pytest.mark.parametrize("days", [(-9, -1), (-1, 1), (0, 0), (1, 9)])
def test_a_correction_is_no_upkeep(days: tuple[int, int]) -> None:
    """Over, under way or yet to come: the tank takes up what lasting lines give."""
    alone, found = steady(), steady(correction(*days))
    assert uptake_per_day(alone, tank_of(alone)) == uptake_per_day(
        found, tank_of(found)
    )
    before = hours_without_dosing(alone, tank_of(alone), dkh(8.0))
    assert before is not None
    assert before == hours_without_dosing(found, tank_of(found), dkh(8.0))


def test_steps_of_a_proposal_count_one_at_a_time() -> None:
    """48 mL until yesterday and 48 mL from today on are not 96."""
    (line, *rest) = plan().lines
    past = replace(line, id="past", group="", last_day=TODAY - timedelta(days=1))
    now = replace(line, id="now", group="", first_day=TODAY)
    found, alone = steady(lines=(past, now, *rest)), steady()
    assert uptake_per_day(alone, tank_of(alone)) == uptake_per_day(
        found, tank_of(found)
    )


def test_a_plan_that_has_not_begun_stands_for_its_first_day() -> None:
    """Approved today for next week; until then nothing is added."""
    base = steady()
    asked = replace(plan(), starts=TODAY + timedelta(days=7))
    found = replace(base, rules=rules_for(base.machine, asked))
    tank = tank_of(found)
    assert uptake_per_day(base, tank) == uptake_per_day(found, tank)
    late, soon = (hours_to_ceiling(one, tank, dkh(8.0)) for one in (found, base))
    assert late is not None
    assert soon is not None
    hours_before = 7 * 24 - HOURS_OF_TODAY
    assert hours_before + soon == pytest.approx(late, abs=0.01)


@pytest.mark.parametrize(
    ("days", "hours"),
    [
        # 1.7 dKH of room at 1.2698 a day, at twice that while the correction lasts.
        ((-9, -1), 32.13),
        ((-1, 9), 16.07),
        ((0, 0), 32.13 - (24 - HOURS_OF_TODAY)),
        ((1, 9), (32.13 + 24 - HOURS_OF_TODAY) / 2),
    ],
)
def test_a_correction_counts_toward_the_ceiling_on_its_own_days(
    days: tuple[int, int], hours: float
) -> None:
    """One that is over brings it no nearer, one that ends today until midnight."""
    found = steady(correction(*days))
    told = hours_to_ceiling(found, tank_of(found), dkh(8.0))
    assert hours == pytest.approx(told, abs=0.02)


def test_a_fall_is_quicker_when_a_correction_has_ended() -> None:
    """Upkeep held, 1.4 dKH a day taken up and 1.27 corrected until tonight.

    Until midnight the tank loses 0.13 dKH a day, from then on all of it.
    """
    held = Condition(
        cause=Cause.OVER_DELIVERED,
        about="carbonate",
        tanks=("reef",),
        stops=frozenset({"reef/carbonate"}),
    )
    left_h = 24 - HOURS_OF_TODAY
    falls = {}
    for name, days in (("ended", (-3, -1)), ("tonight", (0, 0)), ("lasts", (0, 99))):
        found = steady(correction(*days), uptake=True)
        falls[name] = hours_to_floor(found, tank_of(found), dkh(8.0), held)
    taken, comes = (
        uptake_per_day(steady(uptake=True), tank_of(found)),
        steady().rules.alkalinity["reef"][0],
    )
    room = dkh_peq(2.0)
    assert room / taken * 24 == pytest.approx(falls["ended"], rel=1e-4)
    assert room / (taken - comes) * 24 == pytest.approx(falls["lasts"], rel=1e-4)
    tonight = left_h + (room - (taken - comes) * left_h / 24) / taken * 24
    assert tonight == pytest.approx(falls["tonight"], rel=1e-4)


def test_a_hold_of_what_is_over_lets_nothing_fall() -> None:
    """A correction of last week is missed by nobody; one of today is."""
    for days, expected in (((-9, -1), False), ((-9, 0), True), ((1, 2), True)):
        found = steady(correction(*days))
        held = Condition(
            cause=Cause.OVER_DELIVERED,
            about="carbonate",
            tanks=("reef",),
            stops=frozenset({"reef/up"}),
        )
        assert expected == touches(found, tank_of(found), held)


def test_a_line_of_some_days_counts_with_its_mean() -> None:
    """Three days a week are 3/7, every other day a half; a dose is a share of a day."""
    every = steady().rules.alkalinity["reef"][0]
    rule = moment().rules.lines["reef/carbonate"]
    timed = replace(rule, line=replace(rule.line, count=0, times_minute=(60, 120)))
    weekly, second = (
        replace(rule.line, group="", **fields)
        for fields in ({"weekdays": ("mon", "wed", "fri")}, {"every_days": 2})
    )
    for line, share in ((weekly, 3 / 7), (second, 1 / 2)):
        found = steady(lines=(line,))
        assert every * share == pytest.approx(uptake_per_day(found, tank_of(found)))
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
