"""The two lines of an exchange: how they belong together, and how far apart they run.

Floor 3. One subject: lines of pairs, without a calendar. Laws here: a drain has its
fill, portion by portion, on the same days; a fill comes when the drain before it has
surely ended and the water is at rest, long before the next one; a portion is so small
that one without its fill does no harm.
"""

from collections.abc import Iterator
from dataclasses import replace
from math import ceil

from slackwater.facts.exchanges import IN, OUT, Exchange, Role, most_portion_ul
from slackwater.facts.plan import Plan, PlanLine
from slackwater.facts.tank import Machine
from slackwater.planning.amounts import flow_s, largest_ul

# A portion's share of its window holds the way to its fill so many times, so that even
# half of a window, on a day with a clock change, has room for both.
ROOM = 4
MINUTE_S = 60
Words = tuple[str, str, str]


def lag_s(machine: Machine, line: PlanLine) -> int:
    """Seconds from the start of a drain to that of its fill; 0 for every other line."""
    found = machine.pair_of(line.pump) if machine.exchanges else None
    return _way_s(machine, found[0], line) if found and found[1] == "fill" else 0


def exchange_faults(line: PlanLine, plan: Plan, machine: Machine) -> Iterator[Words]:
    """Everything wrong with a line of a pair; nothing for any other."""
    found = machine.pair_of(line.pump) if machine.exchanges else None
    if found is None:
        return
    pair, role = found
    yield from _partner_faults(line, plan, (pair, role))
    yield from _shape_faults(line)
    tank = machine.tanks.get(line.tank)
    if line.count < 1 or tank is None or machine.pumps[pair.drain].rate_nl_per_s <= 0:
        return
    most_ul = most_portion_ul(tank.net_ul)
    if largest_ul(line) > most_ul:
        expected = (
            f"at most {most_ul} µL, a thousandth of the net water: more must not be "
            "missing where its fill does not come"
        )
        yield (
            f"a portion of {largest_ul(line)} µL",
            expected,
            f"Give at least {-(-line.per_day_ul // most_ul)} portions a day.",
        )
    yield from _room_faults(line, machine, pair)


def _partner_faults(
    line: PlanLine, plan: Plan, half: tuple[Exchange, Role]
) -> Iterator[Words]:
    pair, role = half
    own, other = (OUT, IN) if role == "drain" else (IN, OUT)
    other_pump = pair.fill if role == "drain" else pair.drain
    wanted = replace(line, id=line.id.removesuffix(own) + other, pump=other_pump)
    partners = [one for one in plan.lines if one.pump == other_pump]
    sharing = [one for one in plan.lines if one.pump == line.pump]
    is_whole = len(partners) == len(sharing) == 1
    if line.id.endswith(own) and is_whole:
        (partner,) = partners
        wanted = replace(wanted, solution=partner.solution, note=partner.note)
        if partner == wanted:
            return
    what = (
        f"the pump {line.pump} is half of the exchange {pair.id}, and no line beside "
        "this one is its other half"
    )
    expected = (
        f"one drain and one fill that agree in amount, portions and days, {OUT} and "
        f"{IN} at the end of their ids"
    )
    yield what, expected, "Write it as one [[exchange]] of the plan."


def _shape_faults(line: PlanLine) -> Iterator[Words]:
    if line.group or line.purpose != "maintenance":
        yield (
            "an exchange that corrects, or has a group",
            "upkeep without a group",
            "Leave group and purpose out.",
        )
    if len(line.windows) != 1:
        yield (
            f"an exchange with {len(line.windows)} windows",
            "one window that does not go over midnight",
            'Give one, like  windows = ["10:00-16:00"].',
        )


def _room_faults(line: PlanLine, machine: Machine, pair: Exchange) -> Iterator[Words]:
    way_s = ROOM * _way_s(machine, pair, line)
    lasting_s = MINUTE_S * sum(
        window.end_minute - window.start_minute for window in line.windows
    )
    if lasting_s < way_s * line.count:
        yield (
            f"{line.count} portions in {lasting_s} s",
            f"{way_s} s for each, from drain to drain",
            "Give fewer portions, widen the window, or use a faster pump.",
        )


def _way_s(machine: Machine, pair: Exchange, line: PlanLine) -> int:
    """Seconds in which a drain has surely ended and the water come to rest."""
    drain = machine.pumps[pair.drain]
    return flow_s(drain, largest_ul(line)) + ceil(pair.settle_s)
