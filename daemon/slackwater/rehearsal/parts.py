"""The parts of a machine that have nothing to do with each other.

Floor 6. One subject: which tanks are rehearsed together. Laws here: two tanks are apart
only where no node, bottle, switch, pump or group of lines reaches both; how a machine
falls apart follows from machine and plan alone, never from where it is rehearsed.

What solutions do to each other is no bond: they meet in one water, which is one tank.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import TypeVar

from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine

Owned = TypeVar("Owned")
# Two tanks, or a tank and something that may have another: by kind and name.
Bond = tuple[tuple[str, str], tuple[str, str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part over the days of the whole: from `first` to `until`, both included.

    `begin` and `end` are those of the whole machine, in UTC.
    """

    machine: Machine
    plan: Plan
    first: date
    until: date
    begin: datetime
    end: datetime

    @property
    def doses_at_most(self) -> int:
        """How many doses it can come to, days without some of them not left out."""
        days = (self.until - self.first).days + 1
        return days * sum(
            line.count or len(line.times_minute) for line in self.plan.lines
        )


def parted(whole: Part) -> tuple[Part, ...]:
    """The parts in order of their first tank; the whole itself where it is one."""
    parts = tank_sets(whole.machine, whole.plan)
    if len(parts) <= 1:
        return (whole,)
    return tuple(
        replace(
            whole,
            machine=_machine_of(whole.machine, tanks),
            plan=replace(
                whole.plan,
                lines=tuple(line for line in whole.plan.lines if line.tank in tanks),
            ),
        )
        for tanks in parts
    )


def tank_sets(machine: Machine, plan: Plan) -> tuple[frozenset[str], ...]:
    """The tanks of each part, in order of their first one."""
    names = sorted({*machine.tanks, *(line.tank for line in plan.lines)})
    found = {("tank", name): {("tank", name)} for name in names}
    for one, other in _bonds(machine, plan):
        together = found.setdefault(one, {one}) | found.setdefault(other, {other})
        for each in together:
            found[each] = together
    sets = [
        frozenset(owner for kind, owner in found["tank", name] if kind == "tank")
        for name in names
    ]
    return tuple(dict.fromkeys(sets))


def _bonds(machine: Machine, plan: Plan) -> Iterator[Bond]:
    """Everything that may bring a tank together with another."""
    for pump in machine.pumps.values():
        tank = ("tank", pump.tank)
        yield tank, ("pump", pump.id)
        yield tank, ("node", pump.node)
        yield tank, ("bottle", pump.reservoir)
    for switch in machine.switches.values():
        if switch.pump:
            yield ("tank", switch.tank), ("pump", switch.pump)
    for line in plan.lines:
        yield ("tank", line.tank), ("pump", line.pump)
        if line.group:
            yield ("tank", line.tank), ("group", line.group)


def _machine_of(machine: Machine, tanks: frozenset[str]) -> Machine:
    """What belongs to some tanks; solutions and timing are for all."""
    pumps = {name: one for name, one in machine.pumps.items() if one.tank in tanks}
    bottles = [pump.reservoir for pump in pumps.values()]
    return replace(
        machine,
        tanks=_named(machine.tanks, tanks),
        reservoirs=_named(machine.reservoirs, bottles),
        nodes=_named(machine.nodes, [pump.node for pump in pumps.values()]),
        pumps=pumps,
        probes={name: p for name, p in machine.probes.items() if p.tank in tanks},
        guards=_named(machine.guards, tanks),
        switches={name: s for name, s in machine.switches.items() if s.tank in tanks},
        limits=_named(machine.limits, tanks),
        outside=tuple(one for one in machine.outside if one.tank in tanks),
        exchanges={k: one for k, one in machine.exchanges.items() if one.tank in tanks},
    )


def _named(things: Mapping[str, Owned], names: Iterable[str]) -> dict[str, Owned]:
    """Those of some names, in the order they had."""
    kept = frozenset(names)
    return {name: one for name, one in things.items() if name in kept}
