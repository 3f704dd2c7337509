"""Days that are over: no rehearsal pretends, and no approval rests on one."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from slackwater.cli.reading import read_files
from slackwater.cli.receipt import note, noted
from slackwater.cli.report.extent import today_of
from slackwater.facts.events import PlanApproved
from slackwater.facts.safeguards import AwayDeclared
from tests.cli.run_program import SMALLEST, changed
from tests.cli.stage import FIRST, HIGHEST, Stage, stage_of

CONSENT = ("--by", "keeper", "--yes-highest-daily", HIGHEST, "--json")
# Long before any ledger that a test makes.
LONG_PAST = "2020-01-01"


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger; its plan began on 3 May 2026."""
    return stage_of(tmp_path)


def today(stage: Stage) -> date:
    """The day of the ledger's newest entry beside the tank."""
    newest = stage.folded().newest_at
    assert newest is not None
    return today_of(read_files(stage.config).machine, newest)


def verdict(stage: Stage, *words: object) -> str:
    """The first line of the first screen."""
    found = stage.run("rehearse", *words, "--json").document["summary"]
    assert isinstance(found, list)
    return str(found[0]["lines"][0])


@pytest.mark.parametrize("option", ["--from", "--visit"])
def test_a_day_before_the_newest_entry_is_refused(stage: Stage, option: str) -> None:
    """With that day; the day itself may be named."""
    told = stage.run("rehearse", "--days", 1, option, LONG_PAST, "--json")
    assert 2 == told.code
    (error,) = told.errors
    day = today(stage)
    assert (option, f"{LONG_PAST} is past: the ledger's newest entry is of {day}") == (
        error["where"],
        error["what"],
    )
    assert 0 == stage.run("rehearse", "--days", 1, option, day).code


def test_without_a_ledger_a_visit_before_the_first_day_is_refused(
    stage: Stage,
) -> None:
    """Nobody knows which day it is, but a visit comes after the beginning."""
    stage.state = stage.state.with_name("none")
    told = stage.run("rehearse", "--days", 1, "--visit", LONG_PAST, "--json")
    assert [f"{LONG_PAST} lies before the first rehearsed day, {FIRST}"] == [
        one["what"] for one in told.errors
    ]


def test_without_a_ledger_it_says_that_its_days_may_be_past(stage: Stage) -> None:
    """And that nothing is due before the plan begins."""
    stage.state = stage.state.with_name("none")
    found = stage.run("rehearse", "--days", 1).out
    assert "no ledger was read, so these days may be past" in " ".join(found.split())
    told = verdict(stage, "--days", 1, "--from", LONG_PAST)
    assert "No dose is due: the plan starts on 2026-05-03." in told


def test_a_start_that_is_past_is_told_with_its_day(stage: Stage) -> None:
    """The days begin with the ledger's newest entry and not with the plan."""
    told = verdict(stage, "--days", 1)
    assert told.startswith(
        f"{today(stage)} to {today(stage)} (the plan's start, 2026-05-03, is past): "
    )


def test_a_start_that_lies_ahead_needs_no_word(tmp_path: Path) -> None:
    """The days begin with it."""
    config = changed(tmp_path / "c", SMALLEST, plan=("2026-05-03", "2099-05-03"))
    told = verdict(stage_of(tmp_path, config), "--days", 1)
    assert told.startswith("2099-05-03 to 2099-05-03: would dose 24 times")


def test_a_return_that_is_past_is_no_visit(stage: Stage) -> None:
    """Who should have come back already: bottles are held against no day."""
    now = stage.stamp()["at"]
    back = now - timedelta(days=3)
    away = AwayDeclared(
        **stage.stamp(),
        from_at=back - timedelta(days=9),
        until=back,
        by="k",
        contact="",
    )
    stage.append(away)
    found = stage.run("rehearse", "--days", 1, "--json").document
    assert found["visit"] is None


@pytest.mark.parametrize(
    ("first", "until", "what"),
    [
        (-40, -11, "the last rehearsal is of the past: "),
        (-20, 9, "showed 10 of at least 14 days from "),
        (60, 89, "the last rehearsal begins on "),
    ],
)
def test_nothing_is_approved_by_a_report_of_other_days(
    stage: Stage, first: int, until: int, what: str
) -> None:
    """Over, nearly over, or long after the plan takes over: refused by name."""
    stage.rehearsed()
    receipt = noted(stage.state)
    assert receipt is not None
    day = today(stage)
    shifted = replace(
        receipt,
        first=day + timedelta(days=first),
        until=day + timedelta(days=until),
    )
    assert note(stage.state, shifted)
    told = stage.run("approve", *CONSENT)
    assert 1 == told.code
    assert what in told.errors[0]["what"]
    assert [] == [one for one in stage.events() if isinstance(one, PlanApproved)]


def test_a_report_shows_the_days_from_when_the_plan_takes_over(stage: Stage) -> None:
    """Thirty days from today, and the plan is to begin in sixty: nobody saw it."""
    stage.rehearsed()
    at = today(stage) + timedelta(days=60)
    told = stage.run("approve", *CONSENT, "--at", f"{at}T00:00")
    eve = at - timedelta(days=1)
    assert (
        f"the last rehearsal showed 0 of at least 14 days from {eve} on"
        == (told.errors[0]["what"])
    )
    assert told.errors[0]["do"].endswith(f"Give it --from {eve}.")
    stage.rehearsed(begins_in=50)
    assert 0 == stage.run("approve", *CONSENT, "--at", f"{at}T00:00").code


def test_a_report_of_last_week_is_still_one(stage: Stage) -> None:
    """Thirty days, eight of them over: more than a fortnight lies ahead."""
    stage.rehearsed(begins_in=-8)
    assert 0 == stage.run("approve", *CONSENT).code


def test_a_plan_that_is_over_cannot_be_approved(tmp_path: Path) -> None:
    """Every line has had its last day: nothing would ever be dosed."""
    dated = ('group = "balanced"\n', 'last = 2026-05-20\npurpose = "correction"\n')
    config = changed(tmp_path / "c", SMALLEST, plan=dated)
    plan = config / "plan.toml"
    plan.write_text(plan.read_text("utf-8").split("# Both lines")[0], "utf-8")
    stage = stage_of(tmp_path, config)
    assert "No dose is due: the plan's last day was 2026-05-20." in verdict(stage)
    stage.rehearsed()
    told = stage.run("approve", *CONSENT)
    assert 1 == told.code
    assert (
        "the plan is over: its last day, 2026-05-20, is past"
        in (told.errors[0]["what"])
    )
