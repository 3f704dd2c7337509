"""Invented entries about the water: one of every kind there is."""

from datetime import timedelta

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
from tests.ledger.samples import DAY, NOON, clocks

EARLIER = NOON - timedelta(hours=3)


def measured() -> MeasurementKept:
    """A hand test that corrects an earlier one."""
    return MeasurementKept(
        **clocks(),
        id="m-7f3a19",
        tank="reef",
        parameter="phosphate",
        value=0.02,
        typed="<0.02 mg/L PO4",
        taken_at=EARLIER,
        provenance="hand",
        by="keeper",
        method="drops",
        lot="lot 7",
        note="murky",
        censored=True,
        sd=0.01,
        replicates=3,
        spread=0.04,
        sample="S-1",
        report="ab" * 32,
        supersedes="m-000001",
        confirmed=True,
    )


def of_the_water() -> tuple[AnyEvent, ...]:
    """One entry of every kind that tells of the water."""
    return (*_found(), *_done())


def _found() -> tuple[AnyEvent, ...]:
    return (
        measured(),
        MeasurementStruck(
            **clocks(), measurement="m-7f3a19", by="keeper", why="wrong tank"
        ),
        StandardChecked(
            **clocks(),
            id="k-1",
            parameter="alkalinity",
            method="drops",
            lot="lot 7",
            expected=2.497,
            found=2.604,
            taken_at=EARLIER,
            by="keeper",
            note="new bottle",
        ),
        SampleTaken(
            **clocks(),
            sample="S-1",
            tank="reef",
            taken_at=EARLIER,
            by="keeper",
            note="before the change",
            levels={"calcium": 418.0, "alkalinity": 2.85},
            per_day_ul={"left": 96_000},
        ),
        ReportImported(
            **clocks(),
            report="ab" * 32,
            tank="reef",
            sample="S-1",
            file="report.csv",
            sampled_at=EARLIER,
            values=31,
            by="keeper",
            laboratory="an invented laboratory",
            skipped=("Rh",),
            limits={"copper": 0.5},
        ),
        DaySummed(
            **clocks(),
            tank="reef",
            day=DAY,
            delivered={"alkalinity": tuple(range(24))},
            asked={"alkalinity": 300},
            unknown={"alkalinity": 24},
            parameters={"probe-1": "alkalinity"},
            readings={"probe-1": (288, 2.9, 2.8, 3.0)},
            centres_s={"probe-1": 43_200},
        ),
    )


def _done() -> tuple[AnyEvent, ...]:
    return (
        AddedByHand(
            **clocks(),
            id="a-1",
            tank="reef",
            given_at=EARLIER,
            local_day=DAY,
            by="keeper",
            solution="carbonate",
            volume_ul=20_000,
            effects={"sodium": 3, "alkalinity": 37_740_200_000},
            note="after the outage",
        ),
        WaterChanged(
            **clocks(),
            id="w-2",
            tank="reef",
            changed_at=NOON + timedelta(hours=5),
            volume_ul=40_000_000,
            by="keeper",
            batch="b-1",
            levels={"alkalinity": 2.85},
            steps={"alkalinity": 0.04},
            note="weekly",
            supersedes="w-1",
        ),
        HusbandryNoted(
            **clocks(),
            id="h-1",
            tank="reef",
            what="corals_added",
            happened_at=EARLIER,
            by="keeper",
            note="six pieces",
        ),
        TaskSet(
            **clocks(),
            task="t-1",
            tank="reef",
            remedy="retest",
            parameter="calcium",
            text="Test calcium again.",
            due_on=DAY,
            by="daemon",
        ),
        TaskClosed(**clocks(), task="t-1", how="done", by="keeper", note="418 mg/L"),
    )
