"""What the gate looks at: one moment, one dose, and rules worked out beforehand.

Floor 3. One subject: the inputs of a decision. Laws here: nothing is computed from a
clock; `Rules` follows from machine and plan alone.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date

from slackwater.facts.now import Now
from slackwater.facts.plan import Approval, DueDose, Kind, Plan, PlanLine
from slackwater.facts.sight import Sight
from slackwater.facts.state import State
from slackwater.facts.tank import Machine, Probe, Pump
from slackwater.gate import kinds

ALKALINITY = kinds.ALKALINITY
DAYS_OF_WEEK = 7
# What is configured to watch a tank that nothing watches.
NOTHING: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class EffectRule:
    """One parameter that a pump adds to its tank, with the ceilings on it.

    Units: `per_ul` pico-units per microlitre; the rest pico-units per day for the
    tank. `old` is what old dosers give a day, by the line that replaces them; it is not
    in `outside`. `net` None: nobody stated a net cap; where one is stated and no
    uptake is known, uptake counts as nothing, as it does when a plan is checked.
    """

    parameter: str
    key: str
    per_ul: int
    gross: int
    outside: int
    net: int | None
    uptake_low: int
    old: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpRule:
    """Everything the gate needs for one pump, worked out once.

    `apart` lists pumps on the same tank that need a gap, in proven milliseconds;
    `kinds` says what its solution is to interlocks, `adds` what a microlitre adds.
    """

    pump: Pump
    charge_key: str
    effects: tuple[EffectRule, ...]
    apart: tuple[tuple[str, int], ...]
    same_pump_gap_ms: int
    adds_alkalinity: bool
    kinds: frozenset[str] = frozenset()
    adds: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class LineRule:
    """One plan line with its group and whether alkalinity holds reach it.

    `has_correction` says that it, or a line of its group, corrects.
    """

    line: PlanLine
    mates: tuple[str, ...]
    follows_alkalinity: bool
    has_correction: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """The machine and one plan, prepared for the gate.

    `alkalinity` maps a tank to what its lines add a day, (maintenance, all), in
    pico-equivalents; a line that does not dose each day counts with its mean.
    `outside` maps a tank to the alkalinity that comes without our command, `old` to
    that of old dosers by the line that replaces them, `solutions` a pump to what it
    gives. `upkeep` maps `TANK/PARAMETER` to what maintenance adds a day. `watched`
    holds what probes and switches watch in each tank that has some; `probes` the probes
    by `TANK/PARAMETER`, in order of name. `starts` is the first day of the plan, None
    without one.
    """

    pumps: Mapping[str, PumpRule]
    lines: Mapping[str, LineRule]
    alkalinity: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    outside: Mapping[str, int] = field(default_factory=dict)
    old: Mapping[str, tuple[tuple[str, int], ...]] = field(default_factory=dict)
    solutions: Mapping[str, str] = field(default_factory=dict)
    upkeep: Mapping[str, int] = field(default_factory=dict)
    watched: Mapping[str, frozenset[str]] = field(default_factory=dict)
    probes: Mapping[str, tuple[Probe, ...]] = field(default_factory=dict)
    starts: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """All a decision may look at; the same in live, shadow and rehearsal."""

    now: Now
    proven_ms: int
    state: State
    sight: Sight
    machine: Machine
    rules: Rules
    approval: Approval | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """One dose that asks to run."""

    dose: DueDose
    kind: Kind
    pump: PumpRule
    line: LineRule | None


def rules_for(machine: Machine, plan: Plan | None) -> Rules:
    """Work out the gate's tables from the machine and the plan in force."""
    names = frozenset[str]() if plan is None else plan.names
    pumps = {name: _pump_rule(machine, name, names) for name in machine.pumps}
    lines = {} if plan is None else _line_rules(plan, pumps)
    if machine.exchanges:
        lines = _paired(machine, lines)
    return Rules(
        pumps=pumps,
        lines=lines,
        alkalinity={tank: _alkalinity(lines, pumps, tank) for tank in machine.tanks},
        outside={
            tank: machine.outside_per_day(tank, ALKALINITY, names)
            for tank in machine.tanks
        },
        old={tank: _old(machine, tank, ALKALINITY, names) for tank in machine.tanks},
        solutions={pump.id: pump.solution for pump in machine.pumps.values()},
        upkeep=_upkeep(lines, pumps),
        watched=_watched(machine),
        probes=_probes(machine),
        starts=None if plan is None else plan.starts,
    )


def _paired(machine: Machine, lines: Mapping[str, LineRule]) -> dict[str, LineRule]:
    """What keeps a fill keeps its drain; a fill makes up for a drain all the same."""
    fills = {rule.line.pump: name for name, rule in lines.items()}
    found = dict(lines)
    for name, rule in lines.items():
        pair = machine.pair_of(rule.line.pump)
        if pair is not None and pair[1] == "drain" and pair[0].fill in fills:
            found[name] = replace(rule, mates=(fills[pair[0].fill],))
    return found


def _probes(machine: Machine) -> dict[str, tuple[Probe, ...]]:
    found: dict[str, tuple[Probe, ...]] = {}
    for _, probe in sorted(machine.probes.items()):
        key = f"{probe.tank}/{probe.parameter}"
        found[key] = (*found.get(key, ()), probe)
    return found


