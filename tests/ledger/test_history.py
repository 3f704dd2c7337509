"""The history of a tank: what people wrote, in the order of its own time."""

from dataclasses import replace
from pathlib import Path

from slackwater.facts.history import History
from slackwater.facts.waters import (
    MeasurementStruck,
    TaskClosed,
    TaskSet,
    WaterChanged,
)
from slackwater.ledger.history import read_history
from slackwater.ledger.reader import ROWS_AT_ONCE
from slackwater.ledger.store import LedgerFile
from tests.ledger.pasts import BEGIN, END, HOUR, eventful, ledger_of, past
from tests.ledger.water_samples import measured, of_the_water
from tests.ledger.years import (
    DAY,
    MINUTE,
    stamped,
)


def test_superseded_and_struck_tests_are_left_out(tmp_path: Path) -> None:
    """Of a chain of corrections the last stands; the order is that of the tests."""
    at = BEGIN + DAY
    tests = [
        replace(
            measured(),
            **stamped(at + number * MINUTE),
            id=f"m-{number}",
            taken_at=at - number * HOUR,
            supersedes=supersedes,
        )
        for number, supersedes in enumerate(("", "m-0", "m-1", "", ""))
    ]
    strike = MeasurementStruck(
        **stamped(at + HOUR), measurement="m-3", by="keeper", why="wrong tank"
    )
    other = replace(tests[4], id="m-5", tank="frag")
    with ledger_of(tmp_path, *tests, strike, other) as ledger:
        kept = past(ledger).measurements
        before = past(ledger, until=at - 3 * HOUR).measurements

    assert ["m-4", "m-2"] == [one.id for one in kept]
    assert ["m-4"] == [one.id for one in before]


def test_a_report_that_came_late_is_found_by_its_own_time(tmp_path: Path) -> None:
    """The bottle was filled in the stretch, the result written weeks after it."""
    late = replace(measured(), **stamped(END + 20 * DAY), taken_at=BEGIN + HOUR)
    with ledger_of(tmp_path, late) as ledger:
        assert (late,) == past(ledger).measurements


def test_water_changes_are_told_as_they_were_made(tmp_path: Path) -> None:
    """Announced before the stretch, corrected or called off: the last word counts."""

    def change(name: str, day: int, litres: int, supersedes: str = "") -> WaterChanged:
        return WaterChanged(
            **stamped(BEGIN + day * HOUR),
            id=name,
            tank="reef",
            changed_at=BEGIN + day * DAY,
            volume_ul=litres * 10**6,
            by="keeper",
            supersedes=supersedes,
        )

    changes = (
        change("w-1", 4, 40),
        change("w-2", 1, 40),
        change("w-3", 2, 20, "w-2"),
        change("w-4", 3, 20),
        change("w-5", 3, 0, "w-4"),
        change("w-6", 6, 10),
    )
    with ledger_of(tmp_path, *changes) as ledger:
        found = past(ledger, since=BEGIN + DAY).changes

    assert ["w-3", "w-1"] == [one.id for one in found]


def test_everything_a_person_wrote_is_there(tmp_path: Path) -> None:
    """Samples, reports, happenings and tasks; a standard from long before as well."""
    at = stamped(BEGIN + DAY)
    entries = {
        event.kind: replace(event, **at)
        for event in of_the_water()
        if event.kind not in ("measurement_struck", "day_summed", "task_closed")
    }
    events = list(entries.values())
    times = {"sampled_at", "taken_at", "happened_at"}
    dated = [
        replace(event, **{name: BEGIN + HOUR})  # type: ignore[arg-type]  # its own time
        for event in events
        for name in times & set(event.__dataclass_fields__)
    ]
    rest = [one for one in events if one.kind in ("task_set", "standard_checked")]
    with ledger_of(tmp_path, *dated, *rest[1:]) as ledger:
        found = past(ledger)
        later = past(ledger, since=BEGIN + 2 * DAY)

    by_kind = {event.kind: (event,) for event in dated}
    assert by_kind["sample_taken"] == found.samples
    assert by_kind["report_imported"] == found.reports
    assert by_kind["husbandry_noted"] == found.happenings
    assert (entries["task_set"],) == found.tasks == later.tasks
    assert by_kind["standard_checked"] == found.standards == later.standards
    assert ((), (), ()) == (later.samples, later.reports, later.happenings)


def test_tasks_are_those_open_at_the_end(tmp_path: Path) -> None:
    """Closed later it was still open then; set again it is the newer one."""
    set_ = next(one for one in of_the_water() if isinstance(one, TaskSet))
    closed = next(one for one in of_the_water() if isinstance(one, TaskClosed))
    again = replace(set_, **stamped(BEGIN + 2 * DAY), task="t-2")
    done = replace(closed, **stamped(BEGIN + 3 * DAY), task="t-2")
    with ledger_of(
        tmp_path, replace(set_, **stamped(BEGIN + DAY)), again, done
    ) as ledger:
        open_ = [
            [task.task for task in past(ledger, until=BEGIN + days * DAY).tasks]
            for days in (1.5, 2.5, 3.5)
        ]

    assert [["t-1"], ["t-2"], []] == open_


def test_more_than_a_page_of_entries_is_read_whole(tmp_path: Path) -> None:
    """Pages end in the middle of a moment that many entries share."""
    test = replace(measured(), **stamped(END), taken_at=BEGIN, supersedes="")
    same = [replace(test, id=f"m-{n:05}") for n in range(2 * ROWS_AT_ONCE + 3)]
    with ledger_of(tmp_path, *same) as ledger:
        found = past(ledger).measurements

    assert [one.id for one in same] == [one.id for one in found]


def test_an_empty_ledger_has_an_empty_history(tmp_path: Path) -> None:
    """A ledger that was just made, and a tank nobody knows."""
    with ledger_of(tmp_path) as ledger:
        empty = History(tank="reef", since=BEGIN, until=END, known_since=BEGIN - DAY)
        assert empty == past(ledger)
        assert () == read_history(ledger, "other", BEGIN, END).deliveries


def test_reading_writes_nothing(tmp_path: Path) -> None:
    """The head is where it was, and the file may be opened for reading alone."""
    with ledger_of(tmp_path, *eventful()) as ledger:
        before, path = ledger.head, ledger.path
    with LedgerFile.open(path, writable=False) as ledger:
        past(ledger)
        assert before == ledger.head
