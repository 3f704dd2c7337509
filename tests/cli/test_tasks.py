"""`tasks`, and how a status shows what is overdue."""

from datetime import timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from slackwater.cli.tasks import chores_due
from slackwater.facts.events import Calibrated
from slackwater.facts.fold import fold
from slackwater.facts.safeguards import TubeSwapped
from slackwater.facts.state import State
from slackwater.facts.waters import TaskClosed, TaskSet
from tests.cli.run_program import SMALLEST, changed
from tests.cli.stage import Stage, stage_of
from tests.cli.test_status import COLUMNS, LINES, tanks_of
from tests.facts.diary import T0, Diary, begun, calibrated
from tests.gate.scene import machine

# Of the tank in the smallest sample.
ZONE = ZoneInfo("Europe/Berlin")


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger and an approved plan."""
    made = stage_of(tmp_path)
    assert 0 == made.approve("--now").code
    return made


def set_task(stage: Stage, number: int, days: int, text: str = "") -> None:
    """A task that is due so many days from today, as the tank's wall clock has it."""
    parameter = ("calcium", "magnesium", "nitrate", "iodine")[number]
    stamp = stage.stamp()
    stage.append(
        TaskSet(
            **stamp,
            task=f"t-{number}",
            tank="reef",
            remedy="retest",
            parameter=parameter,
            text=text or f"Test {parameter} again.",
            due_on=stamp["at"].astimezone(ZONE).date() + timedelta(days=days),
            by="daemon",
        )
    )


def closed(stage: Stage) -> list[TaskClosed]:
    """Every closed task in the ledger."""
    return [one for one in stage.events() if isinstance(one, TaskClosed)]


def test_nothing_to_do_is_said(stage: Stage) -> None:
    """An empty list is no empty page."""
    assert "Nothing is left to do.\n" == stage.run("tasks").out


def test_overdue_ones_come_first(stage: Stage) -> None:
    """The longest overdue at the top, each with how long it has."""
    for number, days in enumerate((4, -2, 1, -9)):
        set_task(stage, number, days)
    page = stage.run("tasks").out
    document = stage.run("tasks", "--json").document["tasks"]
    assert isinstance(document, list)

    places = [page.index(f"t-{number}") for number in (3, 1, 2, 0)]
    assert sorted(places) == places
    assert all(words in page for words in ("9 days overdue", "in 1 day", "in 4 days"))
    assert [True, True, False, False] == [one["overdue"] for one in document]


def test_tasks_of_one_day_stay_in_the_order_they_were_set(stage: Stage) -> None:
    """Which is that of their urgency, not of their ids."""
    for number in (2, 0, 1):
        set_task(stage, number, 3)
    document = stage.run("tasks", "--json").document["tasks"]
    assert isinstance(document, list)

    assert ["t-2", "t-0", "t-1"] == [one["id"] for one in document]


@pytest.mark.parametrize(
    ("words", "how", "note"),
    [
        (("--done", "t-1"), "done", ""),
        (("--done", "t-1", "--why", "418 mg/L"), "done", "418 mg/L"),
        (("--drop", "t-1", "--why", "sold"), "dropped", "sold"),
    ],
)
def test_a_task_is_done_or_dropped(
    stage: Stage, words: tuple[str, ...], how: str, note: str
) -> None:
    """The rest stays open."""
    set_task(stage, 1, 0)
    set_task(stage, 2, 0)
    told = stage.run("tasks", *words, "--by", "keeper")

    assert (0, [("t-1", how, note, "keeper")]) == (
        told.code,
        [(one.task, one.how, one.note, one.by) for one in closed(stage)],
    )
    assert "t-2" in told.out
    assert ["t-2"] == list(stage.folded().tasks)


def test_only_those_of_a_tank(stage: Stage) -> None:
    """Others are passed over."""
    set_task(stage, 1, 0)

    told = stage.run("tasks", "--tank", "frag", "--json")
    assert (2, 'no tank is "frag"') == (told.code, told.errors[0]["what"])
    done = stage.run("tasks", "--tank", "frag", "--done", "t-1", "--by", "me")
    assert (2, []) == (done.code, closed(stage))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--done", "t-9"), 'no open task is called "t-9"'),
        (("--drop", "t-1"), "no reason is given"),
        (("--drop", "t-1", "--done", "t-1"), "both given"),
        (("--why", "x"), "--why has no meaning"),
        (("--done", "t-1", "--why", "x" * 201), "201 characters"),
    ],
)
def test_bad_input_is_told_and_nothing_is_written(
    stage: Stage, words: tuple[str, ...], said: str
) -> None:
    """Exit code 2, findings in four words, the task still open."""
    set_task(stage, 1, 0)
    told = stage.run("tasks", "--json", *words)

    assert 2 == told.code
    assert said in " ".join(error["what"] for error in told.errors)
    assert all(all(error.values()) for error in told.errors)
    assert (["t-1"], []) == (list(stage.folded().tasks), closed(stage))


