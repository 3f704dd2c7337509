"""From which day a proposed plan runs, and what of it lies ahead.

Floor 3. One subject: the start of a changed plan. Laws here: a plan that does not
change keeps its start; a changed one never starts in the past, unless lines every so
many days would lose their beat; what is over by then is not in it.
"""

from dataclasses import replace
from datetime import date, timedelta
from math import lcm

from slackwater.facts.plan import Plan, PlanLine

ONE_DAY = timedelta(days=1)


def started(plan: Plan, before: Plan | None, first: date) -> Plan:
    """The plan with the start that its changes ask for.

    Range: `first` is the first local day of what changes. `before` None: there was no
    plan, and all of it begins then.
    """
    if before is not None and plan.lines == before.lines:
        return plan
    starts = first if before is None else _on_the_beat(plan, before, first)
    lines = tuple(
        _within(line, starts)
        for line in plan.lines
        if line.last_day is None or line.last_day >= first
    )
    named = {line.group for line in lines}
    groups = {name: one for name, one in plan.groups.items() if name in named}
    return replace(plan, starts=starts, lines=lines, groups=groups)


def _on_the_beat(plan: Plan, before: Plan, first: date) -> date:
    """The first day, or the one before it from which kept lines count as until now."""
    kept = set(before.lines)
    beat = lcm(1, *(_beat(line) for line in plan.lines if line in kept))
    return first - (first - before.starts).days % beat * ONE_DAY


def _beat(line: PlanLine) -> int:
    return 1 if line.weekdays else line.every_days


def _within(line: PlanLine, starts: date) -> PlanLine:
    """A dated correction without the days that the plan does not have."""
    if line.purpose != "correction" or line.first_day is None:
        return line
    return replace(line, first_day=max(line.first_day, starts))
