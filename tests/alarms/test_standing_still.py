"""A level is carried from the last word that can be believed."""

from dataclasses import replace

import pytest

from slackwater.alarms.foresight import level_now
from tests.alarms.desk import TARGET, Desk, raised
from tests.gate.scene import dkh, probed


def test_a_probe_that_stands_still_stops_no_clock() -> None:
    """It shows 8.0 for ever, and nothing is dosed: 25.7 h at 1.4 dKH a day.

    From the first of its equal readings on the level is carried down.
    """
    desk = Desk(probed(), reads=TARGET)
    desk.look_on(4 * 3600, every_s=900)
    desk.reads = None
    desk.hold()
    series = desk.moment.sight.readings["kh"]
    for _ in range(24 * 4):
        utc = desk.moment.now.utc
        series.append(replace(series[-1], value=dkh(TARGET), at=utc))
        desk.look(900)
    held = [one for one in raised(desk.events) if one.alarm == "everything-held.all"]
    assert "urgent" == held[-1].priority
    assert 50 == held[-1].reminder
    level = level_now(desk.moment, desk.moment.machine.tanks["reef"])
    assert level is not None
    assert level == pytest.approx(dkh(TARGET - 1.4), abs=dkh(0.05))
