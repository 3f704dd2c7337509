"""H38: `clock confirm` says what becomes of doses that a clock ahead had decided."""

import re
import time
from datetime import datetime, timedelta
from pathlib import Path
from typing import cast

import pytest

from slackwater.cli.render import local, local_day
from slackwater.facts.events import DoseMissed, SpanMissed
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Code, because
from slackwater.ledger.codec import timestamp
from slackwater.pump.outcome import Stamp
from tests.cli.stage import Stage, stage_of

# Of the smallest sample.
ZONE = "Europe/Berlin"


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample, whose clock nobody has confirmed."""
    return stage_of(tmp_path)


def minutes_of(stage: Stage, zone: str) -> set[str]:
    """What a clock of that zone may have shown a moment ago."""
    now = stage.stamp()["at"]
    return {local(now - timedelta(minutes=back), zone) for back in (0, 1)}


def test_before_any_approval_the_time_is_asked_as_the_tanks_clock_shows_it(
    stage: Stage,
) -> None:
    """A clock on the wall shows no UTC; it stands beside, for the machine has it."""
    told = stage.run("clock", "confirm", typed="n\n")
    shown = re.search("Is it (.*), which is (.*)[?]", told.err)
    assert shown
    assert shown[1] in minutes_of(stage, ZONE)
    assert shown[2] in minutes_of(stage, "UTC")


def test_without_readable_files_it_is_asked_as_the_machines_clock_shows_it(
    stage: Stage, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is confirmed in a zone that nobody there reads."""
    monkeypatch.setenv("TZ", "Asia/Tokyo")
    time.tzset()
    bare = Stage(tmp_path / "nothing", stage.state)
    told = bare.run("clock", "confirm", typed="n\n")
    monkeypatch.undo()
    time.tzset()
    shown = re.search("Is it (.*), which is (.*)[?]", told.err)
    assert shown
    assert shown[1] in minutes_of(stage, "Asia/Tokyo")
    assert shown[2] in minutes_of(stage, "UTC")


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


def test_confirming_the_clock_says_until_when_doses_come_again(stage: Stage) -> None:
    """Those that a clock ahead had given, and those it had missed one by one."""
    stamp = stage.stamp()
    for ahead in (1, 2, 9):
        stage.append(missed_at(stamp, stamp["at"] + timedelta(days=ahead)))
    told = " ".join(stage.run("clock", "confirm", typed="y\n").out.split())
    day, last = (stamp["at"] + timedelta(days=number) for number in (1, 9))
    assert f"doses up to {local(last, ZONE)}" in told
    assert f"only where that is after {local_day(day, ZONE)}" in told
    assert "names then end in .2" in told


def test_the_time_is_in_the_document_as_well(stage: Stage) -> None:
    """Once: what was put right is not ahead any more."""
    stamp = stage.stamp()
    last = stamp["at"] + timedelta(days=3)
    stage.append(missed_at(stamp, last))
    told = stage.run("clock", "confirm", "--json", typed="y\n").document
    (again,) = cast("list[dict[str, str]]", told["comes_again"])
    assert again["after"] >= str(told["confirmed"])
    assert again["after"] < again["until"] == timestamp(last)
    told = stage.run("clock", "confirm", "--json", typed="y\n").document
    assert [] == told["comes_again"]


def missed_at(stamp: Stamp, at: datetime) -> DoseMissed:
    """A dose that is still to come."""
    dose = DueDose(
        id=f"reef/carbonate@{at.date()}#01",
        line="carbonate",
        tank="reef",
        pump="carbonate",
        local_day=at.date(),
        ordinal=1,
        due_at=at,
        latest_at=at,
        volume_ul=1000,
    )
    return DoseMissed(**stamp, dose=dose, reasons=(because(Code.WINDOW_PASSED),))
