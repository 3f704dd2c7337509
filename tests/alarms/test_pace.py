"""What is told of the time left after a gap, against figures worked out by hand."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.alarms.conditions import Condition
from slackwater.alarms.foresight import hours_to_floor, levels_in_dkh
from slackwater.alarms.sizing import size_of
from slackwater.facts.alarms import Cause
from slackwater.facts.events import ResumeBegan
from slackwater.facts.waters import MeasurementKept
from tests.alarms.desk import Desk, aimed, raised
from tests.alarms.test_foresight import tank_of, thirsty
from tests.gate.scene import NOW, dkh, machine


def test_after_days_without_a_daemon_the_floor_is_passed() -> None:
    """8.0 dKH three days and seven hours ago, 1.0 a day and nothing given: 4.71.

    The alarm says so and is urgent; the target, where it stood, would give 36 h.
    """
    desk = Desk(aimed(machine()))
    found = thirsty(1.0, floor_dkh=6.5)
    found = replace(found, state=desk.moment.state)
    kept = MeasurementKept(
        **desk.stamp,
        id="m-1",
        tank="reef",
        parameter="alkalinity",
        value=dkh(8.0),
        typed="8.0 dKH",
        taken_at=NOW - timedelta(days=3, hours=7),
        provenance="hand",
        by="keeper",
    )
    desk.fold(kept)
    found.state.stage = "live"
    gone = Condition(cause=Cause.MISSED_DOSES, about="reef", tanks=("reef",), share=0.0)
    told = size_of(found, gone, None)
    assert 4.71 == pytest.approx(levels_in_dkh(told.levels["reef"]), abs=0.006)
    assert (0.0, "urgent") == (told.hours_left, told.priority)


def test_below_the_floor_no_time_is_left_whatever_still_comes() -> None:
    """More comes than is taken up: it will rise, and is below all the same."""
    found = thirsty(0.1, floor_dkh=6.5)
    shortened = Condition(
        cause=Cause.MISSED_DOSES, about="reef", tanks=("reef",), share=0.8
    )
    assert 0.0 == hours_to_floor(found, tank_of(found), dkh(6.4), shortened)


@pytest.mark.parametrize(("taken", "expected"), [(80, (0.0, "urgent")), (2, None)])
def test_a_way_back_from_below_the_floor_is_urgent(
    taken: int, expected: tuple[float, str] | None
) -> None:
    """After days without a daemon the plan comes back slowly; how low the water is.

    Where it still stands above its floor the way back is a note, without a time.
    """
    desk = Desk(aimed(machine()))
    kept = MeasurementKept(
        **desk.stamp,
        id="m-1",
        tank="reef",
        parameter="alkalinity",
        value=dkh(8.0),
        typed="8.0 dKH",
        taken_at=NOW - timedelta(hours=taken),
        provenance="hand",
        by="keeper",
    )
    # It was fed for two days before all of this, and by nobody since.
    desk.moment.state.stage_since = NOW - timedelta(days=5)
    desk.fold(kept, ResumeBegan(**desk.stamp, tank="reef", planned=1, believed=0))
    desk.look_on(600, every_s=60)
    (told,) = [one for one in raised(desk.events) if one.cause is Cause.RESUMING]
    assert (expected or (None, "note")) == (told.hours_left, told.priority)
