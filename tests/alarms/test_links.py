"""How pressing it is that the link is down."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.alarms.machinery import LASTING
from slackwater.alarms.rows import ROWS
from slackwater.facts.alarms import AlarmRaised, Cause, Priority
from tests.alarms.desk import Desk
from tests.gate.scene import dkh_peq

MINUTE_S = 60.0
UPTAKE = dkh_peq(1.4)
# The scene's floor is 6.5 dKH and it takes up 1.4 dKH a day: 7 and 26 hours left; with
# a third of the uptake 77 hours.
LEVELS: list[tuple[float, Priority]] = [(6.9, "urgent"), (8.0, "soon")]


def told(desk: Desk, span_s: float) -> list[AlarmRaised]:
    """What is told of the link in so many seconds, looked at each ten."""
    found = desk.look_on(span_s, every_s=10)
    raised = [one for one in found if isinstance(one, AlarmRaised)]
    return [one for one in raised if one.cause is Cause.LINK_DOWN]


def distant(desk: Desk) -> Desk:
    """A tank that takes up a third of it."""
    machine = desk.moment.machine
    reef = machine.tanks["reef"]
    third = replace(reef.uptake["alkalinity"], estimate=UPTAKE // 3, low=UPTAKE // 4)
    tank = replace(reef, uptake={"alkalinity": third})
    desk.moment = replace(desk.moment, machine=replace(machine, tanks={"reef": tank}))
    return desk


def cut(desk: Desk) -> Desk:
    """Commands cannot leave."""
    desk.look()
    desk.moment.sight.actuate_up = False
    return desk


@pytest.mark.parametrize(("level", "priority"), LEVELS)
def test_the_time_left_says_how_pressing_it_is(
    level: float, priority: Priority
) -> None:
    """Nothing is dosed: the less there is above the floor, the sooner."""
    desk = cut(Desk(reads=level))
    assert [priority] == [one.priority for one in told(desk, MINUTE_S)]


def test_a_link_that_stays_down_is_told_again_as_soon() -> None:
    """With days to the floor it is a note at first, and no note after an hour."""
    desk = cut(distant(Desk()))
    assert ["note"] == [one.priority for one in told(desk, LASTING.total_seconds())]
    later = told(desk, 2 * MINUTE_S)
    assert [("link-down.all", "soon")] == [(one.alarm, one.priority) for one in later]
    assert [] == told(desk, 10 * MINUTE_S)


def test_in_shadow_it_stays_a_note() -> None:
    """Nothing is dosed there anyway."""
    desk = cut(Desk())
    desk.moment.state.stage = "shadow"
    found = told(desk, (LASTING + timedelta(minutes=10)).total_seconds())
    assert ["note"] == [one.priority for one in found]


def test_the_restart_is_named_as_the_last_means() -> None:
    """Broker and network come first."""
    action = ROWS[Cause.LINK_DOWN].action
    assert action.index("broker") < action.index("last means")
    assert "systemctl restart slackwater" in action
