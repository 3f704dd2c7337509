"""What a plan draws from a bottle, and for how many days that is there.

Floor 3. One subject: volumes by day, without times. Laws here: a line draws on its own
days and on no other, so a correction ends with its last one; the days are walked one by
one, and only far ahead does a mean stand for them; a bottle from which nothing is drawn
for good has no end.
Units: whole microlitres, local days.
"""

from collections.abc import Collection
from datetime import date, timedelta
from fractions import Fraction

from slackwater.facts.plan import Plan, PlanLine
from slackwater.planning.days import doses_on

ONE_DAY = timedelta(days=1)
DAYS_OF_WEEK = 7
# Three years are walked day by day; after that a day more or less says nothing.
WALKED_DAYS = 1100


def drawn_ul(plan: Plan, pumps: Collection[str], days: tuple[date, date]) -> int:
    """What these pumps draw from the first to the last day, both included."""
    lines = _lines(plan, pumps)
    length = (days[1] - days[0]).days + 1
    return sum(_on(plan, lines, days[0] + n * ONE_DAY) for n in range(length))


def lasts_days(
    plan: Plan, pumps: Collection[str], left_ul: int, first: date
) -> float | None:
    """How many days from the first one on a content lasts, its last day in part.

    None where these pumps draw nothing, or stop before it is gone.
    """
    lines, left = _lines(plan, pumps), left_ul
    if not lines:
        return None
    for number in range(WALKED_DAYS):
        ul = _on(plan, lines, first + number * ONE_DAY)
        if 0 < ul >= left:
            return number + left / ul
        left -= ul
    pace = sum(_mean_ul(line) for line in lines if line.last_day is None)
    return float(WALKED_DAYS + left / pace) if pace else None


def _lines(plan: Plan, pumps: Collection[str]) -> list[PlanLine]:
    return [line for line in plan.lines if line.pump in pumps]


def _on(plan: Plan, lines: Collection[PlanLine], day: date) -> int:
    return sum(line.per_day_ul for line in lines if doses_on(line, plan.starts, day))


def _mean_ul(line: PlanLine) -> Fraction:
    if line.weekdays:
        return Fraction(line.per_day_ul * len(line.weekdays), DAYS_OF_WEEK)
    return Fraction(line.per_day_ul, line.every_days)
