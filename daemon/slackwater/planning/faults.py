"""What is wrong with a plan line before any day is laid out.

Floor 3. One subject: lines against the machine, without a calendar. Laws here: every
fault of every line comes out at once; a line with a fault is never laid out.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

from slackwater.errors import Finding, InputError
from slackwater.facts.plan import Group, Plan, PlanLine
from slackwater.facts.tank import Machine, Pump
from slackwater.planning.amounts import largest_ul, smallest_ul
from slackwater.planning.exchanges import exchange_faults
from slackwater.planning.wall import MINUTES_A_DAY, zone_named
from slackwater.water.show import show_volume

# A dose every five minutes: more is a drip, and no pump gap allows it.
MOST_DOSES = 288
# The command to a node carries no more in one dose.
MOST_PER_COMMAND_UL = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing wrong; `order` is the line's place in the file."""

    order: int
    finding: Finding


def line_faults(plan: Plan, machine: Machine) -> list[Fault]:
    """Everything wrong with single lines, in file order."""
    seen = Counter[tuple[str, str]]()
    found = []
    for order, line in enumerate(plan.lines):
        seen[line.tank, line.id] += 1
        said = list(_line_faults(line, machine))
        said += exchange_faults(line, plan, machine)
        if seen[line.tank, line.id] > 1:
            what = f"the id {line.id} stands on an earlier line already"
            said.append((what, "one line for each id", "Remove one of the two."))
        found += [
            Fault(order=order, finding=_at(place(line), *words)) for words in said
        ]
    return found


def group_faults(plan: Plan) -> list[Finding]:
    """Every group whose lines or amounts are not as its ratio says."""
    found = []
    for name in sorted({line.group for line in plan.lines if line.group}):
        lines = [line for line in plan.lines if line.group == name]
        members = {line.id: line for line in lines}
        group = plan.groups.get(name, Group(id=name, ratio={}))
        if len({line.tank for line in lines}) > 1:
            found.append(
                _at(
                    f"group {name}",
                    "its lines belong to different tanks",
                    "lines of one tank",
                    "Make a group for each tank.",
                )
            )
        elif set(group.ratio) != set(members):
            found.append(
                _at(
                    f"group {name}",
                    f"its lines are {_listed(members)}, its ratio names "
                    f"{_listed(group.ratio)}",
                    "the same lines in both",
                    "Mend the ratio, or the group of the lines.",
                )
            )
        else:
            found += _amount_faults(group, members)
        if len({line.purpose for line in lines}) > 1:
            found.append(
                _at(
                    f"group {name}",
                    "maintenance and correction lines in one group",
                    "lines of one purpose: a correction rests while the water is not "
                    "known, and would take its group with it",
                    "Make a group for each purpose.",
                )
            )
    return found


def sound_part(plan: Plan, faults: list[Fault]) -> Plan:
    """The plan without the lines that have a fault."""
    bad = {fault.order for fault in faults}
    kept = (line for order, line in enumerate(plan.lines) if order not in bad)
    return replace(plan, lines=tuple(kept))


def place(line: PlanLine) -> str:
    """How findings call a line."""
    return f"line {line.tank}/{line.id}"


def _at(where: str, what: str, expected: str, advice: str) -> Finding:
    return Finding(what=what, where=where, expected=expected, do=advice)


def _listed(names: Mapping[str, object]) -> str:
    return ", ".join(sorted(names)) or "none"


def _line_faults(line: PlanLine, machine: Machine) -> Iterator[tuple[str, str, str]]:
    yield from _tank_faults(line, machine)
    yield from _day_faults(line)
    counted = list(_count_faults(line))
    yield from counted
    yield from _time_faults(line)
    pump = machine.pumps.get(line.pump)
    if pump is None:
        yield (
            f"there is no pump {line.pump}",
            f"one of {_listed(machine.pumps)}",
            "Name a pump of the machine.",
        )
        return
    yield from _pump_faults(line, pump, machine)
    if not counted:
        yield from _dose_faults(line, pump, machine)


def _tank_faults(line: PlanLine, machine: Machine) -> Iterator[tuple[str, str, str]]:
    if line.tank not in machine.tanks:
        yield (
            f"there is no tank {line.tank}",
            f"one of {_listed(machine.tanks)}",
            "Name a tank of the machine.",
        )
    else:
        try:
            zone_named(machine.tanks[line.tank].zone)
        except InputError as error:
            for finding in error.findings:
                yield finding.what, finding.expected, finding.do
    if line.solution not in machine.solutions:
        yield (
            f"there is no solution {line.solution}",
            f"one of {_listed(machine.solutions)}",
            "Name a solution of the machine.",
        )


def _day_faults(line: PlanLine) -> Iterator[tuple[str, str, str]]:
    if line.every_days < 1:
        yield f"every {line.every_days} days", "1 or more", "Mend every_days."
    if line.first_day and line.last_day and line.last_day < line.first_day:
        yield (
            f"the last day {line.last_day} is before the first, {line.first_day}",
            "a last day on or after the first",
            "Mend one of the two dates.",
        )


def _count_faults(line: PlanLine) -> Iterator[tuple[str, str, str]]:
    if line.per_day_ul <= 0:
        yield (
            f"the amount is {show_volume(line.per_day_ul)} a day",
            "more than 0 µL",
            "Give an amount, or remove the line.",
        )
    if not 1 <= line.count <= MOST_DOSES:
        yield (
            f"{line.count} doses a day",
            f"from 1 to {MOST_DOSES}",
            "Mend the number of doses.",
        )


