"""Growth is measured from what was really in force, not from a moment ago."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.cli.consent import Consent, entries, proposal_for
from slackwater.cli.in_force import changes_since, growth_bases
from slackwater.cli.opening import Opened, newest_approval, opened
from slackwater.cli.reading import read_files
from slackwater.cli.takeover import Swap
from slackwater.facts.plan import Plan
from slackwater.facts.stages import HalfBegan
from tests.cli.run_program import SMALLEST, changed
from tests.cli.stage import Stage, stage_of
from tests.cli.test_approve import PLAN_DOSE, approvals, with_amount

DAY = timedelta(days=1)


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


def volumes(found: Opened) -> list[list[int]]:
    """What the first line gives a day by each plan that growth is measured from."""
    return [
        [one.plan.lines[0].per_day_ul for one in tier] for tier in growth_bases(found)
    ]


@contextmanager
def after(stage: Stage, days: float) -> Iterator[Opened]:
    """The ledger as it is read so many days from now."""
    with opened(stage.state) as found:
        utc = found.now.utc + days * DAY
        yield replace(found, now=replace(found.now, utc=utc))


def test_a_ladder_asks_for_its_whole_ratio(stage: Stage, tmp_path: Path) -> None:
    """Twice and twice again within seconds is four times, and once more eight."""
    stage.approve("--now")
    stage.config = with_amount(tmp_path / "two", "72 mL")
    assert 0 == stage.approve("--now", highest="144 mL").code
    stage.config = with_amount(tmp_path / "four", "144 mL")
    stage.rehearsed()
    words = ("--now", "--by", "keeper", "--yes-highest-daily", "288 mL")
    told = stage.run("approve", *words, typed="n\n")
    assert (1, 2) == (told.code, len(approvals(stage)))
    assert "carbonate: 144 mL a day, x 4.00 of the 36 mL of the plan of" in told.err
    assert 0 == stage.run("approve", *words, typed="y\n").code
    stage.config = with_amount(tmp_path / "eight", "288 mL")
    refused = stage.approve("--now", highest="576 mL")
    assert (1, 3) == (refused.code, len(approvals(stage)))
    assert ["--ratio-checked 8.00, the largest growth shown"] == [
        error["expected"] for error in refused.errors
    ]
    told = stage.approve("--now", "--ratio-checked", "8", highest="576 mL")
    assert (0, "8.00") == (told.code, told.document["ratio"])


def test_a_slip_to_less_is_no_base_once_a_plan_lasted(
    stage: Stage, tmp_path: Path
) -> None:
    """What was approved and replaced within the day counts only beside nothing else."""
    stage.approve("--now")
    with after(stage, 2) as found:
        assert [[36_000], [36_000], [36_000]] == volumes(found)
    stage.config = changed(tmp_path / "less", SMALLEST, plan=(PLAN_DOSE, "18 mL"))
    stage.approve("--now", highest="36 mL")
    with after(stage, 0) as found:
        assert [[], [36_000, 18_000], [18_000]] == volumes(found)
    with after(stage, 1) as found:
        assert [[18_000], [36_000, 18_000], [18_000]] == volumes(found)


def test_what_ended_more_than_a_week_ago_is_no_base(
    stage: Stage, tmp_path: Path
) -> None:
    """A plan counts for seven days after it was replaced, withdrawn ones alike."""
    stage.approve("--now")
    stage.config = changed(tmp_path / "less", SMALLEST, plan=(PLAN_DOSE, "18 mL"))
    stage.approve("--now", highest="36 mL")
    with after(stage, 8) as found:
        assert [[18_000], [18_000], [18_000]] == volumes(found)
    assert 0 == stage.run("withdraw", "2").code
    with after(stage, 8) as found:
        assert [[], [], [18_000]] == volumes(found)


def test_what_never_took_over_was_never_in_force(stage: Stage) -> None:
    """An approval that was withdrawn before its midnight lasted no time."""
    stage.approve()
    assert 0 == stage.run("withdraw", "1").code
    with after(stage, 6) as found:
        assert [[], [36_000], [36_000]] == volumes(found)


def test_small_steps_begin_with_half_doses_as_one_step_would(
    stage: Stage, tmp_path: Path
) -> None:
    """A twentieth more than a moment ago, a fifth more than what lasted: half a day."""
    stage.commission("carbonate", "calcium")
    stage.approve("--now")
    stage.shadow()
    assert 0 == stage.run("enable").code
    with after(stage, 2) as found:
        lasted = growth_bases(found)[0]
    files = read_files(with_amount(tmp_path / "more", "38 mL"))
    less = replace(lasted[0], plan=plan_of(lasted[0].plan, 31_000))
    swap, stamp = Swap(at=stage.stamp()["at"]), stage.stamp()
    proposal = proposal_for(files, "0" * 64, {}, newest_approval(stage.folded()))
    found_of = (files.plan, files.machine)
    for since, scopes in (((), []), ((less,), ["pump/calcium", "pump/carbonate"])):
        asked = replace(proposal, lasted=changes_since(since, found_of))
        consent = Consent(proposal=asked, by="keeper", swap=swap)
        events = entries(consent, stage.folded(), stamp)
        halved = [one.scope for one in events if isinstance(one, HalfBegan)]
        assert scopes == halved


def plan_of(plan: Plan, per_day_ul: int) -> Plan:
    """The same with another amount a day for every line."""
    lines = (replace(line, per_day_ul=per_day_ul) for line in plan.lines)
    return replace(plan, lines=tuple(lines))


def test_help_says_what_a_growth_is_measured_from(stage: Stage) -> None:
    """The rule stands where the question is explained."""
    told = stage.run("approve", "--help").out
    assert "for a day within the last seven days" in " ".join(told.split())
