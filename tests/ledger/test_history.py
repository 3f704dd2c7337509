"""The history of a tank: what people wrote, in the order of its own time."""

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TypeVar

from slackwater.facts.history import History
from slackwater.facts.waters import (
    AddedByHand,
    HusbandryNoted,
    MeasurementKept,
    MeasurementStruck,
    ReportImported,
    SampleTaken,
    StandardChecked,
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

MICROSECOND = timedelta(microseconds=1)
Told = MeasurementKept | SampleTaken | ReportImported | HusbandryNoted | WaterChanged
AnyTold = TypeVar("AnyTold", bound=Told)


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


def test_a_report_that_was_struck_is_left_out_until_it_comes_again(
    tmp_path: Path,
) -> None:
    """With its limits; while one value stands it stays, and so does a corrected one."""
    at = BEGIN + DAY
    (report,) = (one for one in of_the_water() if isinstance(one, ReportImported))
    came = replace(report, **stamped(at), sampled_at=at)
    test = replace(measured(), supersedes="", report=came.report, taken_at=at)
    one, other = (
        replace(test, **stamped(at), id=name, taken_at=at) for name in ("m-1", "m-2")
    )
    better = replace(one, **stamped(at + MINUTE), id="m-3", supersedes="m-1")

    def struck(name: str) -> MeasurementStruck:
        return MeasurementStruck(
            **stamped(at + HOUR), measurement=name, by="keeper", why="wrong tank"
        )

    again = replace(came, **stamped(at + 2 * HOUR), sampled_at=at - HOUR)
    value = replace(other, **stamped(at + 2 * HOUR), id="m-4", taken_at=at - HOUR)
    found = []
    with ledger_of(tmp_path, came, one, other, better) as ledger:
        for more in ((), ("m-2",), ("m-3",)):
            ledger.append([struck(name) for name in more])
            found.append(past(ledger).reports)
        ledger.append([again, value])
        found.append(past(ledger).reports)
    assert [(came,), (came,), (), (again,)] == found


def test_a_report_of_one_value_goes_with_it(tmp_path: Path) -> None:
    """Nothing of it was ever corrected."""
    at = BEGIN + DAY
    (report,) = (one for one in of_the_water() if isinstance(one, ReportImported))
    came = replace(report, **stamped(at), sampled_at=at)
    value = replace(
        measured(), **stamped(at), supersedes="", report=came.report, taken_at=at
    )
    struck = MeasurementStruck(
        **stamped(at + HOUR), measurement=value.id, by="keeper", why="wrong tank"
    )
    with ledger_of(tmp_path, came, value) as ledger:
        before = past(ledger).reports
        ledger.append([struck])
        assert ((came,), ()) == (before, past(ledger).reports)


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


def named(event: AnyTold, name: str, own: datetime, written: datetime) -> AnyTold:
    """The entry with this name, of this moment, written down at another."""
    fields = event.__dataclass_fields__
    (time,) = fields.keys() & {"taken_at", "sampled_at", "happened_at", "changed_at"}
    identity = next(one for one in ("id", "report", "sample") if one in fields)
    changed = {identity: name, time: own, "supersedes": ""}
    known = {field: value for field, value in changed.items() if field in fields}
    return replace(event, **stamped(written), **known)  # type: ignore[arg-type]  # its own


def each_kind() -> list[Told]:
    """A test, a sample, a report, a happening and a water change."""
    return [one for one in of_the_water() if isinstance(one, Told)]


def names(history: History) -> list[list[str]]:
    """What each part of a history names, in order."""
    return [
        [one.id for one in history.measurements],
        [one.sample for one in history.samples],
        [one.report for one in history.reports],
        [one.id for one in history.changes],
        [one.id for one in history.happenings],
    ]


def test_a_stretch_includes_both_its_ends(tmp_path: Path) -> None:
    """Of every kind what is of its first or last moment, and nothing beside it."""
    since, until = BEGIN + 2 * DAY, BEGIN + 3 * DAY
    moments = {
        "early": since - MICROSECOND,
        "first": since,
        "last": until,
        "late": until + MICROSECOND,
    }
    told = [
        named(event, name, own, until)
        for event in each_kind()
        for name, own in moments.items()
    ]
    with ledger_of(tmp_path, *told) as ledger:
        found = names(past(ledger, since, until))

    assert [["first", "last"]] * 5 == found


def test_an_entry_may_seem_a_day_older_than_what_it_tells_of(tmp_path: Path) -> None:
    """A clock that is set back makes it so; what seems older is not looked for."""
    since = BEGIN + 3 * DAY
    told = [
        named(event, name, since, since - DAY - older)
        for event in each_kind()
        if not isinstance(event, WaterChanged)
        for name, older in (("older", MICROSECOND), ("a day", 0 * DAY))
    ]
    with ledger_of(tmp_path, *told) as ledger:
        found = names(past(ledger, since))

    assert [["a day"], ["a day"], ["a day"], [], ["a day"]] == found


def test_a_water_change_may_be_announced_for_a_fortnight(tmp_path: Path) -> None:
    """No longer ahead than that is one looked for."""
    since = BEGIN + 20 * DAY
    (change,) = (one for one in each_kind() if isinstance(one, WaterChanged))
    told = [
        named(change, name, since, since - 14 * DAY - longer)
        for name, longer in (("longer", MICROSECOND), ("a fortnight", 0 * DAY))
    ]
    with ledger_of(tmp_path, *told) as ledger:
        found = past(ledger, since, since + DAY).changes

    assert ["a fortnight"] == [one.id for one in found]


def test_hand_additions_of_the_day_before_are_looked_for(tmp_path: Path) -> None:
    """Told within the day before the stretch, as a clock set back may have it."""
    since = BEGIN + 3 * DAY
    (hand,) = (one for one in of_the_water() if isinstance(one, AddedByHand))
    told = [
        replace(hand, **stamped(since - DAY - older), id=name, given_at=since)
        for name, older in (("a-1", MICROSECOND), ("a-2", 0 * DAY), ("a-3", -HOUR))
    ]
    strike = MeasurementStruck(
        **stamped(since - DAY), measurement="a-3", by="keeper", why="twice"
    )
    with ledger_of(tmp_path, *told, strike) as ledger:
        found = past(ledger, since).deliveries

    assert [(since, True)] == [(one.at, one.at_once) for one in found]


def test_a_standard_counts_from_ever_until_it_is_struck(tmp_path: Path) -> None:
    """However long before the stretch; one of a later moment does not."""
    until = BEGIN + 3 * DAY
    (standard,) = (one for one in of_the_water() if isinstance(one, StandardChecked))
    told = [
        replace(standard, **stamped(until), id=name, taken_at=own)
        for name, own in (
            ("old", BEGIN - 90 * DAY),
            ("last", until),
            ("late", until + MICROSECOND),
            ("struck", until),
        )
    ]
    strike = MeasurementStruck(
        **stamped(until), measurement="struck", by="keeper", why="spoiled"
    )
    with ledger_of(tmp_path, *told, strike) as ledger:
        found = past(ledger, BEGIN + 2 * DAY, until).standards

    assert ["old", "last"] == [one.id for one in found]


def test_the_smallest_water_change_is_one(tmp_path: Path) -> None:
    """A microlitre; none at all is one that was called off."""
    at = BEGIN + DAY
    (change,) = (one for one in each_kind() if isinstance(one, WaterChanged))
    told = [
        replace(named(change, f"w-{volume_ul}", at, at), volume_ul=volume_ul)
        for volume_ul in (0, 1)
    ]
    with ledger_of(tmp_path, *told) as ledger:
        assert ["w-1"] == [one.id for one in past(ledger).changes]


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
