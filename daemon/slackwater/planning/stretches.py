"""From when until when the same lines of a plan give.

Floor 3. One subject: the days on which what a plan gives changes. Laws here: a line
gives from its first day to its last one, both included, and never before the plan
starts; a day is that of the tank's own clock and begins at its midnight, so that what
is left of today is a part of a day; which weekdays or every how many days a line doses
is not asked here: within its stretch it counts with its mean.
"""

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, time, timedelta

from slackwater.facts.plan import PlanLine
from slackwater.planning.wall import zone_named

ONE_DAY = timedelta(days=1)


def day_in(zone: str, utc: datetime) -> date:
    """The date on the wall clock of a zone."""
    return utc.astimezone(zone_named(zone)).date()


def gives(line: PlanLine, day: date, starts: date) -> bool:
    """Whether a local day lies between the first and the last one of a line."""
    first, last = max(line.first_day or starts, starts), line.last_day
    return first <= day and (last is None or day <= last)


def is_over(line: PlanLine, day: date) -> bool:
    """Whether the last day of a line lies before a local day."""
    return line.last_day is not None and line.last_day < day


def stretches(
    lines: Sequence[PlanLine], starts: date, zone: str, begins: datetime
) -> Iterator[tuple[float | None, tuple[PlanLine, ...]]]:
    """For how many days which lines give, from an instant on, one after the other.

    Shape: at least one; the last has no end, None, and may give nothing. Units: days of
    24 hours, at least 0.
    """
    at, day = begins, day_in(zone, begins)
    for change in _changes(lines, starts, day):
        midnight = datetime.combine(change, time(), zone_named(zone)).astimezone(UTC)
        yield max((midnight - at) / ONE_DAY, 0.0), _giving(lines, day, starts)
        at, day = midnight, change
    yield None, _giving(lines, day, starts)


def _giving(lines: Sequence[PlanLine], day: date, starts: date) -> tuple[PlanLine, ...]:
    return tuple(line for line in lines if gives(line, day, starts))


def _changes(lines: Sequence[PlanLine], starts: date, after: date) -> list[date]:
    """The days on which a line begins, or has ended the day before."""
    days = {starts, *(one.first_day for one in lines)}
    days |= {one.last_day + ONE_DAY for one in lines if one.last_day is not None}
    return sorted(day for day in days if day is not None and day > after)
