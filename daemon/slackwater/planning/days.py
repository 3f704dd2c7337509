"""Which days a line doses on, and which days stand for all of them.

Floor 3. One subject: the calendar of a plan. Laws here: nothing is dosed before the
plan starts; the days chosen for checking show every succession of lines that three
days running can have, and every clock change of two years.
"""

from collections.abc import Iterator
from datetime import date, timedelta
from functools import lru_cache
from itertools import pairwise
from math import lcm
from zoneinfo import ZoneInfo

from slackwater.facts.plan import Plan, PlanLine, Weekday
from slackwater.facts.tank import Machine
from slackwater.planning.wall import reached_s, zone_named

WEEKDAYS: tuple[Weekday, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
DAY_S = 86_400
ONE_DAY = timedelta(days=1)

# What a day may still be charged with began at most two local days before: 25 hours
# of a node's budget and two hours of lateness, across a day of 23 hours.
CONTEXT_DAYS = 2
# Ten years; lines whose days never coincide in that time are left to the gate.
LONGEST_CYCLE_DAYS = 3653
# From then on a succession that only lacks lines of one already kept adds nothing.
EVERY_SUCCESSION_DAYS = 366
# Two changes each way.
CLOCK_CHANGES_WITHIN_DAYS = 731
# A household has a zone or two, and a check of its plan looks several times.
ZONES_KEPT = 16
# Long enough for every weekday four times and for what is dosed once a month.
APPROVED_DAYS = 30


def doses_on(line: PlanLine, starts: date, local_day: date) -> bool:
    """Whether the line doses on that local day."""
    if local_day < max(starts, line.first_day or starts):
        return False
    if line.last_day is not None and local_day > line.last_day:
        return False
    if line.weekdays:
        return WEEKDAYS[local_day.weekday()] in line.weekdays
    return (local_day - starts).days % line.every_days == 0


def checked_days(plan: Plan, tank: str, zone: ZoneInfo) -> tuple[date, ...]:
    """The days of a tank that stand for all days of the plan, in order.

    What a day may do to a cap follows from which lines dose on it and on the two days
    before, and from the length of those days. So these are: from the start and from
    each first and last day on, one whole cycle of all the every-so-many days and
    weekdays, of which each succession of lines is kept once, where it comes first
    (after a year only those in which more meets than in any before); and for each
    clock change of two years the day before, the day itself and the day after. Days
    without a dose are left out.
    """
    lines = tuple(line for line in plan.lines if line.tank == tank)
    found = set(_successions(lines, plan.starts))
    found.update(
        day for changed in _clock_changes(zone, plan.starts) for day in _around(changed)
    )
    return tuple(
        sorted(
            day
            for day in found
            if any(doses_on(line, plan.starts, day) for line in lines)
        )
    )


def days_together(plan: Plan) -> tuple[date, ...]:
    """The days that stand for whatever lines of all tanks may meet on, in order.

    A node that serves two tanks has its fullest day where both dose, and that need be
    none of the checked days of either.
    """
    return tuple(sorted(set(_successions(plan.lines, plan.starts))))


def approved_days(plan: Plan, machine: Machine) -> tuple[date, ...]:
    """The days whose doses are part of what a person approves, in order.

    Thirty days from the plan's start, and for the next clock change in each direction
    of each zone the day before, the day itself and the day after. Zone data that lays
    the doses of any of them otherwise makes another digest.
    Raises: InputError when a line names a tank or zone that is not there.
    """
    found = {plan.starts + offset * ONE_DAY for offset in range(APPROVED_DAYS)}
    tanks = {line.tank for line in plan.lines} & set(machine.tanks)
    zones = {machine.tanks[tank].zone for tank in tanks}
    for zone in sorted(zones):
        for changed in _next_changes(zone_named(zone), plan.starts):
            found.update(_around(changed))
    return tuple(sorted(day for day in found if day >= plan.starts))


def _next_changes(zone: ZoneInfo, starts: date) -> tuple[date, ...]:
    """The first day on which the clock goes forward, and the first it goes back."""
    first: dict[bool, date] = {}
    for day in _clock_changes(zone, starts):
        first.setdefault(_length_s(zone, day) < DAY_S, day)
    return tuple(sorted(first.values()))


def _around(day: date) -> tuple[date, date, date]:
    """A day between the one before and the one after."""
    return day - ONE_DAY, day, day + ONE_DAY


def _length_s(zone: ZoneInfo, day: date) -> int:
    """Seconds from the midnight a day begins with to that it ends with."""
    return reached_s(zone, day + ONE_DAY, 0) - reached_s(zone, day, 0)


def _successions(lines: tuple[PlanLine, ...], starts: date) -> Iterator[date]:
    cycle = lcm(*(7 if line.weekdays else line.every_days for line in lines))
    most = min(cycle, LONGEST_CYCLE_DAYS) + CONTEXT_DAYS
    # One bit for each line and day, today's lowest.
    all_bits = (1 << len(lines) * (CONTEXT_DAYS + 1)) - 1
    seen: set[int] = set()
    for first, after in pairwise((*_regimes(lines, starts), date.max)):
        succession = 0
        for offset in range(-CONTEXT_DAYS, min((after - first).days, most)):
            day = first + offset * ONE_DAY
            for line in lines:
                succession = succession << 1 | doses_on(line, starts, day)
            succession &= all_bits
            if offset >= 0 and not _known(succession, offset, seen):
                seen.add(succession)
                yield day


def _known(succession: int, offset: int, seen: set[int]) -> bool:
    if offset < EVERY_SUCCESSION_DAYS:
        return succession in seen
    return any(succession & ~other == 0 for other in seen)


def _regimes(lines: tuple[PlanLine, ...], starts: date) -> list[date]:
    """The days from which other lines dose than before, the start among them."""
    edges = {starts}
    for line in lines:
        edges.add(line.first_day or starts)
        edges.add(line.last_day + ONE_DAY if line.last_day else starts)
    return sorted(edge for edge in edges if edge >= starts)


@lru_cache(ZONES_KEPT)
def _clock_changes(zone: ZoneInfo, starts: date) -> tuple[date, ...]:
    """The days of two years that are longer or shorter than others, in order."""
    days = (starts + offset * ONE_DAY for offset in range(CLOCK_CHANGES_WITHIN_DAYS))
    return tuple(day for day in days if _length_s(zone, day) != DAY_S)
