"""Splitting a rehearsal into parts that cannot touch each other, and joining them.

Floor 6. One subject: independence. Laws here: two tanks belong together when they
share a node, a reservoir or a group of lines; parts rehearsed apart give exactly what
the whole gives, so they may run side by side.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime

from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine
from slackwater.rehearsal.record import Rehearsal, RehearsedDose


def independent_parts(machine: Machine, plan: Plan) -> list[tuple[Machine, Plan]]:
    """The machine and plan cut into parts without anything in common.

    Shape: at least one part; a part without lines is kept with its tanks.
    """
    owners: dict[str, str] = {tank: tank for tank in machine.tanks}
    for first, second in _ties(machine, plan):
        _unite(owners, first, second)
    roots = sorted({_root(owners, tank) for tank in owners})
    return [
        _part(machine, plan, {t for t in owners if _root(owners, t) == root})
        for root in roots
    ]


def _ties(machine: Machine, plan: Plan) -> Iterable[tuple[str, str]]:
    """Pairs of tanks that share a node, a reservoir or a group."""
    shared: dict[str, str] = {}
    for pump in machine.pumps.values():
        for key in (f"node {pump.node}", f"reservoir {pump.reservoir}"):
            yield pump.tank, shared.setdefault(key, pump.tank)
    for line in plan.lines:
        if line.group:
            yield line.tank, shared.setdefault(f"group {line.group}", line.tank)


def _root(owners: dict[str, str], tank: str) -> str:
    while owners[tank] != tank:
        tank = owners[tank]
    return tank


def _unite(owners: dict[str, str], first: str, second: str) -> None:
    low, high = sorted((_root(owners, first), _root(owners, second)))
    owners[high] = low


def _part(machine: Machine, plan: Plan, tanks: set[str]) -> tuple[Machine, Plan]:
    pumps = {name: pump for name, pump in machine.pumps.items() if pump.tank in tanks}
    nodes = {pump.node for pump in pumps.values()}
    bottles = {pump.reservoir for pump in pumps.values()}
    part = replace(
        machine,
        tanks={name: tank for name, tank in machine.tanks.items() if name in tanks},
        pumps=pumps,
        nodes={name: node for name, node in machine.nodes.items() if name in nodes},
        reservoirs={
            name: bottle
            for name, bottle in machine.reservoirs.items()
            if name in bottles
        },
        probes={
            name: probe for name, probe in machine.probes.items() if probe.tank in tanks
        },
        outside=tuple(each for each in machine.outside if each.tank in tanks),
    )
    lines = tuple(line for line in plan.lines if line.tank in tanks)
    return part, replace(plan, lines=lines)


def joined(parts: Sequence[Rehearsal], machine: Machine) -> Rehearsal:
    """One rehearsal of the parts of one machine, in the order of the whole."""
    doses = sorted((each for part in parts for each in part.doses), key=_by_due)
    empty_on: dict[str, date | None] = dict.fromkeys(machine.reservoirs)
    for part in parts:
        empty_on.update(part.empty_on)
    nearest = sorted(
        (near for part in parts for near in part.nearest), key=lambda near: -near.share
    )
    return Rehearsal(
        first=parts[0].first,
        until=parts[0].until,
        doses=tuple(doses),
        nearest=tuple(nearest),
        left_out=tuple(text for part in parts for text in part.left_out),
        empty_on=empty_on,
        ended_at=max(part.ended_at for part in parts),
    )


def _by_due(each: RehearsedDose) -> tuple[datetime, str]:
    return each.dose.due_at, each.dose.id
