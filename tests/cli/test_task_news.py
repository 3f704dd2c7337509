"""Tasks that an assessment closes: tests that have come, and what no longer applies."""

import os
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.facts.waters import TaskClosed, TaskSet
from tests.cli.stage import Stage, stage_of
from tests.cli.test_assess import keep, keep_report, tasks, well


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """A fresh ledger beside the smallest configuration."""
    return stage_of(tmp_path)


def assess(stage: Stage, *words: str) -> dict[str, object]:
    """The document of an assessment that writes."""
    return stage.run("assess", "--by", "keeper", "--json", *words).document


def closed(stage: Stage) -> dict[str, TaskClosed]:
    """Every closed task by what it was about, such as `retest calcium`."""
    about = {one.task: f"{one.remedy} {one.parameter}".strip() for one in tasks(stage)}
    return {
        about[one.task]: one for one in stage.events() if isinstance(one, TaskClosed)
    }


def set_task(stage: Stage, **changes: object) -> None:
    """A task of yesterday that nobody asks for any more."""
    stamp = stage.stamp()
    stage.append(
        TaskSet(
            **{  # type: ignore[arg-type]  # what the test says
                **stamp,
                "task": "t-old",
                "tank": "reef",
                "remedy": "water_change",
                "parameter": "copper",
                "text": "Bring copper down.",
                "due_on": stamp["at"].date(),
                "by": "keeper",
                **changes,
            }
        )
    )


def test_a_test_that_has_come_closes_its_task(stage: Stage) -> None:
    """As done, with the tank's day of the test; only that task, and only once."""
    assess(stage)
    stage.run("record", "alkalinity=8.0 dKH", "--by", "keeper")
    document = assess(stage)
    again = assess(stage)

    made = closed(stage)
    assert ["retest alkalinity"] == list(made)
    one = made["retest alkalinity"]
    assert ("done", "keeper") == (one.how, one.by)
    assert one.note.startswith("tested on 20")
    assert [{"task": one.task, "how": "done", "why": one.note}] == document[
        "tasks_closed"
    ]
    assert ([], []) == (again["tasks_closed"], again["tasks_recorded"])


def test_a_test_written_down_after_its_task_counts(stage: Stage) -> None:
    """Taken an hour before the task was set, recorded behind it."""
    assess(stage)
    earlier = stage.stamp()["at"] - timedelta(minutes=1)
    stage.run(
        *("record", "calcium=420 mg/L", "--at", earlier.isoformat(timespec="seconds")),
        *("--by", "keeper"),
    )
    assess(stage)

    # At midnight the minute before may be another day: then it is dropped.
    assert closed(stage)["retest calcium"].how in {"done", "dropped"}


def test_what_no_longer_applies_is_dropped(stage: Stage) -> None:
    """With the reason; the page says so in words."""
    well(stage)
    set_task(stage)
    said = stage.run("assess", "--by", "keeper").out

    one = closed(stage)["water_change copper"]
    assert ("dropped", "no longer needed") == (one.how, one.note)
    assert "Dropped, no longer needed: Bring copper down." in said


def test_a_retest_that_confirms_closes_and_asks_anew(stage: Stage) -> None:
    """The bottle that was asked for has come; the next one is another task."""
    well(stage)
    keep_report(stage, 40, {"copper": 9.0})
    assess(stage)
    first = [one for one in tasks(stage) if one.remedy == "retest"]
    keep_report(stage, 0, {"copper": 9.5})
    document = assess(stage)

    assert 1 == len(first)
    assert "done" == closed(stage)[f"retest {first[0].parameter}".strip()].how
    assert first[0].task not in stage.folded().tasks
    assert "retest" in {one.remedy for one in stage.folded().tasks.values()}
    assert document["tasks_recorded"]
    assert [] == assess(stage)["tasks_closed"]


def test_a_hand_test_is_no_answer_to_a_bottle(stage: Stage) -> None:
    """Copper was asked of a laboratory: a kit for it does not close the task."""
    well(stage)
    keep_report(stage, 5, {"copper": 9.0})
    assess(stage)
    keep(stage, ("copper", 1.0, 0.0))
    assess(stage)

    assert [] == [about for about in closed(stage) if about.startswith("retest")]


def test_other_tanks_keep_their_tasks(stage: Stage) -> None:
    """An assessment of one tank knows nothing of another."""
    well(stage)
    set_task(stage, tank="lagoon")
    assess(stage)

    assert ["t-old"] == list(stage.folded().tasks)


def test_a_short_look_back_changes_no_task(stage: Stage) -> None:
    """A week does not know what a season knows: nothing is set or closed."""
    set_task(stage)
    document = assess(stage, "--days", "30")

    assert ([], []) == (document["tasks_recorded"], document["tasks_closed"])
    assert ["t-old"] == list(stage.folded().tasks)


def test_only_looking_closes_nothing(stage: Stage) -> None:
    """--no-tasks writes no entry at all."""
    well(stage)
    set_task(stage)
    before = len(stage.events())
    document = assess(stage, "--no-tasks")

    assert [] == document["tasks_closed"]
    assert before == len(stage.events())


def test_other_words_replace_a_task_and_other_figures_do_not(stage: Stage) -> None:
    """A task of old figures stays as it is; one about something else is set anew."""
    assess(stage)
    text = next(one.text for one in tasks(stage) if one.parameter == "calcium")
    old = {"remedy": "retest", "parameter": "calcium"}
    set_task(stage, **old, text=f"{text} 7.5")
    same = assess(stage)
    set_task(stage, **old, task="t-other", text="Test something else.")
    other = assess(stage)

    assert [] == same["tasks_recorded"]
    assert 1 == len(other["tasks_recorded"])  # type: ignore[arg-type]  # a list
    assert "t-other" not in stage.folded().tasks


def test_who_may_only_read_is_still_told_the_page(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No task is recorded, and why is said."""
    asked = os.access

    def refuse_writing(path: Path, mode: int) -> bool:
        return not mode & os.W_OK and asked(path, mode)

    monkeypatch.setattr(os, "access", refuse_writing)
    found = stage.run("assess", "--by", "keeper")

    assert 0 == found.code
    assert "What to do" in found.out
    assert "No task was recorded:" in found.out
    assert "may not write the ledger" in found.out
