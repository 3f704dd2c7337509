"""Turns `slackwater.toml` into a Machine.

Floor 6. One subject: the machine file as a whole. Laws here: every error of the file
comes out at once; a cap that is left out is zero; equal files give equal machines, in
whatever order their tables stand.
"""

from dataclasses import dataclass, replace
from pathlib import Path

from slackwater.facts.tank import (
    Machine,
    Node,
    Outside,
    Probe,
    Pump,
    Reservoir,
    Solution,
    Tank,
)
from slackwater.outside.settings.broker import checked_broker
from slackwater.outside.settings.crossing import (
    apart_map,
    check_pumps,
    check_references,
)
from slackwater.outside.settings.documents import MACHINE_FILE, Table, read_document
from slackwater.outside.settings.exchanges import PairTable, exchanges_from
from slackwater.outside.settings.guard_model import (
    TimingTable,
    shortened_keys,
    timing_from,
)
from slackwater.outside.settings.guards import guards_from
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
from slackwater.outside.settings.waters import outside_from, probe_from, tank_from
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
    machine = _Reader(document=document, findings=findings).machine()
    if head is not None and broker is not None:
        root = f"{broker.prefix}/{head.site}"
        check_topics(machine.probes.values(), machine.switches.values(), root, findings)
        relays = [node.relay for node in machine.nodes.values() if node.relay]
        check_relay_topics(relays, root, findings)
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
        probes = self._probes()
        solution_tables = self._tables("solution", SolutionTable)
        solutions = self._solutions(solution_tables)
        pumps = self._pumps()
        watched = self._tables("interlock", WatchTable)
        machine = Machine(
            site="",
            tanks=tanks,
            solutions=solutions,
            reservoirs=self._reservoirs(),
            nodes=self._nodes(),
            pumps=pumps,
            probes=probes,
            guards=guards_from(watched, tanks, probes, self.findings),
            switches=switches_from(self._tables("switch", SwitchTable), self.findings),
            limits=limits_from(watched, tanks, self.findings),
            outside=self._outside(tanks),
            apart=apart_map(solutions, solution_tables, pumps.values()),
        )
        pairs = self._tables("exchange", PairTable)
        return replace(machine, exchanges=exchanges_from(pairs, machine, self.findings))

    def _tables(self, kind: str, model: type[ModelT]) -> dict[str, ModelT]:
        """The tables of one kind that fit their model; the others are noted."""
        found = {}
        for identity, raw in named_tables(self.document, kind, self.findings).items():
            table = checked(model, raw, f"[{kind}.{identity}]", self.findings)
            if table is not None:
                found[identity] = table
        return found

    def _check_names(self) -> None:
        tables = {kind: self._tables(kind, model) for kind, model in _KINDS.items()}
        names = {
            kind: named_tables(self.document, kind, self.findings) for kind in _KINDS
        }
        check_references(tables, names, self.findings)
        pumps, nodes = self._tables("pump", PumpTable), self._tables("node", NodeTable)
        check_pumps(pumps, self.findings)
        relays = self._tables("relay", RelayTable)
        check_relays(relays, nodes, pumps.values(), self.findings)

    def _tanks(self) -> dict[str, Tank]:
        return {
            identity: tank_from(identity, table, self.findings)
            for identity, table in self._tables("tank", TankTable).items()
        }

    def _solutions(self, tables: dict[str, SolutionTable]) -> dict[str, Solution]:
        found = {}
        for identity, table in tables.items():
            solution = solution_from(identity, table, self.findings)
            if solution is not None:
                found[identity] = solution
        return found

    def _reservoirs(self) -> dict[str, Reservoir]:
        return {
            identity: Reservoir(
                id=identity,
                content_ul=table.content,
                low_ul=(table.content // LOW_PART if table.low is None else table.low),
                keeps_s=table.keeps or 0.0,
            )
            for identity, table in self._tables("reservoir", ReservoirTable).items()
        }

    def _nodes(self) -> dict[str, Node]:
        relays = self._tables("relay", RelayTable)
        return {
            identity: Node(
                id=identity,
                day_limit_ul=table.day_limit,
                cut_limit_ms=table.longest_run,
                hardware_id=table.hardware_id,
                config_id=table.config_id,
                signed=table.key_file is not None,
                relay=relay_of(relays[identity], table) if identity in relays else None,
            )
            for identity, table in self._tables("node", NodeTable).items()
        }

    def _pumps(self) -> dict[str, Pump]:
        relays = self._tables("relay", RelayTable)
        return {
            identity: Pump(
                id=identity,
                tank=table.tank,
                node=table.node,
                channel=table.channel,
                solution=table.solution,
                reservoir=table.reservoir,
                rate_nl_per_s=table.rate,
                smallest_dose_ul=table.smallest_dose,
                per_dose_ul=halved(
                    table.most_per_dose, behind_relay=table.node in relays
                ),
                per_day_ul=halved(
                    table.most_per_day, behind_relay=table.node in relays
                ),
                per_hour_ul=table.most_per_hour,
                per_calibration_ul=table.most_per_calibration,
                per_hand_ul=table.most_by_hand,
                per_priming_ul=table.most_per_priming,
                tube_life_s=table.tube_life,
            )
            for identity, table in self._tables("pump", PumpTable).items()
        }

    def _probes(self) -> dict[str, Probe]:
        found = {}
        for identity, table in self._tables("probe", ProbeTable).items():
            probe = probe_from(identity, table, self.findings)
            if probe is not None:
                found[identity] = probe
        return found

    def _outside(self, tanks: dict[str, Tank]) -> tuple[Outside, ...]:
        found = []
        for identity, table in self._tables("outside", OutsideTable).items():
            tank = tanks.get(table.tank)
            source = outside_from(identity, table, tank, self.findings)
            if source is not None:
                found.append(source)
        return tuple(found)
