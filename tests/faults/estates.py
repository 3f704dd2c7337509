"""Households of several tanks with eight to thirty-two pumps on two nodes.

Drawn around a small household of `homes.py`: the reef keeps its pumps, guard and
probes; beside it stand other tanks with heads of their own. Pumps of a node run side
by side, so that a due moment tries all of them at once.
"""

from collections.abc import Iterator
from dataclasses import replace
from random import Random
from string import ascii_lowercase

from slackwater.facts.plan import Plan, PlanLine
from slackwater.facts.tank import Machine, Pump, Tank
from tests.faults.homes import draw_long_home
from tests.properties.households import Home

# What a node may drive, by the contract: channels `a` to `p`.
CHANNELS = ascii_lowercase[:16]
FEWEST, MOST = 8, 2 * len(CHANNELS)
TANKS = ("frag", "lagoon", "nursery")
# Three heads of each further tank add to alkalinity, calcium, and nothing capped.
MIXED = ("carbonate", "calcium", "trace")
# Doses a day of all lines; one, as is usual for traces, makes the cheapest pump-year.
COUNTS = (1, 1, 1, 2, 3)


def draw_estate(chance: Random) -> Home:
    """A great household by chance alone."""
    home = draw_long_home(chance)
    tanks = TANKS[: chance.randint(1, len(TANKS))]
    taken = {(pump.node, pump.channel) for pump in home.machine.pumps.values()}
    free = [
        (node, channel)
        for channel in CHANNELS
        for node in ("shelf", "rack")
        if (node, channel) not in taken
    ]
    wanted = chance.randint(FEWEST, MOST) - len(taken)
    heads = list(_heads(home.machine, tanks, free[: max(wanted, 1)]))
    machines = [
        _with(each, tanks, heads) for each in (home.machine, home.other_machine)
    ]
    count = chance.choice(COUNTS)
    plans = [_longer(plan, heads, count) for plan in (home.plan, home.other_plan)]
    return replace(
        home,
        machine=machines[0],
        other_machine=machines[1],
        plan=plans[0],
        other_plan=plans[1],
    )


def _heads(
    machine: Machine, tanks: tuple[str, ...], places: list[tuple[str, str]]
) -> Iterator[Pump]:
    """A head for each free place; tanks and solutions take turns."""
    for number, (node, channel) in enumerate(places):
        tank = tanks[number % len(tanks)]
        turn = number // len(tanks)
        solution = MIXED[turn] if turn < len(MIXED) else MIXED[-1]
        yield replace(
            machine.pumps["trace"],
            id=f"{tank}-{node}-{channel}",
            tank=tank,
            node=node,
            channel=channel,
            solution=solution,
        )


def _with(machine: Machine, tanks: tuple[str, ...], heads: list[Pump]) -> Machine:
    reef = machine.tanks["reef"]
    return replace(
        machine,
        tanks={**machine.tanks, **{name: _tank(reef, name) for name in tanks}},
        pumps={**machine.pumps, **{head.id: head for head in heads}},
    )


def _tank(reef: Tank, name: str) -> Tank:
    return replace(reef, id=name, name=f"invented {name}")


def _longer(plan: Plan, heads: list[Pump], count: int) -> Plan:
    """The plan with a line for each further head, all at the same moments."""
    lines = [
        replace(line, count=count, per_day_ul=line.per_day_ul // line.count * count)
        for line in plan.lines
    ]
    return replace(plan, lines=(*lines, *(_line(lines[0], head) for head in heads)))


def _line(first: PlanLine, head: Pump) -> PlanLine:
    return replace(
        first, id=head.id, tank=head.tank, solution=head.solution, pump=head.id
    )
