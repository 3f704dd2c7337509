"""How the show writes commands down, and when it lets its solutions be dosed."""

import shlex
import shutil
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from demo.show import CONFIG, as_typed, in_these_minutes, zone_of
from slackwater.outside.settings import read_machine, read_plan
from slackwater.planning.timetable import timetable_of

DAY = date(2026, 5, 3)
HOUR = timedelta(hours=1)
# A show that went on for so long gets no further dose.
LONGEST = timedelta(minutes=4)
# As `propose` writes it; invented amounts.
PROPOSED = """
name = "proposed"
starts = 2026-05-03

[[line]]
id = "calcium"
tank = "reef"
solution = "calcium"
pump = "calcium"
per_day = "13.1 mL"
doses = 24
windows = ["00:00-24:00"]

[[line]]
id = "carbonate"
tank = "reef"
solution = "carbonate"
pump = "carbonate"
per_day = "12.6 mL"
doses = 24
windows = ["00:00-24:00"]
"""
PATH = "/srv/a-folder-of-this-show/config/with-a-long-name"


@pytest.mark.parametrize(
    "words",
    [
        ("status",),
        ("approve", "--now", "--by", "demo", "--yes-highest-daily", "34 mL"),
        ("import", f"{PATH}/report.csv", "--sampled-at", "2026-05-03", "--by", "demo"),
        ("record", "alkalinity=8.1 dKH", "--note", 'it\'s a "test"'),
    ],
)
def test_a_command_can_be_typed_as_it_is_shown(words: tuple[str, ...]) -> None:
    """A shell reads the same words from it, and no line runs off the screen."""
    shown = as_typed(words)
    assert all(len(line) <= 80 for line in shown.split("\n"))
    typed = shown.removeprefix("$ ").replace("\\\n", "")
    assert ["slackwater", *words] == shlex.split(typed)


def test_the_solutions_are_dosed_in_turn_from_the_minute_on(tmp_path: Path) -> None:
    """No two doses in a row of one pump, and the next of either is half a minute off.

    A daemon that was killed shows a dose of each soon, whatever the second is.
    """
    now = datetime(2026, 5, 3, 12, 17, 59, tzinfo=UTC)
    shutil.copy(CONFIG / "slackwater.toml", tmp_path)
    (tmp_path / "plan.toml").write_text(in_these_minutes(PROPOSED, now))
    machine = read_machine(tmp_path)
    timetable = timetable_of(read_plan(tmp_path, machine), machine)
    assert () == timetable.conflicts("reef", DAY)
    doses = timetable.between(now, now + LONGEST)
    assert doses[0].due_at - now <= timedelta(seconds=24)
    assert doses[-1].due_at >= now + LONGEST - timedelta(seconds=24)
    for one, following in pairwise(doses):
        assert one.pump != following.pump
        assert timedelta(seconds=12) == following.due_at - one.due_at


@pytest.mark.parametrize("hour", range(24))
def test_midnight_is_more_than_half_an_hour_away_from_the_reef(hour: int) -> None:
    """The reef lies where its day is the day of the show, at every minute."""
    for minute in range(60):
        now = datetime(2026, 5, 3, hour, minute, tzinfo=UTC)
        zone = ZoneInfo(zone_of(now))
        around = (now - HOUR / 2, now, now + HOUR / 2)
        assert {DAY} == {moment.astimezone(zone).date() for moment in around}
