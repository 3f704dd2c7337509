"""`approvals`: which consents there were, until when, and what ended each."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.facts.events import PlanApproved
from tests.cli.run_program import SMALLEST, changed
from tests.cli.stage import Stage, stage_of

DAY = timedelta(days=1)


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """A copy of the smallest sample with a fresh ledger."""
    return stage_of(tmp_path, changed(tmp_path / "config", SMALLEST))


def stands(stage: Stage) -> list[tuple[object, object]]:
    """Serial and word of each, the newest first."""
    listed = stage.run("approvals", "--json").document["approvals"]
    assert isinstance(listed, list)
    return [(one["serial"], one["stands"]) for one in listed]


def aged(stage: Stage, serial: int, ends: timedelta, grace: timedelta) -> None:
    """The newest approval once more, expiring and ending so far from now."""
    event = stage.folded().approvals[-1]
    stamp = stage.stamp()
    approval = replace(
        event.approval,
        serial=serial,
        takes_over_at=stamp["at"],
        expires_at=stamp["at"] + ends,
        grace_until=stamp["at"] + grace,
    )
    stage.append(replace(event, **stamp, approval=approval))


def test_none_was_ever_given(stage: Stage) -> None:
    """Said so, with what to do."""
    told = stage.run("approvals")
    assert (0, []) == (told.code, stands(stage))
    assert "slackwater approve" in told.out


def test_each_stands_with_its_word(stage: Stage) -> None:
    """In force, then waiting beside it, then withdrawn."""
    assert 0 == stage.approve("--now").code
    assert [(1, "in-force")] == stands(stage)
    plan = stage.config / "plan.toml"
    text = plan.read_text("utf-8")
    plan.write_text(text.replace('"36 mL"', '"35 mL"'), "utf-8")
    assert 0 == stage.approve(highest="70 mL").code
    assert [(2, "waits"), (1, "in-force")] == stands(stage)
    assert 0 == stage.run("withdraw", "2", "--why", "typed wrong", "--by", "me").code
    assert [(2, "withdrawn"), (1, "in-force")] == stands(stage)
    told = " ".join(stage.run("approvals").out.split())
    assert "by me at" in told
    assert "typed wrong" in told


@pytest.mark.parametrize(
    ("ends", "grace", "word"),
    [
        (DAY, 15 * DAY, "in-force"),
        (-DAY, 13 * DAY, "in-grace"),
        (-15 * DAY, -DAY, "expired"),
    ],
)
def test_an_end_is_told_by_how_far_it_is(
    stage: Stage, ends: timedelta, grace: timedelta, word: str
) -> None:
    """Before it, in the time after it, and beyond that; the one before is replaced."""
    assert 0 == stage.approve("--now").code
    aged(stage, 2, ends, grace)
    assert [(2, word), (1, "replaced")] == stands(stage)


def test_a_past_record_that_comes_again_is_no_other_consent(stage: Stage) -> None:
    """Appended as it was: it counts no more, and is listed once."""
    assert 0 == stage.approve("--now").code
    (event,) = [e for e in stage.events() if isinstance(e, PlanApproved)]
    assert 0 == stage.run("withdraw", "1").code
    stage.append(replace(event, **stage.stamp()))
    assert [(1, "withdrawn")] == stands(stage)
    assert [] == stage.folded().approvals


def test_a_correction_is_told_with_its_last_day(stage: Stage) -> None:
    """It ends before the approval does."""
    first = stage.stamp()["at"].date()
    last = first + timedelta(days=7)
    plan = stage.config / "plan.toml"
    text = plan.read_text("utf-8")
    plan.write_text(
        text.replace('group = "balanced"\n', "")
        .split("# Both lines")[0]
        .replace(
            'id = "carbonate"\n',
            f'id = "carbonate"\npurpose = "correction"\nfirst = {first}\n'
            f"last = {last}\n",
        ),
        "utf-8",
    )
    told = stage.approve("--now")
    assert 0 == told.code, told.out
    assert f"reef/carbonate is a correction and ends on {last}." in (
        stage.run("approvals").out
    )


def test_a_line_with_dates_of_its_own_is_approved_with_them(tmp_path: Path) -> None:
    """Not as if it went on every day for good."""
    dated = (
        '[[line]]\nid = "carbonate-up"\ntank = "reef"\nsolution = "carbonate"\n'
        'per_day = "1 mL"\ntimes = ["09:30"]\nfirst = 2026-05-10\n'
        'last = 2026-05-19\npurpose = "correction"\n\n[group.balanced]'
    )
    config = changed(tmp_path, SMALLEST, plan=("[group.balanced]", dated))
    told = stage_of(tmp_path, config).approve(highest="73 mL")
    assert "every day, 2026-05-10 to 2026-05-19" in told.err


def test_a_report_of_few_days_is_no_report_of_a_plan_without_end(
    tmp_path: Path,
) -> None:
    """A day is refused with both figures, a fortnight is enough."""
    stage = stage_of(tmp_path)
    words = ("--by", "keeper", "--yes-highest-daily", "72 mL")
    stage.rehearsed(1)
    told = stage.run("approve", *words)
    assert 1 == told.code
    assert "the last rehearsal showed 1 of at least 14 days" in told.err
    # From tomorrow on: midnight may come while this runs.
    stage.rehearsed(14, begins_in=1)
    assert 0 == stage.run("approve", *words).code
