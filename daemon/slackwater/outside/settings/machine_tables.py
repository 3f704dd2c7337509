"""Turns the tables of `slackwater.toml` that have an id into the parts of a Machine.

Floor 6. One subject: the tables of the machine file. Laws here: a table is read as far
as it goes; a cap that is left out is zero, an hour and a net rise are none; equal files
give equal machines, in whatever order their tables stand.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from functools import partial
from operator import attrgetter
from typing import TypeVar

from slackwater.facts.exchanges import Exchange
from slackwater.facts.tank import (
    Machine,
    Node,
    Outside,
    Probe,
    Pump,
    Reservoir,
    Tank,
)
from slackwater.outside.settings.crossing import (
    apart_map,
    check_pumps,
    check_references,
)
from slackwater.outside.settings.documents import Table
from slackwater.outside.settings.exchanges import Around, PairTable, exchanges_from
from slackwater.outside.settings.guards import ALKALINITY, Aim, guards_from
from slackwater.outside.settings.input_model import ProbeTable, SwitchTable
from slackwater.outside.settings.inputs import check_topics, switches_from
from slackwater.outside.settings.limit_model import WatchTable
from slackwater.outside.settings.limits import limits_from
from slackwater.outside.settings.machine_model import (
    NodeTable,
    OutsideTable,
    PumpTable,
    ReservoirTable,
    SolutionTable,
    TankTable,
)
from slackwater.outside.settings.mixing import solution_from
from slackwater.outside.settings.offered import Offered, Use
from slackwater.outside.settings.partial import readable
from slackwater.outside.settings.probes import probe_from
from slackwater.outside.settings.relays import (
    RelayTable,
    check_relay_topics,
    check_relays,
    halved,
    relay_of,
)
from slackwater.outside.settings.tables import (
    Findings,
    ModelT,
    TableModel,
    named_tables,
)
from slackwater.outside.settings.waters import outside_from, tank_from, target_of

KINDS: dict[str, type[TableModel]] = {
    "tank": TankTable,
    "solution": SolutionTable,
    "reservoir": ReservoirTable,
    "node": NodeTable,
    "relay": RelayTable,
    "pump": PumpTable,
    "probe": ProbeTable,
    "switch": SwitchTable,
    "interlock": WatchTable,
    "outside": OutsideTable,
    "exchange": PairTable,
}
# A reservoir is low at a tenth, unless the file says otherwise.
LOW_PART = 10

ReadT = TypeVar("ReadT")
# What a probe measures in which tank.
_MEASURED = attrgetter("tank", "parameter")


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineReader:
    """Reads the tables that have an id; good for use when nothing was noted."""

    document: Table
    findings: Findings
    named: Mapping[str, Mapping[str, object]]
    tables: Mapping[str, Mapping[str, TableModel]]

    @classmethod
    def of(cls, document: Table, findings: Findings) -> "MachineReader":
        """One that has read every table; what is wrong in single ones is noted."""
        named = {kind: named_tables(document, kind, findings) for kind in KINDS}
        tables: dict[str, dict[str, TableModel]] = {kind: {} for kind in KINDS}
        for kind, model in KINDS.items():
            for name, raw in named[kind].items():
                table = readable(model, raw, f"[{kind}.{name}]", findings)
                if table is not None:
                    tables[kind][name] = table
        return cls(document=document, findings=findings, named=named, tables=tables)

    def machine(self) -> Machine:
        """All that could be read; only good when nothing was noted."""
        if not self.document.get("tank"):
            self.findings.add(
                "[tank]", "there is no tank", "at least one", "Add [tank.some-id]."
            )
        self._check_names()
        tanks = self._tanks()
        solution_tables = self._tables("solution", SolutionTable)
        read = partial(solution_from, findings=self.findings)
        solutions = self._each("solution", SolutionTable, read)
        pumps = self._pumps()
        watched = self._tables("interlock", WatchTable)
        machine = Machine(
            site="",
            tanks=tanks,
            solutions=solutions,
            reservoirs=self._reservoirs(),
            nodes=self._nodes(),
            pumps=pumps,
            probes=self._probes(),
            guards=guards_from(watched, self._aims(), self.findings),
            switches=switches_from(self._tables("switch", SwitchTable), self.findings),
            limits=limits_from(watched, self._tables("tank", TankTable), self.findings),
            outside=self._outside(tanks),
            apart=apart_map(solutions, solution_tables, pumps.values()),
        )
        return replace(machine, exchanges=self._exchanges(machine))

    def check_topics(self, root: str) -> None:
        """Note topics of inputs and relays that lie among the daemon's own."""
        probes = self._tables("probe", ProbeTable)
        check_topics("probe", probes, root, self.findings)
        switches = self._tables("switch", SwitchTable)
        check_topics("switch", switches, root, self.findings)
        relays = self._tables("relay", RelayTable)
        check_relay_topics(relays, root, self.findings)

    def _tables(self, kind: str, model: type[ModelT]) -> dict[str, ModelT]:
        """The tables of one kind, read as far as they go."""
        tables = self.tables[kind].items()
        return {name: table for name, table in tables if isinstance(table, model)}

    def _names(self, kind: str) -> Collection[str] | None:
        """The ids of a kind; None where one cannot be used, and so is not known."""
        stated, named = self.document.get(kind, {}), self.named[kind]
        is_sure = isinstance(stated, dict) and stated.keys() == named.keys()
        return named if is_sure else None

    def offered(self, pairs: Mapping[str, Exchange]) -> Offered:
        """What a plan may name, whatever is wrong with it; `pairs` were read."""
        tanks, solutions = self._names("tank"), self._names("solution")
        stated, pumps = self._names("exchange"), self._tables("pump", PumpTable)
        uses = dict.fromkeys(self.named["pump"], Use(tank="", solution=""))
        for name, table in pumps.items():
            tank = self.findings.judge(partial(attrgetter("tank"), table))
            solution = self.findings.judge(partial(attrgetter("solution"), table))
            # A name that leads nowhere may be meant for any.
            uses[name] = Use(
                tank=str(tank) if tank in (tanks or ()) else "",
                solution=str(solution) if solution in (solutions or ()) else "",
            )
        return Offered(
            tanks=tanks,
            solutions=solutions,
            pumps=None if self._names("pump") is None else uses,
            pairs=None if stated is None else {one: pairs.get(one) for one in stated},
        )

    def _check_names(self) -> None:
        names = {kind: self._names(kind) for kind in KINDS}
        check_references(self.tables, names, self.findings)
        pumps, nodes = self._tables("pump", PumpTable), self._tables("node", NodeTable)
        check_pumps(pumps, self.named["solution"], self.findings)
        relays = self._tables("relay", RelayTable)
        check_relays(relays, nodes, pumps.values(), self.findings)

    def _tanks(self) -> dict[str, Tank]:
        return self._each("tank", TankTable, partial(tank_from, findings=self.findings))

    def _each(
        self,
        kind: str,
        model: type[ModelT],
        read: Callable[[str, ModelT], ReadT | None],
    ) -> dict[str, ReadT]:
        """What `read` makes of each table of a kind, without those refused."""
        tables = self._tables(kind, model).items()
        found = (
            (name, self.findings.judge(partial(read, name, table)))
            for name, table in tables
        )
        return {name: record for name, record in found if record is not None}

    def _aims(self) -> dict[str, Aim]:
        """What each tank says of its alkalinity, whatever else is wrong with it."""
        probes = self._tables("probe", ProbeTable).values()
        measured = {self.findings.judge(partial(_MEASURED, one)) for one in probes}
        found = {}
        for identity, table in self._tables("tank", TankTable).items():
            raw = self.named["tank"][identity]
            is_stated = _stands(raw, "targets")
            found[identity] = Aim(
                target=target_of(identity, table, ALKALINITY),
                is_stated=is_stated,
                needs_guard=is_stated
                or _stands(raw, "caps")
                or (identity, ALKALINITY) in measured,
            )
        return found

    def _exchanges(self, machine: Machine) -> dict[str, Exchange]:
        around = Around(
            machine=machine,
            pumps=self._tables("pump", PumpTable),
            relays=self.named["relay"],
            names=self._names("pump"),
            tanks=self._names("tank"),
        )
        pairs = self._tables("exchange", PairTable)
        return exchanges_from(pairs, around, self.findings)

    def _reservoirs(self) -> dict[str, Reservoir]:
        return self._each("reservoir", ReservoirTable, _reservoir)

    def _nodes(self) -> dict[str, Node]:
        relays = self._tables("relay", RelayTable)
        return self._each("node", NodeTable, partial(_node, relays=relays))

    def _pumps(self) -> dict[str, Pump]:
        relays = self.named["relay"]
        return self._each("pump", PumpTable, partial(_pump, relays=relays))

    def _probes(self) -> dict[str, Probe]:
        read = partial(probe_from, findings=self.findings)
        return self._each("probe", ProbeTable, read)

    def _outside(self, tanks: dict[str, Tank]) -> tuple[Outside, ...]:
        def read(identity: str, table: OutsideTable) -> Outside | None:
            tank = tanks.get(self.findings.judge(lambda: table.tank) or "")
            return outside_from(identity, table, tank, self.findings)

        return tuple(self._each("outside", OutsideTable, read).values())


