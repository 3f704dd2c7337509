"""What is told of holds, silences and refusals in their corners."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.alarms.holds import held
from slackwater.alarms.machinery import machinery
from slackwater.alarms.refusals import refused
from slackwater.alarms.words import action, amounts, headline
from slackwater.facts.alarms import AlarmRaised, Cause
from slackwater.facts.reasons import Code, Figure
from slackwater.facts.safeguards import AwayDeclared, AwayEnded
from tests.alarms.desk import Desk, names, raised
from tests.alarms.test_judging import ABSENT, say
from tests.gate.scene import machine
from tests.gate.test_exchanges import scene


def test_two_devices_under_one_name_explain_what_that_name_says() -> None:
    """One alarm of the node; what it seems to lie about is not told beside it."""
    desk = Desk()
    desk.hold("node/shelf", Code.NODE_IMPOSSIBLE)
    desk.hold("node/shelf", Code.NODE_TWICE)
    assert ["node-twice.shelf"] == names(desk.look_on(120))


def test_a_silence_without_an_end_is_over_at_once() -> None:
    """Nobody may silence an alarm for ever."""
    desk = Desk()
    desk.speaks = False
    assert [ABSENT] == names(desk.look_on(60))
    say(desk, ABSENT, "suppressed")
    assert [f"{ABSENT} active"] == names(desk.look())
    say(desk, ABSENT, "suppressed", hours=1)
    assert [] == names(desk.look())


def test_what_a_person_noted_of_a_hold_is_told_with_it() -> None:
    """Beside the figures of its reason; without a note there is none."""
    desk = Desk()
    desk.hold("all", Code.MANUAL_HOLD)
    (name,) = desk.moment.state.holds
    (plain,) = held(desk.moment)
    assert "note" not in plain.figures
    hold = desk.moment.state.holds[name]
    desk.moment.state.holds[name] = replace(hold, note="a new tube")
    (noted,) = held(desk.moment)
    assert {**plain.figures, "note": "a new tube"} == dict(noted.figures)


def test_a_device_is_nobody_else_before_anything_was_approved() -> None:
    """Where neither the file nor an approval names it, it is what it says."""
    desk = Desk()
    bare = replace(desk.moment, approval=None)
    assert [] == list(machinery(bare))
    nodes = bare.machine.nodes
    named = {"shelf": replace(nodes["shelf"], hardware_id="another")}
    told = list(machinery(replace(bare, machine=replace(bare.machine, nodes=named))))
    assert ["node-identity.shelf"] == [one.id for one in told]


def test_a_drain_that_waits_for_its_fill_is_told_by_what_the_fill_lacks() -> None:
    """New water that nobody tested: the pair stands, and somebody must know why."""
    at = scene()
    assert [] == list(refused(at))
    fill = at.state.fills["canister"]
    at.state.fills["canister"] = replace(fill, levels={})
    told = {one.about for one in refused(at)}
    assert {str(Code.NEW_WATER_UNTESTED)} == told


@pytest.mark.parametrize(
    ("hours", "words"),
    [
        (-1.0, "No time is left: as reckoned, the floor is passed."),
        (0.0, "No time is left: as reckoned, the floor is passed."),
        (0.9, "Less than an hour left to the floor."),
        (1.0, "About 1 h left to the floor."),
        (47.0, "About 47 h left to the floor."),
        (96.0, "About 4 days left to the floor."),
    ],
)
def test_the_time_left_is_said_as_people_count_it(hours: float, words: str) -> None:
    """Nothing, less than an hour, hours, days; without any nothing is said."""
    desk = Desk()
    desk.speaks = False
    (told,) = raised(desk.look_on(60))
    bare = replace(told, figures={})
    assert (words, "") == (amounts(bare, hours), amounts(bare, None))


@pytest.mark.parametrize(
    ("figures", "said"),
    [
        ({"age_days": 80}, "The calibration is old"),
        (
            {"measured": "2026-05-03", "tube_swapped": "2026-05-04"},
            "The tube was swapped after the pump was measured",
        ),
    ],
)
def test_h28_an_alarm_names_the_new_tube_and_no_age(
    figures: dict[str, Figure], said: str
) -> None:
    """Nothing is old where a tube is newer than what was measured with another."""
    told = AlarmRaised(
        **Desk().stamp,
        alarm="calibration-due.carbonate",
        cause=Cause.CALIBRATION_DUE,
        about="carbonate",
        priority="soon",
        figures=figures,
    )
    assert headline(told).startswith(f"calibration-due.carbonate: {said}")
    assert ("age_days" in figures) == ("old" in headline(told))


def test_an_absence_that_nobody_ended_is_told_a_day_after_its_last_day() -> None:
    """Until `back` corrections stay frozen, and upkeep stays at nine tenths."""
    desk = Desk(machine(), reads=None)
    desk.look()
    begins, ends = desk.moment.now.utc, desk.moment.now.utc + timedelta(days=20)
    gone = AwayDeclared(**desk.stamp, from_at=begins, until=ends, by="keeper")
    desk.fold(gone)
    assert [] == names(desk.look_on(21 * 86_400, every_s=3600))
    (told,) = raised(desk.look_on(2 * 3600, every_s=600))
    assert ("held.away", ("reef",), 0.9) == (told.alarm, told.tanks, told.share)
    assert action(told) == "Say that somebody is back: `slackwater back`."
    desk.fold(AwayEnded(**desk.stamp, by="keeper"))
    assert ["held.away returned"] == names(desk.look_on(3600, every_s=60))


def test_where_no_time_can_be_reckoned_a_day_without_doses_presses() -> None:
    """No target, no probe, no test of late: a node that is gone stays no note."""
    desk = Desk(machine(), reads=None)
    known = desk.moment.machine
    aimless = {"reef": replace(known.tanks["reef"], targets={})}
    desk.moment = replace(desk.moment, machine=replace(known, tanks=aimless))
    desk.look()
    desk.speaks = False
    desk.look_on(23 * 3600, every_s=600)
    assert ["note"] == [one.priority for one in raised(desk.events)]
    desk.look_on(2 * 3600, every_s=600)
    assert ["note", "soon"] == [one.priority for one in raised(desk.events)]
    assert {ABSENT} == set(names(desk.events))
    assert all(one.hours_left is None for one in raised(desk.events))
