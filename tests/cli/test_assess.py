"""`assess` on a real ledger: the page, the document, and the tasks it leaves."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from textwrap import wrap

import pytest

from slackwater.facts.alarms import AlarmRaised, Cause
from slackwater.facts.waters import MeasurementKept, TaskClosed, TaskSet
from tests.assessment.past import DKH, measured, report
from tests.cli.run_program import SMALLEST, changed
from tests.cli.stage import Stage, stage_of

LEVELS = {
    "salinity": 35.0,
    "temperature": 25.0,
    "calcium": 425.0,
    "magnesium": 1320.0,
    "nitrate": 5.0,
    "phosphate": 0.05,
    "potassium": 400.0,
    "ph": 8.2,
}


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """A fresh ledger beside the smallest configuration."""
    return stage_of(tmp_path)


def keep(stage: Stage, *tests: tuple[str, float, float]) -> None:
    """Record home tests: parameter, level, days ago."""
    stamp = stage.stamp()
    made = [
        replace(
            measured(parameter, level, days),
            **stamp,
            tank="reef",
            taken_at=stamp["at"] - timedelta(days=days),
        )
        for parameter, level, days in tests
    ]
    stage.append(*made)


def keep_report(stage: Stage, days: float, levels: dict[str, float]) -> None:
    """Record a laboratory's report of so many days ago."""
    stamp = stage.stamp()
    taken = stamp["at"] - timedelta(days=days)
    imported, values = report(days, levels)
    kept: list[MeasurementKept] = [
        replace(one, **stamp, taken_at=taken) for one in values
    ]
    stage.append(replace(imported, **stamp, sampled_at=taken), *kept)


def well(stage: Stage) -> None:
    """A tank that needs nothing."""
    stage.nothing_dosed(10)
    keep(
        stage,
        *((name, level, 0.1) for name, level in LEVELS.items()),
        *(("alkalinity", (8.0 + 0.01 * day) * DKH, day + 0.1) for day in range(9)),
    )


def tasks(stage: Stage) -> list[TaskSet]:
    """Those that were ever set."""
    return [event for event in stage.events() if isinstance(event, TaskSet)]


def test_the_page_leads_with_what_to_do(stage: Stage) -> None:
    """In words, then the tables; nothing wider than 80 columns."""
    keep(stage, ("salinity", 36.4, 1), ("nitrate", 55.0, 1))
    keep_report(stage, 40, {"copper": 8.0, "sodium": 11000.0})
    keep_report(stage, 5, {"copper": 9.0, "sodium": 11000.0})
    found = stage.run("assess", "--by", "keeper")
    lines = found.out.splitlines()
    assert 1 == found.code
    assert "What to do" == lines[2]
    assert lines[3].startswith(" 1. Copper 9 ug/L, confirmed")
    assert "Where it stands" in lines
    assert "Traces and contaminants, ug/L" in lines
    assert [] == [line for line in lines if len(line) > 79]


def test_a_contaminant_seen_once_is_an_alarm_with_a_task_for_today(
    stage: Stage,
) -> None:
    """Copper of 22 ug/L in a tank that is well otherwise: what to do comes first."""
    well(stage)
    keep_report(stage, 5, {"copper": 22.0})
    found = stage.run("assess", "--by", "keeper")
    first, *_others = tasks(stage)

    assert 1 == found.code
    assert " 1. Copper 22 ug/L, seen once; likely from brass" in found.out
    assert " 2. Send another sample at once" in found.out
    assert ("retest", "") == (first.remedy, first.parameter)
    assert "today" in stage.run("tasks").out
    assert "contaminant.reef" in stage.run("alarms").out
    assert "so much of a contaminant" in stage.run("status").out
    remedies = {one.remedy for one in tasks(stage)}
    assert {"find_corroding_part", "water_change", "metal_resin"} <= remedies


def test_a_tank_that_is_well_is_told_so(stage: Stage) -> None:
    """Exit code 0 and no task."""
    well(stage)
    found = stage.run("assess", "--by", "keeper")
    assert "Nothing needs to be done; test alkalinity by" in found.out
    assert "recorded" not in found.out
    assert (0, []) == (found.code, tasks(stage))


def test_what_is_to_do_becomes_tasks_once(stage: Stage) -> None:
    """Asking again adds nothing; a closed task may come back."""
    first = stage.run("assess", "--by", "keeper", "--json").document
    second = stage.run("assess", "--by", "keeper", "--json").document
    recorded = first["tasks_recorded"]
    assert isinstance(recorded, list)
    assert [task.task for task in tasks(stage)] == recorded
    assert {"reef"} == {task.tank for task in tasks(stage)}
    assert [] == second["tasks_recorded"]
    stage.append(
        TaskClosed(**stage.stamp(), task=recorded[0], how="dropped", by="keeper")
    )
    third = stage.run("assess", "--by", "keeper", "--json").document
    assert 1 == len(third["tasks_recorded"])  # type: ignore[arg-type]  # a list


