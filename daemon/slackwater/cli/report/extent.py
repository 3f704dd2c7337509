"""Which days a rehearsal runs, so that every dated correction is among them.

Floor 8. One subject: the stretch of a rehearsal. Laws here: what is over is not run
again; a correction with dates is run on each of its days that lie ahead, or it is said
that it was not; the moment is that of the ledger's newest entry, not the clock's.
Units: local days, both ends included.
"""

from collections.abc import Iterator
from datetime import date, datetime
from zoneinfo import ZoneInfo

from slackwater.errors import Finding, RefusedError
from slackwater.facts.plan import Plan, PlanLine
from slackwater.facts.tank import Machine
from slackwater.water.show import show_volume

DEFAULT_DAYS = 30
# Longer corrections must be asked for: no slip of a date runs for years.
MOST_AHEAD_DAYS = 400
# A shorter report shows neither a week nor where the water goes (project limit).
LEAST_REVIEWED_DAYS = 14


def today_of(machine: Machine, at: datetime) -> date:
    """The earliest local day of any tank at a moment."""
    zones = {tank.zone for tank in machine.tanks.values()}
    return min(at.astimezone(ZoneInfo(zone)).date() for zone in zones)


def past_day(machine: Machine, at: datetime | None) -> date | None:
    """The day of the ledger's newest entry, before which all is past."""
    return None if at is None else today_of(machine, at)


def first_day(plan: Plan, machine: Machine, at: datetime | None) -> date:
    """The plan's start, or the day of the newest entry where that is later."""
    return plan.starts if at is None else max(plan.starts, today_of(machine, at))


def days_ahead(plan: Plan, first: date) -> int:
    """Thirty days, or as many as the dated corrections need."""
    spans = [span[1] for line in plan.lines if (span := _span(line, plan, first))]
    needed = max([DEFAULT_DAYS, *((last - first).days + 1 for last in spans)])
    return min(needed, MOST_AHEAD_DAYS)


def days_to_review(plan: Plan, first: date) -> int:
    """How many days a report must show before it is approved; fewer where all ends."""
    ends = [line.last_day for line in plan.lines]
    last = max((day for day in ends if day is not None), default=None)
    if last is None or None in ends:
        return LEAST_REVIEWED_DAYS
    return min(max((last - first).days + 1, 1), LEAST_REVIEWED_DAYS)


def refuse_over(plan: Plan, today: date) -> None:
    """Refuse a plan of which nothing is left to be given.

    Raises: RefusedError with its last day.
    """
    last = over_since(plan, today)
    if last is not None:
        raise RefusedError(
            Finding(
                what=f"the plan is over: its last day, {last}, is past",
                where="approve",
                expected="a plan with a line that still doses",
                do="Give a line a later `last`, or make a new plan.",
            )
        )


def over_since(plan: Plan, today: date) -> date | None:
    """The last day of a plan whose lines have all ended; None for any other."""
    ends = [line.last_day for line in plan.lines]
    last = max((day for day in ends if day is not None), default=None)
    if last is None or None in ends or last >= today:
        return None
    return last


def dates_missing(
    plan: Plan, today: date, rehearsed: tuple[date, date] | None
) -> tuple[str, ...]:
    """Dated corrections that a rehearsal did not run to their end, in words."""
    return tuple(
        f"{line.tank}/{line.id} {dates_words(line, plan)}"
        for line in plan.lines
        if (span := _span(line, plan, today)) and not _is_within(span, rehearsed)
    )


def correction_lines(plan: Plan, rehearsed: tuple[date, date]) -> Iterator[str]:
    """Each dated correction with its dates, and whether it was run."""
    for line in plan.lines:
        if not _is_dated(line):
            continue
        span = _span(line, plan, rehearsed[0])
        if span is None:
            told = "over before the first rehearsed day"
        elif _is_within(span, rehearsed):
            told = "rehearsed"
        else:
            told = "not rehearsed to its end: ask for more --days"
        yield (
            f"{line.tank}/{line.id}: {show_volume(line.per_day_ul)} a day, "
            f"{dates_words(line, plan)}, {told}"
        )


def dates_words(line: PlanLine, plan: Plan) -> str:
    """From when to when a dated line runs."""
    begins = line.first_day or plan.starts
    return f"from {begins}" if line.last_day is None else f"{begins} to {line.last_day}"


def _is_dated(line: PlanLine) -> bool:
    dated = line.first_day is not None or line.last_day is not None
    return line.purpose == "correction" and dated


def _span(line: PlanLine, plan: Plan, today: date) -> tuple[date, date] | None:
    """The days of a dated correction that lie ahead; None where there are none."""
    if not _is_dated(line):
        return None
    begins = max(line.first_day or plan.starts, today)
    ends = begins if line.last_day is None else line.last_day
    return (begins, ends) if begins <= ends else None


def _is_within(span: tuple[date, date], rehearsed: tuple[date, date] | None) -> bool:
    if rehearsed is None:
        return False
    return rehearsed[0] <= span[0] and span[1] <= rehearsed[1]