def _stands(raw: object, key: str) -> bool:
    """Whether alkalinity stands under a key, as it may where that is no table."""
    table = raw.get(key, {}) if isinstance(raw, dict) else {}
    return not isinstance(table, dict) or ALKALINITY in table


def _reservoir(identity: str, table: ReservoirTable) -> Reservoir:
    return Reservoir(
        id=identity,
        content_ul=table.content,
        low_ul=table.content // LOW_PART if table.low is None else table.low,
        keeps_s=table.keeps or 0.0,
    )


def _node(identity: str, table: NodeTable, relays: Mapping[str, RelayTable]) -> Node:
    return Node(
        id=identity,
        day_limit_ul=table.day_limit,
        cut_limit_ms=table.longest_run,
        hardware_id=table.hardware_id,
        config_id=table.config_id,
        signed=table.key_file is not None,
        relay=relay_of(relays[identity], table) if identity in relays else None,
    )


def _pump(identity: str, table: PumpTable, relays: Collection[str]) -> Pump:
    behind_relay = table.node in relays
    return Pump(
        id=identity,
        tank=table.tank,
        node=table.node,
        channel=table.channel,
        solution=table.solution,
        reservoir=table.reservoir,
        rate_nl_per_s=table.rate,
        smallest_dose_ul=table.smallest_dose,
        per_dose_ul=halved(table.most_per_dose, behind_relay=behind_relay),
        per_day_ul=halved(table.most_per_day, behind_relay=behind_relay),
        per_hour_ul=table.most_per_hour,
        per_calibration_ul=table.most_per_calibration,
        per_hand_ul=table.most_by_hand,
        per_priming_ul=table.most_per_priming,
        tube_life_s=table.tube_life,
    )