def test_the_tasks_say_who_asked_and_by_when(stage: Stage) -> None:
    """Everything a person needs to do them."""
    said = stage.run("assess", "--by", "keeper").out
    one = tasks(stage)[0]
    assert ("retest", "alkalinity", "keeper") == (one.remedy, one.parameter, one.by)
    assert "Test alkalinity: no result is known." == one.text
    assert one.due_on >= date(2026, 1, 1)
    assert f"{len(tasks(stage))} new tasks recorded; see `slackwater tasks`." in said


def test_it_can_only_look(stage: Stage) -> None:
    """With --no-tasks nothing is written."""
    before = len(stage.events())
    document = stage.run("assess", "--no-tasks", "--json").document
    assert [] == document["tasks_recorded"]
    assert before == len(stage.events())


def test_a_ledger_that_cannot_be_written_is_still_read(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A clock before the newest entry adds nothing, and the page comes all the same."""
    stamp = stage.stamp()
    stamp["at"] += timedelta(days=1)
    stage.append(
        replace(measured("calcium", 425, 1), **stamp, tank="reef", taken_at=stamp["at"])
    )
    del monkeypatch
    found = stage.run("assess", "--by", "keeper")
    assert "What to do" in found.out
    assert "No task was recorded: the clock says" in found.out
    assert [] == tasks(stage)


def test_the_document_holds_everything(stage: Stage) -> None:
    """Canonical figures with their units, times as RFC 3339."""
    well(stage)
    keep_report(stage, 5, {"copper": 1.0, "iodine": 61.0})
    document = stage.run("assess", "--by", "keeper", "--json").document
    assert True is document["ok"]
    assert "reef" == document["tank"]
    assert {"alkalinity": "meq/L", "copper": "ug/L"}.items() <= dict(
        document["units"]  # type: ignore[call-overload]  # a mapping
    ).items()
    for key in ("standings", "uptakes", "traces", "checks", "notices", "blocks"):
        assert key in document
    for key in ("missing", "advice", "series", "carbonate", "todo", "alarm"):
        assert key in document


@pytest.mark.parametrize("days", ["6", "366", "soon"])
def test_a_silly_look_back_is_refused(stage: Stage, days: str) -> None:
    """From a week to a year."""
    found = stage.run("assess", "--days", days)
    assert (2, "") == (found.code, found.out)
    assert "--days" in found.err


def test_an_unknown_tank_is_refused_with_the_known_ones(stage: Stage) -> None:
    """Exit code 2 and nothing written."""
    found = stage.run("assess", "--tank", "lagoon", "--json")
    assert 2 == found.code
    assert ["--tank"] == [error["where"] for error in found.errors]
    assert [] == tasks(stage)


def test_help_says_that_tasks_are_recorded(stage: Stage) -> None:
    """And how to only look."""
    words = " ".join(stage.run("assess", "--help").out.split())
    assert "--no-tasks" in words
    assert "Every remedy that is not yet a task becomes one" in words
    assert wrap(words, 79)


def test_own_bands_of_the_file_judge_and_are_named(tmp_path: Path) -> None:
    """1.5 ug/L copper is usual by practice; this file wants a look from 1 on."""
    own = '[tank.reef.bands]\ncopper = { watch = "1 ug/L", act = "3 ug/L" }\n'
    files = changed(
        tmp_path / "files",
        SMALLEST,
        slackwater=("[solution.carbonate]", f"{own}[solution.carbonate]"),
    )
    stage = stage_of(tmp_path, files)
    well(stage)
    keep_report(stage, 5, {"copper": 1.5})
    said = stage.run("assess", "--no-tasks").out
    document = stage.run("assess", "--no-tasks", "--json").document["traces"]
    assert isinstance(document, list | dict)

    assert "Copper 1.5 ug/L, seen once" in said
    assert "Watch and act as the file says: copper." in said
    assert "the operator's file" in str(document)


def test_short_look_backs_still_know_what_flowed(tmp_path: Path) -> None:
    """Thirty days: the share of unknown volume is that of the same window."""
    stage = stage_of(tmp_path, changed(tmp_path / "files", SMALLEST))
    well(stage)
    assert 0 == stage.run("assess", "--days", "30", "--by", "keeper").code


def test_an_assessment_ends_the_alarm_of_an_uptake_that_is_well(stage: Stage) -> None:
    """The same entry as its tasks; whoever asks is named."""
    well(stage)
    stage.append(
        AlarmRaised(
            **stage.stamp(),
            alarm="uptake-fell.reef",
            cause=Cause.UPTAKE_FELL,
            about="reef",
            priority="soon",
            tanks=("reef",),
        )
    )
    assert 0 == stage.run("assess", "--by", "keeper").code
    known = stage.folded().alarms["uptake-fell.reef"]
    assert "returned" == known.word
