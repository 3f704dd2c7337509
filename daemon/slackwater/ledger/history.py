"""The ledger's entries about one tank → its history.

Floor 6. One subject: reading the past of a tank. Laws here: a day that was added up is
read as its sum, the others entry by entry, and both give the same; what was superseded,
struck or called off is left out, nothing else is; nothing is written.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from operator import attrgetter, itemgetter

from slackwater.facts.history import Delivery, History, ProbeDay
from slackwater.facts.keeping import fold_task_closed, fold_task_set
from slackwater.facts.state import State
from slackwater.facts.waters import (
    AddedByHand,
    DaySummed,
    HusbandryNoted,
    ReportImported,
    SampleTaken,
    StandardChecked,
    TaskClosed,
    TaskSet,
    WaterChanged,
)
from slackwater.ledger.beginnings import given_before, known_since
from slackwater.ledger.by_time import BEGINNING, last, numbered, told
from slackwater.ledger.days import DAY, begin_of, day_of, days_between, sum_of
from slackwater.ledger.gaps import gaps
from slackwater.ledger.measured import (
    SLACK,
    Marked,
    all_measured,
    standing,
    struck_since,
)
from slackwater.ledger.store import LedgerFile
from slackwater.pump.outcome import Stamp

HOUR = timedelta(hours=1)
INSTANT = timedelta(microseconds=1)
# No water change is announced for longer ahead.
AHEAD_AT_MOST = timedelta(days=14)

# The clocks of a sum that is only read, never written.
_UNWRITTEN: Stamp = {
    "at": datetime.min.replace(tzinfo=UTC),
    "boot_s": 0.0,
    "proven_ms": 0,
}
# Where a sum does not say when its readings were taken.
NOON_S = 43_200


@dataclass(slots=True, kw_only=True)
class _Figures:
    """What days add up to; amounts by the hour that begins at a moment.

    `hands` are what people poured in, each at its own moment.
    """

    hours: dict[datetime, dict[str, int]] = field(default_factory=dict)
    asked: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    unknown: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    probe_days: list[ProbeDay] = field(default_factory=list)
    hands: list[Delivery] = field(default_factory=list)

    def add(self, at: datetime, parameter: str, amount: int) -> None:
        """Count an amount in the hour in which it came."""
        amounts = self.hours.setdefault(at, {})
        amounts[parameter] = amounts.get(parameter, 0) + amount


def read_history(
    ledger: LedgerFile, tank: str, since: datetime, until: datetime
) -> History:
    """The past of a tank within a stretch of time.

    Range: aware times, `since` not after `until`.
    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    figures = _figures(ledger, tank, since, until)
    measured = all_measured(ledger, tank, since, until)
    return History(
        tank=tank,
        since=since,
        until=until,
        measurements=tuple(standing(measured)),
        standards=_standards(ledger, until),
        samples=_samples(ledger, tank, since, until),
        reports=_reports(ledger, tank, (since, until), _struck_whole(measured)),
        deliveries=_deliveries(figures, since, until),
        changes=_changes(ledger, tank, since, until),
        happenings=_happenings(ledger, tank, since, until),
        probe_days=tuple(figures.probe_days),
        gaps=gaps(ledger, since, until),
        tasks=_tasks(ledger, tank, until),
        unknown_share={
            parameter: figures.unknown[parameter] / asked
            for parameter, asked in sorted(figures.asked.items())
            if asked > 0
        },
        known_since=known_since(ledger, tank),
    )


