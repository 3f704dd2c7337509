"""What a plan draws from a bottle, and for how many days that is there.

Floor 3. One subject: volumes by day, without times. Laws here: a line draws on its own
days and on no other, so a correction ends with its last one; days are walked one by one
while lines begin and end, then whole cycles of them are passed over, so that a full
bottle costs no more than one that is nearly empty; a bottle from which nothing is drawn
for good has no end.
Units: whole microlitres, local days.
"""

from collections.abc import Collection, Sequence
from datetime import date, timedelta
from fractions import Fraction
from itertools import accumulate
from math import lcm

from slackwater.facts.plan import Plan, PlanLine
from slackwater.planning.days import doses_on

ONE_DAY = timedelta(days=1)
DAYS_OF_WEEK = 7
# Three years are walked day by day, and cycles no longer than that; after them a mean
# stands for the days, and a day more or less says nothing.
WALKED_DAYS = 1100


def drawn_ul(plan: Plan, pumps: Collection[str], days: tuple[date, date]) -> int:
    """What these pumps draw from the first to the last day, both included."""
    lines = _lines(plan, pumps)
    length = (days[1] - days[0]).days + 1
    return sum(_on(plan.starts, lines, days[0] + n * ONE_DAY) for n in range(length))


def lasts_days(
    plan: Plan, pumps: Collection[str], left_ul: int, first: date
) -> float | None:
    """How many days from the first one on a content lasts, its last day in part.

    None where these pumps draw nothing, or stop before it is gone.
    """
    return lines_last_days(_lines(plan, pumps), plan.starts, left_ul, first)


def lines_last_days(
    lines: Sequence[PlanLine], starts: date, left_ul: int, first: date
) -> float | None:
    """The same for lines of a plan that starts on this day."""
    lasting = [line for line in lines if line.last_day is None]
    cycle = lcm(*(DAYS_OF_WEEK if one.weekdays else one.every_days for one in lasting))
    walked, left = _days_until_settled(lines, starts, first), left_ul
    is_far = max(walked, cycle) > WALKED_DAYS
    if is_far:
        walked = WALKED_DAYS
    for number in range(walked):
        ul = _on(starts, lines, first + number * ONE_DAY)
        if 0 < ul >= left:
            return number + left / ul
        left -= ul
    if not lasting:
        return None
    if is_far:
        return float(walked + left / sum(map(_mean_ul, lasting)))
    then = first + walked * ONE_DAY
    days = [_on(starts, lasting, then + number * ONE_DAY) for number in range(cycle)]
    return walked + _in_cycles(days, left)


def _days_until_settled(lines: Sequence[PlanLine], starts: date, first: date) -> int:
    """In how many days from the first one on no line begins or ends any more."""
    changes = [starts, *(one.first_day for one in lines if one.first_day is not None)]
    changes += [one.last_day + ONE_DAY for one in lines if one.last_day is not None]
    return max((max(changes) - first).days, 0)


def _in_cycles(days: Sequence[int], left_ul: int) -> float:
    """How long a content lasts days that come again and again: cycles are passed over.

    Shape: what each day of a cycle draws; one of them draws something.
    """
    drawn_ul = [*accumulate(days)]
    # What a cycle draws to the last microlitre is gone within it, not after it.
    passed = max(left_ul - 1, 0) // drawn_ul[-1]
    left = left_ul - passed * drawn_ul[-1]
    last = next(n for n, ul in enumerate(days) if ul and drawn_ul[n] >= left)
    before = drawn_ul[last] - days[last]
    return passed * len(days) + last + (left - before) / days[last]


def _lines(plan: Plan, pumps: Collection[str]) -> list[PlanLine]:
    return [line for line in plan.lines if line.pump in pumps]


def _on(starts: date, lines: Collection[PlanLine], day: date) -> int:
    return sum(line.per_day_ul for line in lines if doses_on(line, starts, day))


def _mean_ul(line: PlanLine) -> Fraction:
    if line.weekdays:
        return Fraction(line.per_day_ul * len(line.weekdays), DAYS_OF_WEEK)
    return Fraction(line.per_day_ul, line.every_days)
