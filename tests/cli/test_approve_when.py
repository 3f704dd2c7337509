"""When an approved plan takes over, and under which name it is approved."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from slackwater.facts.events import PlanApproved
from tests.cli.stage import Stage, stage_of

BERLIN = ZoneInfo("Europe/Berlin")


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


def approvals(stage: Stage) -> list[PlanApproved]:
    """What was approved, in order."""
    return [event for event in stage.events() if isinstance(event, PlanApproved)]


def in_a_week() -> datetime:
    """Midnight in Berlin, seven days from now."""
    day = datetime.now(BERLIN).date() + timedelta(days=7)
    return datetime(day.year, day.month, day.day, tzinfo=BERLIN)


def test_a_time_is_read_in_the_zone_of_the_tank(stage: Stage) -> None:
    """Without an offset a time is local; with one it is what it says."""
    at = in_a_week()
    stage.approve("--at", f"{at:%Y-%m-%dT%H:%M}")
    (event,) = approvals(stage)
    assert at.astimezone(UTC) == event.approval.takes_over_at


@pytest.mark.parametrize(
    ("at", "what"),
    [
        ("2020-01-01", "2020-01-01 has passed"),
        ("2500-01-01T00:00", "2500-01-01T00:00 is too far ahead"),
        ("9999-12-31", "9999-12-31 is too far ahead"),
        ("9999-12-31T23:59-12:00", '"9999-12-31T23:59-12:00" is not a time'),
        ("0001-01-01T00:00+14:00", '"0001-01-01T00:00+14:00" is not a time'),
        ("2026-13-45", '"2026-13-45" is not a time'),
        ("tomorrow", '"tomorrow" is not a time'),
    ],
)
def test_a_time_that_cannot_be_is_refused_before_a_question(
    stage: Stage, at: str, what: str
) -> None:
    """One clear error, nothing asked, nothing approved."""
    told = stage.run("approve", "--json", "--at", at)
    assert (2, "") == (told.code, told.err)
    (error,) = told.errors
    assert ("--at", what) == (error["where"], error["what"])
    assert [] == approvals(stage)


def test_a_plan_that_waits_can_be_taken_over_now(stage: Stage) -> None:
    """The same digest, but another time: the earlier approval is withdrawn."""
    stage.approve()
    told = stage.run("approve")
    assert 0 == told.code
    assert "says exactly this already" in told.out
    assert "--now or --at TIME changes that" in told.out
    assert 1 == len(approvals(stage))
    assert 0 == stage.approve("--now").code
    assert [1, 2] == [event.approval.serial for event in approvals(stage)]
    assert [2] == [known.approval.serial for known in stage.folded().approvals]


def test_a_plan_in_force_is_not_approved_again(stage: Stage) -> None:
    """Nothing would change: --now does not restart it."""
    stage.approve("--now")
    again = stage.approve("--now")
    assert (0, False) == (again.code, again.document["approved"])
    assert "takes over at" not in stage.run("approve").out


@pytest.mark.parametrize("name", ["a\x1b[31mb", "x" * 41, "a\x00b"])
def test_a_name_that_cannot_be_printed_is_refused(stage: Stage, name: str) -> None:
    """What stands in the ledger is shown on a screen for years."""
    told = stage.approve("--by", name)
    assert 2 == told.code
    assert "--by" == told.errors[0]["where"]
    assert [] == approvals(stage)
