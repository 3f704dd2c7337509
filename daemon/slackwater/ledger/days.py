"""Doses and probe readings, added up by UTC day.

Floor 6. One subject: the figures of a day. Laws here: a dose belongs to the hour of its
intent and counts with what is believed of it, in the fold's own whole numbers; a run
into a cylinder is not in the water; a day is added up the same whether its sum is kept
or made when it is asked for.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from itertools import takewhile
from statistics import fmean, median

from slackwater.facts.events import (
    DoseEnded,
    DoseIntended,
    DoseSealed,
    DoseVoided,
    ReadingKept,
)
from slackwater.facts.waters import DaySummed
from slackwater.ledger.by_time import told
from slackwater.ledger.store import LedgerFile
from slackwater.pump.outcome import Stamp

DAY = timedelta(days=1)
HOURS = 24
# Runs end and readings arrive within this; what ends later is looked for further on.
SOON = timedelta(days=2)
LATE = timedelta(hours=3)
# So many days are added up at a time, which bounds what is in memory.
STRETCH_DAYS = 31


@dataclass(slots=True, kw_only=True)
class Day:
    """One UTC day of one tank; fields as in `facts.waters.DaySummed`.

    `values` are each probe's readings, taken `moments_s` after midnight; `unsettled`:
    of a run something may still be told.
    """

    delivered: dict[str, list[int]] = field(default_factory=dict)
    asked: dict[str, int] = field(default_factory=dict)
    unknown: dict[str, int] = field(default_factory=dict)
    parameters: dict[str, str] = field(default_factory=dict)
    values: dict[str, list[float]] = field(default_factory=dict)
    moments_s: dict[str, list[int]] = field(default_factory=dict)
    unsettled: bool = False


@dataclass(slots=True, kw_only=True)
class _Run:
    """One run; until something is told of it, nobody knows more than was asked."""

    tank: str
    at: datetime
    asked_ul: int
    believed_ul: int
    effects: Mapping[str, int]
    known: bool = False
    settled: bool = True


Days = dict[tuple[date, str], Day]


def days_between(ledger: LedgerFile, first: date, last: date) -> Iterator[Days]:
    """Figures by (day, tank) from `first` to `last`, both included, in stretches.

    Shape: days without a dose or reading are left out.
    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    while first <= last:
        end = min(first + (STRETCH_DAYS - 1) * DAY, last)
        found: Days = {}
        _add_doses(ledger, (begin_of(first), begin_of(end + DAY)), found)
        _add_readings(ledger, (begin_of(first), begin_of(end + DAY)), found)
        yield found
        first = end + DAY


def sum_of(day: Day, on: date, tank: str, stamp: Stamp) -> DaySummed:
    """The entry that keeps the figures of a day."""
    return DaySummed(
        **stamp,
        tank=tank,
        day=on,
        delivered={name: tuple(hours) for name, hours in day.delivered.items()},
        asked=dict(day.asked),
        unknown=dict(day.unknown),
        parameters=dict(day.parameters),
        readings={
            probe: (len(found), median(found), min(found), max(found))
            for probe, found in sorted(day.values.items())
        },
        centres_s={
            probe: round(fmean(found)) for probe, found in sorted(day.moments_s.items())
        },
    )


def begin_of(day: date) -> datetime:
    """The moment at which a UTC day begins."""
    return datetime.combine(day, time(), UTC)


def day_of(moment: datetime) -> date:
    """The UTC day of a moment."""
    return moment.astimezone(UTC).date()


def _of(found: Days, moment: datetime, tank: str) -> Day:
    key = (day_of(moment), tank)
    if key not in found:
        found[key] = Day()
    return found[key]


def _add_doses(
    ledger: LedgerFile, span: tuple[datetime, datetime], found: Days
) -> None:
    runs = {
        event.command.attempt: _Run(
            tank=event.dose.tank,
            at=event.at,
            asked_ul=event.command.ul,
            believed_ul=event.command.ul,
            effects=event.effects,
        )
        for event in told(ledger, DoseIntended, *span)
        if event.in_water
    }
    for run in _settled(ledger, runs, span):
        _add_run(_of(found, run.at, run.tank), run)


def _settled(
    ledger: LedgerFile, runs: dict[str, _Run], span: tuple[datetime, datetime]
) -> Iterator[_Run]:
    """The runs that were not voided, with what is known of each."""
    waiting = dict(runs)
    end = span[1] + SOON
    voided = _take_ends(ledger, waiting, (span[0], end))
    # A run stays open while the daemon is away; the first thing it does is settle it.
    if waiting:
        voided |= _take_ends(ledger, waiting, (end, None))
    for attempt in waiting:
        runs[attempt].settled = False
    yield from (run for attempt, run in runs.items() if attempt not in voided)


def _take_ends(
    ledger: LedgerFile,
    waiting: dict[str, _Run],
    span: tuple[datetime, datetime | None],
) -> set[str]:
    """Take the ends out of those waiting; gives the attempts that never ran."""
    voided = set()
    # The rare ends first: then the common ones need not be read for them.
    for never in told(ledger, DoseVoided, *span):
        if waiting.pop(never.attempt, None) is not None:
            voided.add(never.attempt)
    for closed in told(ledger, DoseSealed, *span):
        waiting.pop(closed.attempt, None)
    for ended in takewhile(lambda _: waiting, told(ledger, DoseEnded, *span)):
        run = waiting.pop(ended.attempt, None)
        if run is not None:
            run.believed_ul, run.known = ended.believed_ul, ended.source != "asked"
    return voided


def _add_run(day: Day, run: _Run) -> None:
    day.unsettled |= not run.settled
    hour = run.at.astimezone(UTC).hour
    for parameter, amount in run.effects.items():
        hours = day.delivered.setdefault(parameter, [0] * HOURS)
        hours[hour] += amount * run.believed_ul // run.asked_ul
        day.asked[parameter] = day.asked.get(parameter, 0) + amount
        if not run.known:
            day.unknown[parameter] = day.unknown.get(parameter, 0) + amount


def _add_readings(
    ledger: LedgerFile, span: tuple[datetime, datetime], found: Days
) -> None:
    begin, end = span
    # A reading is written down after it was taken, at most a while later.
    for kept in told(ledger, ReadingKept, begin, end + LATE):
        if begin <= kept.taken_at < end:
            day = _of(found, kept.taken_at, kept.tank)
            day.values.setdefault(kept.probe, []).append(kept.value)
            passed = kept.taken_at - begin_of(day_of(kept.taken_at))
            day.moments_s.setdefault(kept.probe, []).append(int(passed.total_seconds()))
            day.parameters[kept.probe] = kept.parameter
