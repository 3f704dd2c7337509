"""Checks what tables of the machine file say about each other.

Floor 6. One subject: names and hardware that two tables share. Laws here: a name that
leads nowhere is an error with the names that exist; a key that was refused hides none
of the others; solutions are kept apart when chemistry, a doubt or the keeper says so.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from functools import partial
from itertools import combinations

from slackwater.facts.tank import Pump, Solution
from slackwater.outside.settings.machine_model import PumpTable, SolutionTable
from slackwater.outside.settings.tables import (
    Findings,
    TableModel,
    listed,
    suggestion,
)
from slackwater.water.ions import ions_of, why_apart
from slackwater.water.show import show_volume

# Key of a table, and the kind of table it names; "" stands for the table's own id.
_REFERENCES: Mapping[str, tuple[tuple[str, str], ...]] = {
    "pump": (
        ("tank", "tank"),
        ("node", "node"),
        ("solution", "solution"),
        ("reservoir", "reservoir"),
    ),
    "probe": (("tank", "tank"),),
    "switch": (("tank", "tank"), ("pump", "pump")),
    "outside": (("tank", "tank"),),
    "exchange": (("tank", "tank"),),
    "interlock": (("", "tank"),),
    "relay": (("", "node"),),
    "solution": (("keep_apart_from", "solution"),),
}


def check_references(
    tables: Mapping[str, Mapping[str, TableModel]],
    names: Mapping[str, Collection[str] | None],
    findings: Findings,
) -> None:
    """Note every name that leads nowhere.

    `names` holds the ids by kind of table; None where they are not all known.
    """
    for kind, references in _REFERENCES.items():
        for identity, table in tables[kind].items():
            for key, target in references:
                place = f"[{kind}.{identity}] {key}".rstrip()
                named = partial(_named, identity, table, key)
                for name in findings.judge(named) or ():
                    _check_name(place, target, name, names[target], findings)


def check_pumps(
    pumps: Mapping[str, PumpTable], solutions: Collection[str], findings: Findings
) -> None:
    """Note shared channels, mixed reservoirs and caps that contradict each other."""
    channels: dict[tuple[str, str], list[str]] = defaultdict(list)
    reservoirs: dict[str, set[str]] = defaultdict(set)

    def note_channel(identity: str, table: PumpTable) -> None:
        channels[table.node, table.channel].append(identity)

    def note_reservoir(table: PumpTable) -> None:
        # A solution that is not there was told, and may be a slip for the other one.
        if table.solution in solutions:
            reservoirs[table.reservoir].add(table.solution)

    for identity, table in pumps.items():
        findings.judge(partial(note_channel, identity, table))
        findings.judge(partial(note_reservoir, table))
        _check_doses(f"[pump.{identity}]", table, findings)
    for (node, channel), sharing in channels.items():
        if len(sharing) > 1:
            findings.add(
                f"[pump.{sharing[-1]}] channel",
                f"channel {channel} of node {node} drives {listed(sharing)}",
                "one pump for each channel",
                "Mend the channel of one of them.",
            )
    for reservoir, held in reservoirs.items():
        if len(held) > 1:
            findings.add(
                f"[reservoir.{reservoir}]",
                f"pumps draw {listed(sorted(held))} from it",
                "one solution in each reservoir",
                "Give each solution its own reservoir.",
            )


def apart_map(
    solutions: Mapping[str, Solution],
    tables: Mapping[str, SolutionTable],
    pumps: Iterable[Pump],
) -> dict[str, tuple[str, ...]]:
    """For each solution those that must not follow closely; the same both ways."""
    tanks: dict[str, set[str]] = defaultdict(set)
    for pump in pumps:
        tanks[pump.solution].add(pump.tank)
    found: dict[str, set[str]] = defaultdict(set)
    for one, other in combinations(sorted(solutions), 2):
        doubted = not (
            solutions[one].fully_declared and solutions[other].fully_declared
        )
        if (
            (doubted and tanks[one] & tanks[other])
            or _fall_out(solutions[one], solutions[other])
            or other in tables[one].keep_apart_from
            or one in tables[other].keep_apart_from
        ):
            found[one].add(other)
            found[other].add(one)
    return {identity: tuple(sorted(found[identity])) for identity in sorted(found)}


def _fall_out(one: Solution, other: Solution) -> bool:
    return why_apart(_ions(one), _ions(other)) is not None


def _ions(solution: Solution) -> tuple[str, ...]:
    """Its ions; of a label every ion that may stand behind what it names."""
    return solution.ions or ions_of(solution.effects)


def _named(identity: str, table: TableModel, key: str) -> list[str]:
    value = getattr(table, key) if key else identity
    if value is None:
        return []
    return value if isinstance(value, list) else [value]


def _check_name(
    place: str,
    target: str,
    name: str,
    known: Collection[str] | None,
    findings: Findings,
) -> None:
    if known is not None and name not in known:
        findings.add(
            place,
            f'there is no {target} "{name}"',
            f"one of {listed(sorted(known))}",
            f"{suggestion(name, known)}Mend the name or add [{target}.{name}].",
        )


def _check_doses(place: str, table: PumpTable, findings: Findings) -> None:
    for key, ceiling in (
        ("smallest_dose", "most_per_dose"),
        ("most_per_dose", "most_per_day"),
    ):
        findings.judge(partial(_check_below, place, table, (key, ceiling), findings))


def _check_below(
    place: str, table: PumpTable, keys: tuple[str, str], findings: Findings
) -> None:
    key, ceiling = keys
    value_ul, most_ul = getattr(table, key), getattr(table, ceiling)
    # A ceiling of nothing is a pump that stands still, not a contradiction.
    if 0 < most_ul < value_ul:
        findings.add(
            f"{place} {key}",
            f"{key} is more than {ceiling}",
            f"at most {show_volume(most_ul)}, what {ceiling} allows",
            "Mend one of the two.",
        )
