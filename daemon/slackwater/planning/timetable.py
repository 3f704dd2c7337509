"""From a plan to doses in UTC.

Floor 3. One subject: what is due when. Laws here: a dose exists once, with one
identity, whatever is asked and in whatever order; equal plans and machines give equal
doses; days are laid out when they are asked for and kept for a while.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache
from operator import attrgetter
from typing import NamedTuple

from slackwater.errors import Finding, InputError
from slackwater.facts.plan import Day, DueDose, Plan
from slackwater.facts.tank import Machine
from slackwater.planning.days import ONE_DAY, checked_days
from slackwater.planning.faults import line_faults
from slackwater.planning.tank_days import TankDays
from slackwater.planning.wall import EPOCH

LOOK_AHEAD = timedelta(days=400)
# Longer than is looked ahead, so that one search serves for a day.
SEARCHED_DAYS = (LOOK_AHEAD + ONE_DAY).days
UTC_DAYS_KEPT = 8
# Whoever judges a plan asks for its doses time and again: for caps, digest, runs.
TIMETABLES_KEPT = 4

SECOND_LETTERS = len("2026-05-03T00:00:00")

_due_at = attrgetter("due_at")
_by_time = attrgetter("due_at", "id")


class _UtcDay(NamedTuple):
    """The doses due on one day of UTC, in order, and when each of them is."""

    doses: list[DueDose]
    due: tuple[datetime, ...]


class _Searched(NamedTuple):
    """The answer to one question after the next dose: it holds from `asked` on.

    It holds before `until`; a dose further ahead than is looked counts from `near`.
    """

    asked: datetime
    until: datetime
    near: datetime | None


class Timetable:
    """The doses of a plan on a machine.

    Raises: InputError with everything that is wrong in single lines.
    """

    def __init__(self, plan: Plan, machine: Machine) -> None:
        faults = line_faults(plan, machine)
        if faults:
            raise InputError(fault.finding for fault in faults)
        self.plan = plan
        self.machine = machine
        self._tanks = {
            tank: TankDays(plan, machine, tank)
            for tank in sorted({line.tank for line in plan.lines})
        }
        self._order = {
            (line.tank, line.id): order for order, line in enumerate(plan.lines)
        }
        self._utc_day = lru_cache(UTC_DAYS_KEPT)(self._gather)
        self._searched: _Searched | None = None

    @property
    def tanks(self) -> tuple[str, ...]:
        """The tanks that the plan has lines for, in order."""
        return tuple(self._tanks)

    def day(self, tank: str, local_day: date) -> Day:
        """The doses of a tank's local day, by due time, then by place in the file.

        Shape: empty for a tank without lines.
        """
        if tank not in self._tanks:
            return Day(local_day=local_day, doses=())
        return self._tanks[tank].day(local_day)

    def left_out(self, tank: str, local_day: date) -> tuple[str, ...]:
        """What of a local day has no place, as `day` says, without laying its doses."""
        return self._tanks[tank].left_out(local_day)

    def between(self, after: datetime, until: datetime) -> list[DueDose]:
        """The doses of all tanks with after < due <= until, in order of time."""
        return list(self.one_by_one(after, until))

    def one_by_one(self, after: datetime, until: datetime) -> Iterator[DueDose]:
        """The same doses, each day laid out when its first dose is asked for."""
        known = self._searched
        # Whoever looks often looks between two doses most of the time.
        if known is not None and known.asked <= after and until < known.until:
            return iter(())
        first, last = (after - EPOCH).days, (until - EPOCH).days
        if first == last:
            return iter(self._part(first, after, until))
        return (
            dose
            for number in range(first, last + 1)
            for dose in self._part(number, after, until)
        )

    def _part(self, number: int, after: datetime, until: datetime) -> list[DueDose]:
        doses, due = self._utc_day(number)
        low = bisect_right(due, after)
        return doses[low : bisect_right(due, until, low)]

    def next_after(self, moment: datetime) -> datetime | None:
        """When the first dose after a moment is due, None within 400 days."""
        known = self._searched
        if known is None or not known.asked <= moment < known.until:
            known = self._searched = self._search(moment)
        return known.until if known.near is not None and known.near <= moment else None

    def conflicts(self, tank: str, local_day: date) -> tuple[Finding, ...]:
        """The doses of a day that the gaps have no room for."""
        return self._tanks[tank].conflicts(local_day)

    def checked_days(self, tank: str) -> tuple[date, ...]:
        """The days that stand for all days of a tank; see `planning.days`."""
        return checked_days(self.plan, tank, self._tanks[tank].zone)

    def _search(self, moment: datetime) -> _Searched:
        first = (moment - EPOCH).days
        for number in range(first, first + SEARCHED_DAYS + 1):
            due = self._utc_day(number).due
            later = bisect_right(due, moment)
            if later < len(due):
                due_at = due[later]
                return _Searched(moment, due_at, due_at - LOOK_AHEAD)
        return _Searched(moment, moment + ONE_DAY, None)

    def _gather(self, number: int) -> _UtcDay:
        """All doses due on one day of UTC, by its number since 1970-01-01."""
        start = EPOCH + number * ONE_DAY
        parts = [
            part
            for days in self._tanks.values()
            for part in _within(days, start, start + ONE_DAY)
        ]
        doses = [dose for part in parts for dose in part]
        if len(self._tanks) > 1:
            doses.sort(key=self._rank)
        return _UtcDay(doses, tuple(map(_due_at, doses)))

    def _rank(self, dose: DueDose) -> tuple[datetime, int]:
        return dose.due_at, self._order[dose.tank, dose.line]


@dataclass(frozen=True, slots=True)
class _Asked:
    """A plan on a machine, told from others by what stands in it."""

    plan: Plan
    machine: Machine

    def __hash__(self) -> int:
        return hash((self.plan.name, self.plan.starts, self.machine.site))


def timetable_of(plan: Plan, machine: Machine) -> Timetable:
    """The doses of a plan on a machine, laid once for equal plans and machines.

    Raises: InputError with everything that is wrong in single lines.
    """
    return _laid_once(_Asked(plan, machine))


@lru_cache(TIMETABLES_KEPT)
def _laid_once(asked: _Asked) -> Timetable:
    return Timetable(asked.plan, asked.machine)


def _within(
    days: TankDays, start: datetime, end: datetime
) -> Iterator[tuple[DueDose, ...]]:
    """The parts of a tank's local days that fall into a stretch, in order."""
    local_day = start.astimezone(days.zone).date() - ONE_DAY
    last = end.astimezone(days.zone).date()
    while local_day <= last:
        doses = days.day(local_day).doses
        low = bisect_left(doses, start, key=_due_at)
        yield doses[low : bisect_left(doses, end, key=_due_at)]
        local_day += ONE_DAY


def dose_table_lines(
    plan: Plan, machine: Machine, days: Iterable[date]
) -> Iterator[bytes]:
    """The doses of some local days as canonical lines, for a digest.

    Shape: for each day in order, each dose by due time, then by identity; one line
    each, without a line end: due, latest start, identity, pump, solution, microlitres,
    parted by spaces, times in UTC.
    """
    timetable = timetable_of(plan, machine)
    for local_day in sorted(set(days)):
        doses = (
            dose
            for tank in timetable.tanks
            for dose in timetable.day(tank, local_day).doses
        )
        for dose in sorted(doses, key=_by_time):
            yield (
                f"{_second(dose.due_at)} {_second(dose.latest_at)} "
                f"{dose.id} {dose.pump} {machine.pumps[dose.pump].solution} "
                f"{dose.volume_ul}"
            ).encode()


def _second(moment: datetime) -> str:
    """A moment of UTC to the second; a table has many, and `strftime` is slow."""
    return moment.isoformat()[:SECOND_LETTERS] + "Z"
