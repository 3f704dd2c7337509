"""The doses that approvals asked for in a stretch of time.

Floor 3. One subject: what should have happened. Laws here: a dose belongs to the
approval in force when it is first due; the day of the change belongs to both, each dose
once.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from slackwater.audit.consent import Line
from slackwater.audit.history import History, Standing
from slackwater.audit.places import Place, instant, places

A_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """A dose that was approved; it cannot begin after `last_at`.

    `dose` is its name in the plan. Where a clock was ahead its time has come `times`
    times, and each time it has another name; `times_least` is another figure where its
    share of the day, in which it may have been due, lies in both.
    """

    dose: str
    times: int = 1
    times_least: int = 1
    tank: str
    pump: str
    day: date
    place: Place
    last_at: datetime
    is_live: bool
    serial: int


def named(due: Due, times: int) -> str:
    """The name that the dose has when its time comes for so many times."""
    return due.dose if times == 1 else f"{due.dose}.{times}"


def asked(history: History, since: datetime, until: datetime) -> Iterator[Due]:
    """The doses whose share begins from `since` up to before `until`.

    Shape: each dose once, whichever approvals name it.
    """
    seen = set()
    for standing in history.approvals:
        for name, line in sorted(standing.consent.lines.items()):
            for due in _of_line(history, standing, (name, line), (since, until)):
                if due.dose not in seen:
                    seen.add(due.dose)
                    yield due


def _of_line(
    history: History,
    standing: Standing,
    named: tuple[str, Line],
    span: tuple[datetime, datetime],
) -> Iterator[Due]:
    (name, line), (since, until) = named, span
    consent = standing.consent
    # Outside the days it can have been in force there is nothing to lay out.
    first = max(since, consent.approval.takes_over_at)
    last = min(until, standing.withdrawn_at or until)
    zone = consent.zones[line.tank]
    day = first.astimezone(zone).date() - A_DAY
    end = last.astimezone(zone).date()
    while day <= end:
        for number, place in places(consent, line, day).items():
            at = place.from_at
            times = history.times(at), history.times(instant(place.until_s))
            if since <= at < until and history.asks_at(at) is standing:
                yield Due(
                    dose=f"{name}@{day}#{number:02d}",
                    times=max(times),
                    times_least=min(times),
                    tank=line.tank,
                    pump=line.pump,
                    day=day,
                    place=place,
                    last_at=instant(place.until_s)
                    + timedelta(seconds=consent.lateness_s),
                    is_live=history.was_live(at),
                    serial=consent.approval.serial,
                )
        day += A_DAY
