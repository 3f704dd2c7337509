"""Invented entries about the water, stamped by a diary."""

from datetime import date, datetime, timedelta

from slackwater.facts.events import AnyEvent
from slackwater.facts.waters import (
    AddedByHand,
    DaySummed,
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
from tests.facts.diary import HOUR, PEQ_PER_UL, TODAY, Diary


def measured(
    diary: Diary,
    number: int,
    value: float = 2.85,
    ago: timedelta = HOUR,
    supersedes: str = "",
) -> MeasurementKept:
    """A hand test of alkalinity, taken some time before it is written down."""
    return MeasurementKept(
        **diary.stamp,
        id=f"m-{number}",
        tank="reef",
        parameter="alkalinity",
        value=value,
        typed=f"{value} meq/L",
        taken_at=diary.at - ago,
        provenance="hand",
        by="keeper",
        supersedes=supersedes,
    )


def added(
    diary: Diary,
    ul: int = 2000,
    ago: timedelta = timedelta(),
    day: date = TODAY,
    solution: str = "carbonate",
) -> AddedByHand:
    """Carbonate solution poured in by hand some time before it is written down."""
    return AddedByHand(
        **diary.stamp,
        id=f"a-{len(diary.events)}",
        tank="reef",
        given_at=diary.at - ago,
        local_day=day,
        by="keeper",
        solution=solution,
        volume_ul=ul if solution else 0,
        effects={"alkalinity": ul * PEQ_PER_UL},
    )


def changed(
    diary: Diary,
    number: int,
    at: datetime | None = None,
    litres: int = 40,
    supersedes: str = "",
) -> WaterChanged:
    """A water change that lifts alkalinity by 0.2 meq/L."""
    return WaterChanged(
        **diary.stamp,
        id=f"w-{number}",
        tank="reef",
        changed_at=diary.at if at is None else at,
        volume_ul=litres * 1_000_000,
        by="keeper",
        steps={"alkalinity": 0.2},
        supersedes=supersedes,
    )


def task(diary: Diary, number: int, parameter: str = "calcium") -> TaskSet:
    """A test that somebody should make again."""
    return TaskSet(
        **diary.stamp,
        task=f"t-{number}",
        tank="reef",
        remedy="retest",
        parameter=parameter,
        text=f"Test {parameter} again.",
        due_on=TODAY,
        by="daemon",
    )


def of_the_water(diary: Diary) -> tuple[AnyEvent, ...]:
    """One entry of every kind that tells of the water."""
    stamp, by = diary.stamp, "keeper"
    return (
        measured(diary, 1),
        measured(diary, 2),
        MeasurementStruck(**stamp, measurement="m-1", by=by, why="wrong tank"),
        StandardChecked(
            **stamp,
            id="k-1",
            parameter="alkalinity",
            method="drops",
            lot="",
            expected=2.5,
            found=2.6,
            taken_at=diary.at,
            by=by,
        ),
        SampleTaken(**stamp, sample="S-1", tank="reef", taken_at=diary.at, by=by),
        ReportImported(
            **stamp,
            report="ab" * 32,
            tank="reef",
            sample="S-1",
            file="report.csv",
            sampled_at=diary.at,
            values=3,
            by=by,
        ),
        added(diary),
        changed(diary, 1),
        HusbandryNoted(
            **stamp, id="h-1", tank="reef", what="light", happened_at=diary.at, by=by
        ),
        task(diary, 1),
        task(diary, 2, "magnesium"),
        TaskClosed(**stamp, task="t-1", how="done", by=by),
        DaySummed(**stamp, tank="reef", day=TODAY),
    )