def test_a_status_names_what_is_overdue(stage: Stage) -> None:
    """The longest overdue with its text, and how many more there are."""
    set_task(stage, 0, 5)
    quiet = stage.run("status").out
    set_task(stage, 1, -2)
    one = stage.run("status").out
    set_task(stage, 2, -9)
    two = stage.run("status").out
    document = stage.run("status", "--json").document["overdue_tasks"]
    assert isinstance(document, list)

    assert "Task" not in quiet
    assert "Task   t-1 (2 d overdue): Test magnesium again.\n" in one
    assert (
        "Task   t-2 (9 d overdue): Test nitrate again.; 1 more: `slackwater tasks`"
        in " ".join(two.split()).replace("Task ", "Task   ")
    )
    assert ["t-2", "t-1"] == [task["id"] for task in document]


def test_a_status_with_tasks_still_fits_one_screen(tmp_path: Path) -> None:
    """24 lines of 80, with two tanks, holds and long texts."""
    stage = tanks_of(tmp_path, 2)
    highest = stage.run("rehearse", "--days", "1", "--json").document[
        "highest_daily_ul"
    ]
    assert 0 == stage.approve("--now", highest=f"{highest} uL").code
    for number in range(4):
        set_task(stage, number, -2 - number, "a long story " * 15)
        stage.run("hold", "--note", f"{number} " + "a long story " * 9)
    lines = stage.run("status").out.splitlines()

    assert len(lines) <= LINES
    assert max(len(line) for line in lines) < COLUMNS
    assert any(line.endswith("3 more: `slackwater tasks`") for line in lines)


@pytest.mark.parametrize(("age", "words"), [(74, ""), (75, "in 1"), (92, "overdue")])
def test_h28_an_old_calibration_is_a_task(stage: Stage, age: int, words: str) -> None:
    """From 75 days on, due on the 90th; a calibration ends it, a word does not."""
    stamp = stage.stamp()
    stamp["at"] -= timedelta(days=age, minutes=1)
    stage.append(
        Calibrated(
            **stamp,
            pump="calcium",
            rate_nl_per_s=498_000,
            cal="0badcafe",
            shots=3,
            spread_percent=1.0,
            proofs=("identity",),
            by="keeper",
        )
    )
    told = stage.run("tasks")
    assert bool(words) is ("slackwater calibrate calcium" in told.out)
    assert words in told.out
    assert 2 == stage.run("tasks", "--done", "calibrate-calcium").code
    stage.commission("calcium")
    assert "slackwater calibrate" not in stage.run("tasks").out


@pytest.mark.parametrize(
    ("ran_h", "words"), [(449, []), (450, ["in 14 days"]), (501, ["today"])]
)
def test_h28_a_tube_that_ran_long_is_a_task(ran_h: int, words: list[str]) -> None:
    """From nine tenths of its 500 hours on; it is swapped, not ticked off."""
    state = State(run_ms={"calcium": ran_h * 3_600_000})
    due = chores_due(state, T0, machine())
    assert words == [one.words for one in due]
    assert all("slackwater swap-tube calcium" in one.task.text for one in due)
    fold(state, TubeSwapped(**Diary().stamp, pump="calcium", by="keeper"))
    assert [] == chores_due(state, T0, machine())


def test_h28_a_pump_that_ran_long_or_has_a_new_tube_is_measured() -> None:
    """A quarter of the tube's life after its calibration; a new tube at once."""
    diary = begun()
    diary.write(calibrated(diary))
    assert [] == chores_due(diary.state, diary.at, machine())
    diary.state.run_ms["carbonate"] = 125 * 3_600_000
    (due,) = chores_due(diary.state, diary.at, machine())
    assert ("calibrate-carbonate", "today") == (due.task.task, due.words)
    diary.write(calibrated(diary))
    assert [] == chores_due(diary.state, diary.at, machine())
    diary.write(TubeSwapped(**diary.stamp, pump="carbonate", by="keeper"))
    assert 1 == len(chores_due(diary.state, diary.at, machine()))


def test_without_an_approved_machine_there_are_no_chores() -> None:
    """Nobody knows which pumps there are."""
    assert [] == chores_due(State(), T0, None)


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Etc/GMT+12"])
def test_days_are_the_tanks_before_anything_was_approved(
    tmp_path: Path, zone: str
) -> None:
    """One of the two, 14 h before UTC or 12 h behind it, has another date at any hour.

    What an assessment found to be due today was a day overdue, for nothing but an
    approval told the zone.
    """
    there = ("Europe/Berlin", zone)
    config = changed(tmp_path / "config", SMALLEST, slackwater=there)
    made = stage_of(tmp_path, config)
    assert 0 == made.run("assess").code
    tasks = made.run("tasks", "--json").document["tasks"]
    today = made.stamp()["at"].astimezone(ZoneInfo(zone)).date().isoformat()

    assert isinstance(tasks, list)
    assert tasks
    assert {(today, False)} == {(one["due_on"], one["overdue"]) for one in tasks}
    assert "overdue" not in made.run("status").out
    assert "overdue" not in made.run("since", "yesterday").out