def _upkeep(
    lines: Mapping[str, LineRule], pumps: Mapping[str, PumpRule]
) -> dict[str, int]:
    found: dict[str, int] = {}
    for rule in lines.values():
        pump = pumps.get(rule.line.pump)
        if pump is None or rule.line.purpose != "maintenance":
            continue
        for effect in pump.effects:
            key = f"{rule.line.tank}/{effect.parameter}"
            daily = daily_of(rule.line, pumps, effect.parameter)
            found[key] = found.get(key, 0) + daily
    return found


def _watched(machine: Machine) -> dict[str, frozenset[str]]:
    """Parameters of probes and roles of switches by tank."""
    found: dict[str, set[str]] = {}
    for probe in machine.probes.values():
        found.setdefault(probe.tank, set()).add(probe.parameter)
    for switch in machine.switches.values():
        found.setdefault(switch.tank, set()).add(switch.role)
    return {tank: frozenset(names) for tank, names in found.items()}


def _alkalinity(
    lines: Mapping[str, LineRule], pumps: Mapping[str, PumpRule], tank: str
) -> tuple[int, int]:
    maintenance = everything = 0
    for rule in lines.values():
        amount = daily_of(rule.line, pumps) if rule.line.tank == tank else 0
        everything += amount
        if rule.line.purpose == "maintenance":
            maintenance += amount
    return maintenance, everything


def daily_of(
    line: PlanLine, pumps: Mapping[str, PumpRule], parameter: str = ALKALINITY
) -> int:
    """What a line adds of a parameter in a day, the mean of its days; pico-units."""
    pump = pumps.get(line.pump)
    if pump is None:
        return 0
    per_ul = sum(e.per_ul for e in pump.effects if e.parameter == parameter)
    amount = per_ul * line.per_day_ul
    if line.weekdays:
        return amount * len(line.weekdays) // DAYS_OF_WEEK
    return amount // line.every_days


def _old(
    machine: Machine, tank: str, parameter: str, names: frozenset[str]
) -> tuple[tuple[str, int], ...]:
    """What old dosers give a day of what lines of the plan replace, by line."""
    return tuple(
        (source.replaced_by, source.per_day)
        for source in machine.outside
        if (source.tank, source.parameter) == (tank, parameter)
        and source.replaced_by in names
    )


def _pump_rule(machine: Machine, pump_id: str, names: frozenset[str]) -> PumpRule:
    pump = machine.pumps[pump_id]
    solution = machine.solutions[pump.solution]
    effects = tuple(
        _effect_rule(machine, pump.tank, (parameter, per_ul), names)
        for parameter, per_ul in sorted(solution.effects.items())
    )
    turnover_ms = int(machine.tanks[pump.tank].turnover_s * 1000)
    return PumpRule(
        pump=pump,
        charge_key=f"pump/{pump_id}",
        effects=effects,
        apart=_apart(machine, pump, turnover_ms),
        same_pump_gap_ms=int(machine.rest_s(pump) * 1000),
        adds_alkalinity=ALKALINITY in solution.effects,
        kinds=kinds.kinds_of(solution),
        adds=dict(solution.effects),
    )


def _apart(
    machine: Machine, pump: Pump, turnover_ms: int
) -> tuple[tuple[str, int], ...]:
    """Pumps on the same tank whose solution must not meet this one's."""
    gaps = []
    for other_id, other in sorted(machine.pumps.items()):
        if other.tank != pump.tank:
            continue
        gap_s = machine.gap_s(pump.solution, other.solution)
        if gap_s > 0:
            gaps.append((other_id, max(int(gap_s * 1000), turnover_ms)))
    return tuple(gaps)


def _effect_rule(
    machine: Machine, tank_id: str, effect: tuple[str, int], names: frozenset[str]
) -> EffectRule:
    tank, (parameter, per_ul) = machine.tanks[tank_id], effect
    cap = tank.caps.get(parameter)
    uptake = tank.uptake.get(parameter)
    return EffectRule(
        parameter=parameter,
        key=f"effect/{tank_id}/{parameter}",
        per_ul=per_ul,
        gross=0 if cap is None else cap.gross,
        outside=machine.outside_per_day(tank_id, parameter, names),
        old=_old(machine, tank_id, parameter, names),
        net=None if cap is None else cap.net_rise,
        uptake_low=0 if uptake is None else uptake.low,
    )


def _line_rules(plan: Plan, pumps: Mapping[str, PumpRule]) -> dict[str, LineRule]:
    grouped: dict[str, list[PlanLine]] = {}
    for line in plan.lines:
        if line.group:
            grouped.setdefault(line.group, []).append(line)
    rules = {}
    for line in plan.lines:
        mates = grouped.get(line.group, [line])
        rules[f"{line.tank}/{line.id}"] = LineRule(
            line=line,
            mates=tuple(f"{mate.tank}/{mate.id}" for mate in mates if mate is not line),
            follows_alkalinity=any(
                mate.tank == line.tank
                and mate.pump in pumps
                and pumps[mate.pump].adds_alkalinity
                for mate in mates
            ),
            has_correction=any(mate.purpose == "correction" for mate in mates),
        )
    return rules
