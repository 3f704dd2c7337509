"""What begins, what ends, what is said again, and how often (H59, H63)."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.alarms.judging import OFF_AT_MOST_S, off_s
from slackwater.alarms.rows import ROWS
from slackwater.alarms.words import headline
from slackwater.facts.alarms import AlarmChanged, AlarmWord, Cause
from slackwater.facts.plan import Plan
from slackwater.facts.reasons import SENTENCES, Code
from slackwater.facts.rolling import Rolling
from slackwater.facts.tank import Machine, Reservoir
from slackwater.facts.waters import MeasurementKept
from slackwater.gate.moment import rules_for
from tests.alarms.desk import TARGET, Desk, names, raised
from tests.gate.scene import (
    APPROVAL,
    PROBE,
    dkh,
    dkh_peq,
    machine,
    plan,
    probed,
)

ABSENT = "node-absent.shelf"
HELD = "everything-held.all"
HOUR_S = 3600.0


def say(desk: Desk, alarm: str, to: AlarmWord, hours: float | None = None) -> None:
    """A person says something of an alarm."""
    until = None if hours is None else desk.moment.now.utc + timedelta(hours=hours)
    desk.fold(AlarmChanged(**desk.stamp, alarm=alarm, to=to, by="keeper", until=until))


def test_a_sound_house_says_nothing() -> None:
    """An hour of looks, and no entry."""
    desk = Desk()
    assert [] == desk.look_on(HOUR_S)


def test_a_beat_that_is_late_for_a_moment_is_no_alarm() -> None:
    """Fifteen seconds make it absent, twenty-five more make it an alarm."""
    desk = Desk()
    desk.look()
    desk.speaks = False
    assert [] == desk.look_on(35)
    desk.speaks = True
    assert [] == desk.look_on(60)
    desk.speaks = False
    assert [ABSENT] == names(desk.look_on(45))


def test_an_alarm_ends_when_its_cause_was_gone_for_a_minute() -> None:
    """Not at the first good beat."""
    desk = Desk()
    desk.speaks = False
    desk.look_on(60)
    desk.speaks = True
    assert [] == desk.look_on(60)
    assert [f"{ABSENT} returned"] == names(desk.look())


def test_h63_what_comes_and_goes_is_told_less_and_less() -> None:
    """A node that flickers for a day: the wait before an end doubles up to an hour."""
    desk = Desk()
    for number in range(24 * 12):
        desk.speaks = number % 2 == 0
        desk.look_on(300, every_s=10)
    assert len(raised(desk.events)) <= 6
    waits = [
        off_s(replace(desk.moment.state.alarms[ABSENT], times=times))
        for times in (1, 2, 3, 4, 99)
    ]
    assert [60.0, 120.0, 240.0, 480.0, OFF_AT_MOST_S] == waits


def test_h63_a_root_hides_what_follows_from_it() -> None:
    """The link is down: neither node nor probe nor level is told beside it."""
    desk = Desk()
    desk.look()
    desk.moment.sight.observe_up = False
    desk.speaks, desk.reads = False, None
    assert ["link-down.all"] == names(desk.look_on(2 * HOUR_S))


def test_what_was_hidden_waits_its_time_when_the_root_is_gone() -> None:
    """A node gets its time to speak after the link came back."""
    desk = Desk()
    desk.moment.sight.observe_up, desk.speaks = False, False
    desk.look_on(HOUR_S)
    desk.moment.sight.observe_up = True
    assert [] == desk.look_on(20)
    assert [ABSENT] == names(desk.look_on(15))


def test_h63_at_most_ten_are_told_in_ten_minutes_the_pressing_first() -> None:
    """Thirty nodes die and there is far too much: that is told first."""
    desk = Desk(reads=9.9)
    known, rules = desk.moment.machine, desk.moment.rules
    many = [f"n{number:02}" for number in range(30)]
    pumps = {name: replace(known.pumps["calcium"], id=name, node=name) for name in many}
    line = rules.lines["reef/calcium"]
    lines = {
        f"reef/{name}": replace(line, mates=(), line=replace(line.line, pump=name))
        for name in many
    }
    nodes = {name: replace(known.nodes["shelf"], id=name) for name in many}
    desk.moment = replace(
        desk.moment,
        machine=replace(
            known,
            pumps={**known.pumps, **pumps},
            nodes={**known.nodes, **nodes},
            reservoirs={"one": Reservoir(id="one", content_ul=10**9)},
        ),
        rules=replace(rules, lines={**rules.lines, **lines}),
    )
    told = desk.look_on(600)
    assert 10 == len(raised(told))
    assert "alkalinity-ceiling.reef" == raised(told)[0].alarm
    later = desk.look_on(600)
    assert 10 == len(raised(later))
    assert 31 == len({one.alarm for one in raised(told + later + desk.look_on(1300))})


def test_h59_a_forgotten_hold_is_told_at_10_25_and_50_percent_of_the_way() -> None:
    """8.0 to 6.5 dKH at 1.4 a day are 25.7 h: told after 2.6, 6.4 and 12.9 h.

    By hand: 1.5 dKH / (1.4 dKH/day) = 25.71 h, and shares of it.
    """
    desk = Desk(machine())
    desk.look()
    desk.hold()
    desk.look_on(23 * HOUR_S, every_s=60)
    told = [one for one in raised(desk.events) if one.alarm == HELD]
    begun, steps = told[0].at, dict[int, float]()
    for one in told[1:]:
        hours_since = (one.at - begun) / timedelta(hours=1)
        steps.setdefault(one.reminder, hours_since)
    assert {10, 25, 50} == set(steps)
    for percent, hours in steps.items():
        assert abs(hours - 25.71 * percent / 100) <= 0.05


def test_what_comes_down_to_its_target_has_lost_nothing() -> None:
    """One reading of 9.9 dKH, then 8.0 again: no reminder, though 1.9 of 3.4 is lost.

    A person's word on it is not taken back by good news.
    """
    name = "alkalinity-ceiling.reef"
    desk = Desk(probed(), reads=9.9)
    desk.hold("alkalinity/reef", Code.ALKALINITY_CEILING)
    desk.look_on(60)
    say(desk, name, "acknowledged")
    desk.reads = TARGET
    desk.look_on(HOUR_S)
    (told,) = [one for one in raised(desk.events) if one.alarm == name]
    assert 0 == told.reminder
    assert "acknowledged" == desk.moment.state.alarms[name].word


def twins() -> Machine:
    """Two alkalinity probes, of which the second was never heard."""
    return replace(probed(), probes={"kh": PROBE, "kh2": replace(PROBE, id="kh2")})


def test_a_dead_probe_beside_a_sound_one_hides_no_low_water() -> None:
    """6.2 dKH by the sound one: the dead one is a note, the water is urgent."""
    desk = Desk(twins(), reads=6.2)
    desk.look_on(HOUR_S, every_s=30)
    told = {one.alarm: one.priority for one in raised(desk.events)}
    assert {"probe-missing.kh2": "note", "alkalinity-low.reef": "urgent"} == told


def test_a_dead_probe_beside_a_sound_one_hides_no_fall_either() -> None:
    """Nor does it for a day after it came back."""
    desk = Desk(twins())
    desk.look_on(HOUR_S, every_s=30)
    twin = desk.moment.sight.readings
    twin["kh2"] = [replace(r, probe="kh2") for r in twin["kh"]]
    desk.look_on(600, every_s=30)
    assert "probe-missing.kh2 returned" in names(desk.events)
    del twin["kh2"]
    desk.reads = TARGET - 1.0
    desk.look_on(2 * HOUR_S, every_s=30)
    assert "alkalinity-fall.reef" in names(desk.events)


def test_a_pump_of_traces_that_is_held_hides_no_low_water() -> None:
    """It adds no alkalinity, so it brings none down."""
    desk = Desk(machine(), reads=None)
    desk.moment = replace(desk.moment, rules=rules_for(desk.moment.machine, apart()))
    desk.hold("pump/calcium")
    desk.look_on(HOUR_S, every_s=30)
    assert ["manual-hold.reef"] == names(desk.events)
    test = by_hand(desk, 6.2)
    desk.moment.state.levels["reef/alkalinity"] = test
    desk.look_on(60)
    assert {"manual-hold.reef", "alkalinity-low.reef"} == set(names(desk.events))


def apart() -> Plan:
    """The plan of the scene with two lines that need not dose together."""
    lines = tuple(replace(line, group="") for line in plan().lines)
    return replace(plan(), lines=lines, groups={})


def by_hand(desk: Desk, level: float) -> MeasurementKept:
    """A hand test of now."""
    return MeasurementKept(
        **desk.stamp,
        id="m-1",
        tank="reef",
        parameter="alkalinity",
        value=dkh(level),
        typed=f"{level} dKH",
        taken_at=desk.moment.now.utc,
        method="drops",
        provenance="hand",
        by="keeper",
    )


def test_a_ph_that_leaps_too_high_is_one_alarm() -> None:
    """It rose too fast and is too high: the one root is told by the second."""
    desk = Desk(machine())
    desk.hold("raising/reef", Code.PH_RISE)
    desk.hold("carbonate/reef", Code.PH_HIGH)
    desk.look_on(60)
    assert ["held.ph-high"] == names(desk.events)


def test_time_left_makes_a_hold_urgent() -> None:
    """Below twelve hours nobody may sleep over it."""
    desk = Desk(machine())
    desk.look()
    desk.hold()
    desk.look_on(20 * HOUR_S, every_s=60)
    told = [one for one in raised(desk.events) if one.alarm == HELD]
    assert "soon" == told[0].priority
    first_urgent = next(one for one in told if one.priority == "urgent")
    assert first_urgent.hours_left is not None
    assert 11.5 < first_urgent.hours_left <= 12.0


def test_a_hold_that_stops_no_alkalinity_is_told_by_the_clock() -> None:
    """After a day, three days and a week, for there is no way to a floor."""
    desk = Desk()
    line = desk.moment.rules.lines["reef/calcium"]
    alone = {"reef/calcium": replace(line, mates=(), follows_alkalinity=False)}
    desk.moment = replace(desk.moment, rules=replace(desk.moment.rules, lines=alone))
    desk.hold("pump/calcium")
    desk.look_on(8 * 24 * HOUR_S, every_s=900)
    told = [one for one in raised(desk.events) if one.cause is Cause.MANUAL_HOLD]
    begun = told[0].at
    hours = [round((one.at - begun) / timedelta(hours=1)) for one in told]
    assert [0, 24, 72, 168] == hours


def test_what_was_acknowledged_is_quiet_until_it_grows() -> None:
    """No word for two hours, then ten percent of the way are behind."""
    desk = Desk(machine())
    desk.look()
    desk.hold()
    desk.look()
    desk.look()
    say(desk, HELD, "acknowledged")
    assert [] == desk.look_on(2 * HOUR_S, every_s=60)
    assert [HELD] == names(desk.look_on(HOUR_S, every_s=60))
    assert "active" == desk.moment.state.alarms[HELD].word


def test_what_a_root_left_behind_is_not_told_for_a_day() -> None:
    """Doses missed while a node was absent are its story, and no second alarm."""
    desk = Desk()
    key = "reef/alkalinity"
    desk.look()
    desk.speaks = False
    desk.look_on(60)
    state = desk.moment.state
    state.planned.setdefault(key, Rolling()).add(
        desk.moment.proven_ms, dkh_peq(1.0), ""
    )
    desk.speaks = True
    assert [f"{ABSENT} returned"] == names(desk.look_on(23 * HOUR_S, every_s=60))
    state.planned[key].add(desk.moment.proven_ms, dkh_peq(1.0), "")
    assert ["missed-doses.reef"] == names(desk.look_on(2 * HOUR_S, every_s=60))


def test_two_holds_by_hand_on_one_tank_are_one_alarm() -> None:
    """Whoever releases one of them still has the other told."""
    desk = Desk()
    desk.hold("pump/carbonate")
    desk.fold(
        replace(
            desk.moment.state.holds["manual-hold/pump/carbonate"],
            hold_id="second",
            scope="tank/reef",
        )
    )
    assert ["manual-hold.reef"] == names(desk.look_on(20))


def test_in_shadow_nothing_is_short() -> None:
    """No pump is commanded, so no time runs out; the alarm is a note."""
    desk = Desk()
    desk.moment.state.stage = "shadow"
    desk.look()
    desk.speaks = False
    (told,) = raised(desk.look_on(48 * HOUR_S, every_s=300))
    assert ("note", None, 0) == (told.priority, told.hours_left, told.reminder)


@pytest.mark.parametrize("code", [Code.LEAK, Code.NO_PLAN, Code.CAP_NET])
def test_a_hold_of_a_reason_without_a_row_is_told_all_the_same(code: Code) -> None:
    """A reason that nobody thought of here still wakes somebody."""
    desk = Desk()
    desk.hold("pump/carbonate", code)
    (told,) = raised(desk.look_on(20))
    assert (f"held.{code}", str(code)) == (told.alarm, told.figures["reason"])
    assert SENTENCES[code] in headline(told)


def test_every_cause_has_its_row_and_no_root_explains_itself_away() -> None:
    """Hiding leads downwards only: two causes never hide each other."""
    assert set(Cause) == set(ROWS)
    hides = {cause: row.hides | row.covers for cause, row in ROWS.items()}

    def below(cause: Cause, path: tuple[Cause, ...]) -> None:
        assert cause not in path, (path, cause)
        for lower in hides[cause]:
            below(lower, (*path, cause))

    for cause in Cause:
        below(cause, ())


def test_no_row_waits_longer_than_a_minute() -> None:
    """On-delay and the seconds before it leave room for a look in five seconds."""
    assert all(row.on_s <= 30.0 for row in ROWS.values())
    assert all(row.action.endswith(".") and row.sentence for row in ROWS.values())


def test_an_approval_is_told_again_when_three_days_are_left() -> None:
    """A note two weeks before, and pressing at the end; nobody's silence hides it."""
    desk = Desk()
    ends = desk.moment.now.utc + timedelta(days=13)
    known = replace(APPROVAL, expires_at=ends)
    desk.moment = replace(desk.moment, approval=known)
    desk.look_on(60)
    say(desk, "approval-ending.all", "suppressed", hours=24 * 12)
    desk.look_on(10.1 * 24 * HOUR_S, every_s=HOUR_S)
    told = raised(desk.events)
    assert ["note", "soon"] == [one.priority for one in told]
    assert timedelta(days=2.9) < ends - told[1].at <= timedelta(days=3)
    assert "active" == desk.moment.state.alarms["approval-ending.all"].word


def test_an_approval_that_ended_is_told_each_day_of_its_grace() -> None:
    """Fourteen tellings in two weeks, then the one that nothing is dosed any more."""
    desk = Desk()
    ends = desk.moment.now.utc
    dead = ends + timedelta(days=14)
    known = replace(APPROVAL, expires_at=ends, grace_until=dead)
    desk.moment = replace(desk.moment, approval=known)
    desk.look_on(15 * 24 * HOUR_S, every_s=HOUR_S / 4)
    told = [one for one in raised(desk.events) if one.about == "all"]
    grace = [one for one in told if one.alarm == "approval-grace.all"]
    assert list(range(14, 0, -1)) == [one.figures["days_left"] for one in grace]
    assert {"soon"} == {one.priority for one in grace}
    assert "approval-expired.all" == told[-1].alarm
    assert told[-1].at >= dead


def test_too_much_by_its_own_name_looks_at_the_ceiling() -> None:
    """A hand test above it leaves no time at all."""
    desk = Desk(machine(), reads=None)
    desk.hold("alkalinity/reef", Code.ALKALINITY_TEST)
    (told,) = raised(desk.look_on(20))
    assert "held.alkalinity-test" == told.alarm
    assert told.hours_left is not None
