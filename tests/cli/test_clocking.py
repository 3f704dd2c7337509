"""H38: `clock confirm` says what becomes of doses that a clock ahead had decided."""

from datetime import date, timedelta
from pathlib import Path

import pytest

from slackwater.facts.events import DoseMissed, SpanMissed
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Code, because
from slackwater.pump.outcome import Stamp
from tests.cli.stage import Stage, stage_of


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample, whose clock nobody has confirmed."""
    return stage_of(tmp_path)


def test_confirming_the_clock_says_which_lines_it_gives_back(stage: Stage) -> None:
    """A clock a year ahead had missed them; what is over by now stays missed."""
    stamp = stage.stamp()
    for line, days in (("carbonate", 365), ("calcium", -1)):
        last = stamp["at"] + timedelta(days=days)
        missed = SpanMissed(
            **stamp,
            tank="reef",
            line=line,
            first_due=last - timedelta(days=366),
            last_due=last,
            doses=366,
            volume_ul=366,
            reasons=(because(Code.WINDOW_PASSED), because(Code.NOT_RUNNING)),
        )
        stage.append(missed)
    told = stage.run("clock", "confirm", typed="y\n")
    assert "given when due: reef/carbonate.\n" in told.out
    assert "given again" not in told.out
    again = stage.run("clock", "confirm", "--json", typed="y\n")
    assert [] == again.document["due_again"]


def test_confirming_the_clock_says_which_days_it_cannot_give_back(
    stage: Stage,
) -> None:
    """A dose that a clock ahead had decided by itself is used, once and for ever."""
    stamp = stage.stamp()
    today = stamp["at"].date()
    for ahead in (1, 2, 9):
        stage.append(missed_on(stamp, today + timedelta(days=ahead)))
    told = stage.run("clock", "confirm", typed="y\n")
    first, last = today + timedelta(days=2), today + timedelta(days=9)
    assert f"Doses of {first} to {last} that" in " ".join(told.out.split())


def test_the_days_are_in_the_document_as_well(stage: Stage) -> None:
    """Once: afterwards each dose is looked up in the ledger by its name."""
    stamp = stage.stamp()
    day = stamp["at"].date() + timedelta(days=3)
    stage.append(missed_on(stamp, day))
    for days in ([day.isoformat()], []):
        told = stage.run("clock", "confirm", "--json", typed="y\n")
        assert days == told.document["settled_days"]


def missed_on(stamp: Stamp, day: date) -> DoseMissed:
    """A dose of a day that is still to come."""
    dose = DueDose(
        id=f"reef/carbonate@{day}#01",
        line="carbonate",
        tank="reef",
        pump="carbonate",
        local_day=day,
        ordinal=1,
        due_at=stamp["at"],
        latest_at=stamp["at"],
        volume_ul=1000,
    )
    return DoseMissed(**stamp, dose=dose, reasons=(because(Code.WINDOW_PASSED),))
