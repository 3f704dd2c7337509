"""Nothing is silent for ever: a silence ends by itself, whatever the clock does."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.alarms import AlarmChanged
from tests.alarms.desk import Desk, changed

HOUR_S = 3600.0
DIFFER = "files-differ.all"


def silenced(hours: float) -> Desk:
    """An alarm that a person wants to hear nothing of for so long."""
    desk = Desk()
    desk.differ = ("plan.toml",)
    desk.look_on(10)
    until = desk.moment.now.utc + timedelta(hours=hours)
    said = AlarmChanged(
        **desk.stamp, alarm=DIFFER, to="suppressed", by="keeper", until=until
    )
    desk.fold(said)
    return desk


def test_a_silence_ends_by_itself() -> None:
    """Eight hours later it is active again, and says so."""
    desk = silenced(8)
    assert [] == desk.look_on(7.9 * HOUR_S, every_s=60)
    told = changed(desk.look_on(0.2 * HOUR_S, every_s=60))
    assert ["active"] == [one.to for one in told]


@pytest.mark.parametrize(("back", "ends"), [(15.9, False), (16.1, True), (8760, True)])
def test_a_clock_put_back_makes_no_silence_last_longer_than_a_day(
    back: float, *, ends: bool
) -> None:
    """Eight hours wanted: what is then more than 24 hours ahead is over at once."""
    desk = silenced(8)
    now = desk.moment.now
    behind = replace(now, utc=now.utc - timedelta(hours=back))
    desk.moment = replace(desk.moment, now=behind)
    told = [one for one in changed(desk.look_on(60)) if one.alarm == DIFFER]
    assert (["active"] if ends else []) == [one.to for one in told]
