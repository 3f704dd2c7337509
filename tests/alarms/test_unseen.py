"""Doses that are sent, and that nobody sees run, are told."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.facts.alarms import AlarmRaised
from slackwater.facts.events import DoseEnded, DoseSealed
from tests.alarms.desk import Desk, names, raised
from tests.alarms.manned import HOUR_MS, MINUTE_MS, Manned
from tests.gate.scene import machine
from tests.properties.bus import Bus

UNSEEN = "doses-unseen.carbonate"


def next_dose(house: Manned) -> None:
    """Live on until a moment before the next dose is due."""
    now = house.times.now().utc
    due = house.rig.setup.forces[0].timetable.next_after(now)
    assert due is not None
    house.pass_ms(max(int((due - now) / timedelta(milliseconds=1)) - 200, 1))


def browns_out(house: Manned) -> None:
    """Whenever a pump starts its node loses its power, and comes back at once."""
    for _ in range(12):
        next_dose(house)
        for _ in range(60):
            house.pass_ms(100)
            if house.state.open:
                house.pass_ms(400)
                house.posts["shelf"].power_up(house.times.t_ms)
                break
        house.pass_ms(20 * 1000)


def hears_nothing(house: Manned) -> None:
    """The broker lets no command through, and every beat."""
    house.pass_ms(9 * HOUR_MS)


@pytest.mark.parametrize("strike", [browns_out, hears_nothing])
def test_h23_what_is_sent_and_never_seen_to_end_is_told(
    strike: Callable[[Manned], None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The third dose in a row; what the books believe of it is not known."""
    house = Manned(tmp_path, water={"reef": {"uptake_dkh_per_day": 0.9}})
    house.settle()
    house.near = False
    if strike is hears_nothing:
        monkeypatch.setattr(Bus, "to_node", lambda *_lost: None)
    strike(house)
    told = [
        seen.event
        for seen in house.alarms()
        if isinstance(seen.event, AlarmRaised) and seen.event.alarm == UNSEEN
    ]
    assert told
    assert {"reef/carbonate", "reef/calcium"} == set(told[0].stops)
    sealed = [one for one in house.book.entries if isinstance(one.event, DoseSealed)]
    assert bool(sealed) is (strike is browns_out)
    # The node is mended: the first dose that is seen to end ends it.
    monkeypatch.undo()
    ended = len([o for o in house.book.entries if isinstance(o.event, DoseEnded)])
    house.pass_until(lambda: _ended(house) > ended + 1, 6 * HOUR_MS)
    house.pass_ms(90 * MINUTE_MS)
    assert "returned" == house.state.alarms[UNSEEN].word


def _ended(house: Manned) -> int:
    return len([one for one in house.book.entries if isinstance(one.event, DoseEnded)])


def test_two_in_a_row_are_no_alarm() -> None:
    """A node may reboot, and a broker restart."""
    desk = Desk(machine(), reads=None)
    desk.moment.state.unseen["carbonate"] = 2
    assert [] == desk.look_on(60)
    desk.moment.state.unseen["carbonate"] = 3
    assert [UNSEEN] == names(desk.look_on(60))
    (told,) = raised(desk.events)
    assert 3 == told.figures["doses"]
    desk.moment.state.unseen.clear()
    assert [f"{UNSEEN} returned"] == names(desk.look_on(120))
