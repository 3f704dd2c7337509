"""Households that are lived in for weeks: a few doses a day, caps as narrow as before.

Drawn as `tests/properties/households.py` draws them; only the plans, the wait for a
late dose and the pace of the probes are those of a long time.
"""

from dataclasses import replace
from datetime import datetime, timedelta
from random import Random
from zoneinfo import ZoneInfo

from slackwater.facts.plan import Plan, PlanLine, Window
from slackwater.facts.tank import Machine
from tests.properties.households import Home, draw_home

DAY_MINUTES = 24 * 60
# A dose waits for so long; in the hours between nothing is due.
LATE_S = 180.0
# Heads beside that of the traces, on channels of the same node.
MORE = ("trace-two", "trace-three", "trace-four", "trace-five", "trace-six")
CHANNELS = ("b", "c", "d", "e", "f")
READING_S = 7200.0


def draw_long_home(chance: Random) -> Home:
    """A household by chance alone."""
    home = draw_home(chance)
    local = home.begin.astimezone(ZoneInfo(home.machine.tanks["reef"].zone))
    more = chance.randrange(len(MORE) + 1)
    names = [*(line.pump for line in home.plan.lines), *MORE[:more]]
    machines = [
        _slowed(_with_more(each, MORE[:more]))
        for each in (home.machine, home.other_machine)
    ]
    plan = _plan(chance, (machines[0], names), home.dose_ul, local)
    kept = _kept(names, machines[1])
    other = _plan(chance, (machines[1], kept), home.dose_ul, local)
    return replace(
        home,
        machine=machines[0],
        other_machine=machines[1],
        plan=plan,
        other_plan=replace(other, name="second"),
    )


def _with_more(machine: Machine, names: tuple[str, ...]) -> Machine:
    """More pump heads beside that of the traces, on channels of the same node."""
    first = machine.pumps["trace"]
    more = {
        name: replace(first, id=name, channel=channel)
        for name, channel in zip(names, CHANNELS, strict=False)
    }
    return replace(machine, pumps={**machine.pumps, **more})


def _kept(names: list[str], machine: Machine) -> list[str]:
    """The pumps that a later machine still has; a plan needs one."""
    return [name for name in names if name in machine.pumps] or ["trace"]


def _slowed(machine: Machine) -> Machine:
    timing = replace(machine.timing, lateness_s=LATE_S)
    probes = {
        name: replace(probe, period_s=READING_S)
        for name, probe in machine.probes.items()
    }
    return replace(machine, timing=timing, probes=probes)


def _plan(
    chance: Random, what: tuple[Machine, list[str]], dose_ul: int, local: datetime
) -> Plan:
    """The same few moments a day for all lines, one of them soon."""
    count = chance.choice((2, 2, 3, 4))
    start = (local.hour * 60 + local.minute + chance.choice((-30, 5, 60))) % DAY_MINUTES
    length = chance.choice((60, 600, DAY_MINUTES - 1))
    machine, names = what
    bare = (_line(name, dose_ul, count, (start, length)) for name in names)
    lines = tuple(
        replace(line, solution=machine.pumps[line.pump].solution) for line in bare
    )
    return Plan(name="first", starts=local.date() - timedelta(days=2), lines=lines)


def _line(name: str, dose_ul: int, count: int, span: tuple[int, int]) -> PlanLine:
    start, length = span
    end = min(start + length, DAY_MINUTES)
    return PlanLine(
        id=name,
        tank="reef",
        solution=name,
        pump=name,
        per_day_ul=dose_ul * count + count // 2,
        count=count,
        windows=(Window(start_minute=min(start, end - 30), end_minute=end),),
    )
