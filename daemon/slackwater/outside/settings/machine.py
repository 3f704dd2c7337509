"""Turns `slackwater.toml` into a Machine.

Floor 6. One subject: the machine file as a whole. Laws here: every error of the file
comes out at once; a cap that is left out is zero; equal files give equal machines, in
whatever order their tables stand.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from functools import partial
from operator import attrgetter
from pathlib import Path
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
from slackwater.outside.settings.broker import checked_broker
from slackwater.outside.settings.crossing import (
    apart_map,
    check_pumps,
    check_references,
)
from slackwater.outside.settings.documents import MACHINE_FILE, Table, read_document
from slackwater.outside.settings.exchanges import Around, PairTable, exchanges_from
from slackwater.outside.settings.guard_model import (
    TimingTable,
    shortened_keys,
    timing_from,
)
from slackwater.outside.settings.guards import ALKALINITY, Aim, guards_from
from slackwater.outside.settings.home import checked_home
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
from slackwater.outside.settings.metrics import checked_metrics
from slackwater.outside.settings.mixing import solution_from
from slackwater.outside.settings.notify import checked_notify
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
    checked,
    named_tables,
)
from slackwater.outside.settings.waters import outside_from, tank_from, target_of
from slackwater.outside.settings.wire_model import SiteHead

_KINDS: dict[str, type[TableModel]] = {
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
_OTHERS = (*_KINDS, "broker", "home", "metrics", "notify", "timing")


def read_machine(directory: Path) -> Machine:
    """The machine of a configuration directory.

    Raises: InputError with everything that is wrong in the file.
    """
    return machine_of(read_document(directory, MACHINE_FILE))


def machine_of(document: Table) -> Machine:
    """The machine that the tables of one file describe.

    Raises: InputError with everything that is wrong in them.
    """
    findings = Findings(MACHINE_FILE)
    own = {key: value for key, value in document.items() if key not in _OTHERS}
    head = checked(SiteHead, own, "", findings, _OTHERS)
    timing = checked(TimingTable, document.get("timing", {}), "[timing]", findings)
    broker = checked_broker(document.get("broker", {}), findings)
    checked_home(document, findings)
    checked_metrics(document, findings)
    checked_notify(document, findings)
    reader = _Reader(document=document, findings=findings)
    machine = reader.machine()
    if head is not None and broker is not None:
        site = head.site
        root = findings.judge(lambda: f"{broker.prefix}/{site}")
        if root is not None:
            reader.check_topics(root)
    head, timing = findings.settled(head), findings.settled(timing)
    return replace(
        machine,
        site=head.site,
        timing=timing_from(timing),
        shortened_timing=shortened_keys(timing),
        clock_confirmed=timing.clock_confirmed,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Reader:
    """Reads the tables that have an id; good for use when nothing was noted."""

    document: Table
    findings: Findings

    def machine(self) -> Machine:
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
        """The tables of one kind, read as far as they go; what is wrong is noted."""
        found = {}
        for identity, raw in self._named(kind).items():
            table = readable(model, raw, f"[{kind}.{identity}]", self.findings)
            if table is not None:
                found[identity] = table
        return found

    def _named(self, kind: str) -> dict[str, object]:
        return named_tables(self.document, kind, self.findings)

    def _check_names(self) -> None:
        tables = {kind: self._tables(kind, model) for kind, model in _KINDS.items()}
        names = {kind: self._named(kind) for kind in _KINDS}
        check_references(tables, names, self.findings)
        pumps, nodes = self._tables("pump", PumpTable), self._tables("node", NodeTable)
        check_pumps(pumps, names["solution"], self.findings)
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
            raw = self._named("tank")[identity]
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
            relays=self._named("relay"),
            names=self._named("pump"),
        )
        pairs = self._tables("exchange", PairTable)
        return exchanges_from(pairs, around, self.findings)

    def _reservoirs(self) -> dict[str, Reservoir]:
        return self._each("reservoir", ReservoirTable, _reservoir)

    def _nodes(self) -> dict[str, Node]:
        relays = self._tables("relay", RelayTable)
        return self._each("node", NodeTable, partial(_node, relays=relays))

    def _pumps(self) -> dict[str, Pump]:
        relays = self._named("relay")
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
