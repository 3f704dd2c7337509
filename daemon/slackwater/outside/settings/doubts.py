"""What of a machine at fault a plan can still be held to.

Floor 6. One subject: which lines and which caps are beyond doubt. Laws here: what hangs
on a figure that was refused is not judged; a key is thought to matter unless it is
known that no cap hangs on it.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from slackwater.errors import Finding
from slackwater.facts.plan import PlanLine
from slackwater.facts.tank import Machine
from slackwater.water.parameters import PARAMETERS

# `[tank.reef.caps] alkalinity.gross` and `[tank.reef] caps.alkalinity.gross` are one.
_PLACE = re.compile(r"\[(\w+)\.([a-z0-9-]+)(?:\.(\w+))?\] ?(.*)")
# Keys on which no cap and no time of a dose hangs; of other kinds none does.
_ASIDE: Mapping[str, tuple[str, ...]] = {
    "tank": ("name", "targets", "target_reason", "bands"),
    "solution": ("keep_apart_from",),
    "node": ("key_file",),
    "relay": (),
    "pump": ("channel",),
    "exchange": (),
}
_CAPS_OF: Mapping[str, tuple[str, ...]] = {
    "caps": ("gross", "net_rise"),
    "uptake": ("net_rise",),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubts:
    """Tables by kind and id that cannot be trusted, and caps as `[table] key`."""

    tables: frozenset[tuple[str, str]] = frozenset()
    caps: frozenset[str] = frozenset()

    def are_about(self, line: PlanLine, machine: Machine) -> bool:
        """Whether a line hangs on something that cannot be trusted, or is not there."""
        pair = machine.pair_of(line.pump)
        pumps = {line.pump} if pair is None else {pair[0].drain, pair[0].fill}
        tables = {("exchange", pair[0].id)} if pair else set()
        return bool(tables & self.tables) or any(
            self._is_about(pump, machine) for pump in pumps
        )

    def _is_about(self, name: str, machine: Machine) -> bool:
        pump = machine.pumps.get(name)
        if pump is None or pump.reservoir not in machine.reservoirs:
            return True
        needed = (
            ("tank", pump.tank, machine.tanks),
            ("node", pump.node, machine.nodes),
            ("solution", pump.solution, machine.solutions),
            ("pump", name, machine.pumps),
        )
        return any(
            identity not in known or (kind, identity) in self.tables
            for kind, identity, known in needed
        )


def doubts_of(findings: Iterable[Finding]) -> Doubts:
    """What cannot be trusted beside these findings of a machine file."""
    tables: set[tuple[str, str]] = set()
    caps: set[str] = set()
    for kind, identity, path in _places(findings):
        part, parameter = (*path, "", "")[:2]
        if kind == "tank" and part in _CAPS_OF and parameter in PARAMETERS:
            table = f"tank.{identity}.caps.{parameter}"
            caps |= {f"[{table}] {key}" for key in _CAPS_OF[part]}
        elif kind in _ASIDE and part not in _ASIDE[kind]:
            tables.add(("node" if kind == "relay" else kind, identity))
    return Doubts(tables=frozenset(tables), caps=frozenset(caps))


def _places(findings: Iterable[Finding]) -> Iterator[tuple[str, str, list[str]]]:
    """Kind, id and keys of each table that is named, whatever stands around them."""
    for finding in findings:
        match = _PLACE.search(finding.where)
        if match is not None:
            kind, identity, part, keys = match.groups()
            path = [*([part] if part else []), *re.split(r"[. ]", keys)]
            yield kind, identity, [key for key in path if key]