def summed_until(ledger: LedgerFile, now: datetime) -> date | None:
    """The last day that was added up by now; None when none was.

    Sums from ahead of now are those of a clock that was wrong.
    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    newest = last(ledger, DaySummed, now)
    return None if newest is None else newest.day


def first_day(ledger: LedgerFile) -> date:
    """The UTC day on which the ledger was made."""
    return day_of(ledger.made.at)


def _figures(
    ledger: LedgerFile, tank: str, since: datetime, until: datetime
) -> _Figures:
    figures = _Figures()
    for one in _sums(ledger, tank, day_of(since), until):
        _add_sum(figures, one)
    for at, amounts in given_before(ledger, tank).items():
        for parameter, amount in amounts.items():
            figures.add(at, parameter, amount)
    struck = struck_since(ledger, since - SLACK)
    for added in told(ledger, AddedByHand, since - SLACK, tank=tank):
        if added.id not in struck:
            figures.hands.append(
                Delivery(at=added.given_at, amounts=added.effects, at_once=True)
            )
    return figures


def _sums(
    ledger: LedgerFile, tank: str, first: date, until: datetime
) -> Iterator[DaySummed]:
    """The days that were added up, and then those that were not yet."""
    kept = _standing_sums(ledger, tank, first, until)
    # A sum is written when its day is over, so none is of a day behind the stretch.
    yield from (one for day, one in sorted(kept.items()) if first <= day)
    done = summed_until(ledger, until)
    begin = first_day(ledger) if done is None else done + DAY
    for found in days_between(ledger, max(begin, first), day_of(until)):
        for (on, owner), day in sorted(found.items(), key=itemgetter(0)):
            if owner == tank:
                yield sum_of(day, on, tank, _UNWRITTEN)


def _standing_sums(
    ledger: LedgerFile, tank: str, first: date, until: datetime
) -> dict[date, DaySummed]:
    """The sums that count: of each day the one written last.

    A clock that was ahead added up days which were still to come: such a sum is dated
    later than one that was written after it, or later than now.
    """
    told_of = numbered(ledger, DaySummed, begin_of(first), until + INSTANT, tank)
    kept: dict[date, DaySummed] = {}
    earliest = until
    for _seq, event in sorted(told_of, key=itemgetter(0), reverse=True):
        if event.at <= earliest:
            earliest = event.at
            kept.setdefault(event.day, event)
    return kept


def _add_sum(figures: _Figures, one: DaySummed) -> None:
    begin = begin_of(one.day)
    # Hour by hour: years have half a million figures.
    at = begin - HOUR
    for amounts in zip(*one.delivered.values(), strict=True):
        at += HOUR
        came = dict(zip(one.delivered, amounts, strict=True))
        if not all(amounts):
            came = {parameter: amount for parameter, amount in came.items() if amount}
        if came:
            figures.hours[at] = came
    for parameter, asked in one.asked.items():
        figures.asked[parameter] += asked
        figures.unknown[parameter] += one.unknown.get(parameter, 0)
    for probe, (count, median, lowest, highest) in one.readings.items():
        figures.probe_days.append(
            ProbeDay(
                probe=probe,
                parameter=one.parameters.get(probe, ""),
                at=begin,
                count=count,
                median=median,
                lowest=lowest,
                highest=highest,
                centre=begin + timedelta(seconds=one.centres_s.get(probe, NOON_S)),
            )
        )


def _deliveries(
    figures: _Figures, since: datetime, until: datetime
) -> tuple[Delivery, ...]:
    found = [
        *(Delivery(at=at, amounts=each) for at, each in figures.hours.items()),
        *figures.hands,
    ]
    return tuple(
        one
        for one in sorted(found, key=attrgetter("at", "at_once"))
        if since - HOUR < one.at <= until
    )


def _changes(
    ledger: LedgerFile, tank: str, since: datetime, until: datetime
) -> tuple[WaterChanged, ...]:
    found = list(told(ledger, WaterChanged, since - AHEAD_AT_MOST, tank=tank))
    gone = {change.supersedes for change in found}
    kept = (
        change
        for change in found
        if since <= change.changed_at <= until
        and change.volume_ul > 0
        and change.id not in gone
    )
    return tuple(sorted(kept, key=lambda one: (one.changed_at, one.id)))


def _standards(ledger: LedgerFile, until: datetime) -> tuple[StandardChecked, ...]:
    struck = struck_since(ledger, BEGINNING)
    found = (
        one
        for one in told(ledger, StandardChecked)
        if one.taken_at <= until and one.id not in struck
    )
    return tuple(sorted(found, key=lambda one: (one.taken_at, one.id)))


def _samples(
    ledger: LedgerFile, tank: str, since: datetime, until: datetime
) -> tuple[SampleTaken, ...]:
    found = told(ledger, SampleTaken, since - SLACK, tank=tank)
    kept = (one for one in found if since <= one.taken_at <= until)
    return tuple(sorted(kept, key=lambda one: (one.taken_at, one.sample)))


def _struck_whole(measured: Sequence[Marked]) -> frozenset[str]:
    """The reports of which no value stands any more, for all or the last were struck.

    Their limits were another water's, or misread with the rest.
    """
    struck = {one.kept.report for one in measured if one.mark == "struck"}
    return frozenset(struck - {one.kept.report for one in measured if not one.mark})


def _reports(
    ledger: LedgerFile,
    tank: str,
    between: tuple[datetime, datetime],
    struck: frozenset[str],
) -> tuple[ReportImported, ...]:
    """Those that stand; of one that was struck and came again, the last."""
    since, until = between
    found = {
        one.report: one
        for one in told(ledger, ReportImported, since - SLACK, tank=tank)
        if one.report not in struck
    }
    kept = (one for one in found.values() if since <= one.sampled_at <= until)
    return tuple(sorted(kept, key=lambda one: (one.sampled_at, one.report)))


def _happenings(
    ledger: LedgerFile, tank: str, since: datetime, until: datetime
) -> tuple[HusbandryNoted, ...]:
    found = told(ledger, HusbandryNoted, since - SLACK, tank=tank)
    kept = (one for one in found if since <= one.happened_at <= until)
    return tuple(sorted(kept, key=lambda one: (one.happened_at, one.id)))


def _tasks(ledger: LedgerFile, tank: str, until: datetime) -> tuple[TaskSet, ...]:
    """Those still open at the end; of one remedy the last that was set."""
    numbered_entries: list[tuple[int, TaskSet | TaskClosed]] = [
        *numbered(ledger, TaskSet, until=until, tank=tank),
        *numbered(ledger, TaskClosed, until=until),
    ]
    state = State()
    for _seq, event in sorted(numbered_entries, key=itemgetter(0)):
        if isinstance(event, TaskSet):
            fold_task_set(state, event)
        else:
            fold_task_closed(state, event)
    return tuple(sorted(state.tasks.values(), key=lambda one: (one.due_on, one.task)))