def _time_faults(line: PlanLine) -> Iterator[tuple[str, str, str]]:
    times, windows = line.times_minute, line.windows
    if bool(times) == bool(windows):
        found = "windows and times are both given" if times else "no window is given"
        yield found, "either windows or times", "Give one of the two."
    elif times and (
        sorted(set(times)) != list(times)
        or len(times) != line.count
        or not 0 <= times[0] <= times[-1] < MINUTES_A_DAY
    ):
        yield (
            f"the times do not make {line.count} doses of one day",
            "one time for each dose, in order, from 00:00 to 23:59",
            "Mend the times.",
        )
    wrong = any(
        not 0 <= window.start_minute < window.end_minute <= MINUTES_A_DAY
        for window in windows
    )
    if wrong or any(
        later.start_minute < window.end_minute for window, later in pairwise(windows)
    ):
        yield (
            "the windows overlap, or one does not begin before it ends",
            "windows of one day, in order, that share no minute",
            "Mend the windows.",
        )


def _pump_faults(
    line: PlanLine, pump: Pump, machine: Machine
) -> Iterator[tuple[str, str, str]]:
    if pump.solution != line.solution:
        yield (
            f"the pump {pump.id} gives {pump.solution}, not {line.solution}",
            f"a pump that gives {line.solution}",
            "Mend the pump or the solution.",
        )
    if pump.tank != line.tank:
        yield (
            f"the pump {pump.id} doses into {pump.tank}, not {line.tank}",
            f"a pump of {line.tank}",
            "Mend the pump or the tank.",
        )
    for kind, name, known in (
        ("node", pump.node, machine.nodes),
        ("reservoir", pump.reservoir, machine.reservoirs),
    ):
        if name not in known:
            yield (
                f"the pump {pump.id} names a {kind} that is not there, {name}",
                f"one of {_listed(known)}",
                f"Mend the {kind} of the pump.",
            )
    if pump.rate_nl_per_s <= 0:
        yield (
            f"the pump {pump.id} has a rate of {pump.rate_nl_per_s} nL/s",
            "more than 0 nL/s",
            "Give the pump its nominal rate.",
        )


def _dose_faults(
    line: PlanLine, pump: Pump, machine: Machine
) -> Iterator[tuple[str, str, str]]:
    if smallest_ul(line) < pump.smallest_dose_ul:
        most = line.per_day_ul // pump.smallest_dose_ul
        day, found = show_volume(line.per_day_ul), show_volume(smallest_ul(line))
        least = show_volume(pump.smallest_dose_ul)
        yield (
            f"{day} in {line.count} doses makes one of {found}",
            f"at least {least}, what {pump.id} gives reliably",
            f"Give at most {most} doses."
            if most
            else "Give more at a time on fewer days, or dilute the solution.",
        )
    yield from _largest_faults(line, pump, machine)


def _largest_faults(
    line: PlanLine, pump: Pump, machine: Machine
) -> Iterator[tuple[str, str, str]]:
    node = machine.nodes.get(pump.node)
    most_ul = MOST_PER_COMMAND_UL
    if node is not None and pump.rate_nl_per_s > 0:
        cut_ul = node.cut_limit_ms * pump.rate_nl_per_s // 1_000_000
        most_ul = min(most_ul, cut_ul)
    if largest_ul(line) <= most_ul:
        return
    yield (
        f"a dose of {show_volume(largest_ul(line))} is more than one run can give",
        f"at most {show_volume(most_ul)} a run (longest_run in [node.{pump.node}])",
        _smaller_doses(line, pump, most_ul),
    )


def _smaller_doses(line: PlanLine, pump: Pump, most_ul: int) -> str:
    """How to come below what one run gives, with every cap that speaks against it."""
    if not most_ul:
        return "Raise the longest run of the node."
    day, dose = (f"[pump.{pump.id}] most_per_{each}" for each in ("day", "dose"))
    if 0 < pump.per_day_ul < line.per_day_ul:
        return (
            f"Lower the line: {day} allows {show_volume(pump.per_day_ul)}, however "
            "many doses it is given in."
        )
    why = ""
    if 0 < pump.per_dose_ul < most_ul:
        most_ul = pump.per_dose_ul
        why = f", for {dose} allows {show_volume(most_ul)}"
    count = -(-line.per_day_ul // most_ul)
    if count > MOST_DOSES:
        return f"Lower the line; {count} doses are more than {MOST_DOSES} a day{why}."
    return f"Give at least {count} doses{why}."


def _amount_faults(group: Group, members: Mapping[str, PlanLine]) -> Iterator[Finding]:
    first = min(members)
    base_ul, base_share = members[first].per_day_ul, group.ratio[first]
    for name in sorted(members):
        line, share = members[name], group.ratio[name]
        # One microlitre of rounding on either side is not another ratio.
        if abs(line.per_day_ul * base_share - base_ul * share) > base_share + share:
            yield _at(
                f"group {group.id}",
                f"{name} gets {show_volume(line.per_day_ul)} a day and {first} "
                f"{show_volume(base_ul)}",
                f"amounts as {share} to {base_share}, as the ratio says",
                "Mend the amounts or the ratio.",
            )
