"""The next dose that is shown is one that will be asked for."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from slackwater.facts.events import RequestHeard
from slackwater.ledger.codec import timestamp
from tests.cli.stage import Stage, stage_of
from tests.service.test_tank_document import running, shown

BERLIN = ZoneInfo("Europe/Berlin")


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


def due(stage: Stage) -> dict[str, str]:
    """The next dose of a status."""
    tanks = stage.run("status", "--json").document["tanks"]
    assert isinstance(tanks, list)
    found: dict[str, str] = tanks[0]["next"]
    return found


def test_a_plan_that_waits_begins_with_its_first_dose(stage: Stage) -> None:
    """It takes over at midnight, when soda is due: that one is not left out."""
    told = stage.approve()
    takes_over = datetime.fromisoformat(str(told.document["takes_over_at"]))
    assert 0 == takes_over.astimezone(BERLIN).hour
    assert timestamp(takes_over.astimezone(UTC)) == due(stage)["due"]


def test_what_a_swap_leaves_out_is_not_shown_as_due(stage: Stage) -> None:
    """In a status, a why and a dashboard: none of them before the time of the swap."""
    assert 0 == stage.approve("--now").code
    plan = (stage.config / "plan.toml").read_text("utf-8")
    stage.config = stage.state.parent / "other"
    stage.config.mkdir()
    for path in Path(__file__).parents[2].joinpath("config/smallest").glob("*.toml"):
        (stage.config / path.name).write_text(path.read_text("utf-8"), "utf-8")
    (stage.config / "plan.toml").write_text(plan.replace('"36 mL"', '"35 mL"'), "utf-8")
    told = stage.approve("--now", highest="70 mL")
    until = datetime.fromisoformat(str(told.document["left_out_until"]))
    assert until > stage.stamp()["at"] + timedelta(hours=1)
    shown_at = {due(stage)["due"]}
    lines = stage.run("why", "--json").document["lines"]
    assert isinstance(lines, list)
    shown_at |= {one["next"]["due"] for one in lines}
    with running(stage) as rig:
        shown_at.add(shown(rig)["next_dose"]["due_at"])
    assert {True} == {datetime.fromisoformat(at) >= until for at in shown_at}


def test_a_dose_that_was_skipped_is_not_shown_as_due(stage: Stage) -> None:
    """By a request from afar: the one after it is."""
    assert 0 == stage.approve("--now").code
    first = due(stage)
    stage.append(
        RequestHeard(
            **stage.stamp(),
            request="r-1",
            tank="reef",
            act="skip",
            granted=True,
            dose=first["dose"],
        )
    )
    assert stage.folded().skipped
    assert due(stage)["due"] > first["due"]
