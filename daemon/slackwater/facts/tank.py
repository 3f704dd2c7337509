"""The machine as its operator described it: tanks, solutions, pumps, nodes, limits.

Floor 2. One subject: resolved configuration, every quantity a whole number.
Laws here: a cap that is absent is zero, an hourly one and a net rise are none;
identities match `[a-z0-9-]{1,32}`; nothing in this file knows the time.
Units: volumes in microlitres (ul); what a solution adds in whole pico-units per
microlitre (peq for alkalinity, pg for elements, pmol for carbon); what a tank may
take in the same pico-units, for the whole tank.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

from slackwater.facts.exchanges import Exchange, Role
from slackwater.facts.limits import Switch, WaterLimits
from slackwater.facts.relays import MS_PER_S, REST_S, Relay

# Hours that a tube of a pump head runs before it is swapped, in seconds; common
# practice, no source.
TUBE_LIFE_S = 500 * 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class EffectCap:
    """The most of one parameter that may be poured into one tank in a day.

    Units: pico-units for the whole tank. `net_rise` is None when nobody stated it.
    """

    gross: int
    net_rise: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Uptake:
    """What a tank consumes of one parameter per day, with its lower bound.

    Units: pico-units per day for the whole tank; 0 <= low <= estimate.
    """

    estimate: int
    low: int


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceLimits:
    """When a trace or contaminant is looked at again, and when something is done.

    Units: micrograms per litre; 0 < watch < act.
    """

    watch: float
    act: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tank:
    """One body of water.

    Units: `net_ul` microlitres; `turnover_s` the time in which the return pump moves
    three tank volumes, 0 when the flow is not given; targets in canonical units;
    `bands` are those that the operator put in the place of practice.
    """

    id: str
    name: str
    net_ul: int
    zone: str
    targets: Mapping[str, float] = field(default_factory=dict)
    caps: Mapping[str, EffectCap] = field(default_factory=dict)
    uptake: Mapping[str, Uptake] = field(default_factory=dict)
    turnover_s: float = 0.0
    bands: Mapping[str, TraceLimits] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """A stock of known composition.

    `effects` maps a parameter to pico-units per microlitre and holds only what the
    solution doses; `counter_ions` maps the rest (salt gain) in picograms per
    microlitre. `ions` is empty when only a label is known. `bicarbonate` says of a
    label that its alkalinity is bicarbonate alone, `light_sensitive` that light spoils
    it.
    """

    id: str
    name: str
    effects: Mapping[str, int] = field(default_factory=dict)
    counter_ions: Mapping[str, int] = field(default_factory=dict)
    ions: tuple[str, ...] = ()
    fully_declared: bool = True
    hydroxide: bool = False
    bicarbonate: bool = False
    light_sensitive: bool = False
    cautions: tuple[str, ...] = ()
    origin: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reservoir:
    """A bottle that one or more pumps draw from; content at the last fill.

    Units: at `low_ul` corrections end, 0 for never; `keeps_s` how long the solution
    keeps once it is filled in, 0 when nobody said.
    """

    id: str
    content_ul: int
    low_ul: int = 0
    keeps_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Node:
    """The device that runs pumps; `day_limit_ul` is its own budget per channel.

    `hardware_id` and `config_id` are what beats must show (`hw`, `cfg`); empty means
    "whatever was seen at approval". `signed` says that a node key is configured.
    `relay` is set where it is no node but a plain timed relay.
    """

    id: str
    day_limit_ul: int
    cut_limit_ms: int
    hardware_id: str = ""
    config_id: str = ""
    signed: bool = False
    relay: Relay | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pump:
    """One dosing head with its own ceilings.

    Units: `rate_nl_per_s` nominal flow in nanolitres per second; caps in microlitres,
    zero when absent; `per_hour_ul` None means no hourly cap was asked for;
    `tube_life_s` run time after which its tube is worn.
    """

    id: str
    tank: str
    node: str
    channel: str
    solution: str
    reservoir: str
    rate_nl_per_s: int
    smallest_dose_ul: int
    per_dose_ul: int = 0
    per_day_ul: int = 0
    per_hour_ul: int | None = None
    per_calibration_ul: int = 0
    per_hand_ul: int = 0
    per_priming_ul: int = 0
    tube_life_s: float = TUBE_LIFE_S


@dataclass(frozen=True, slots=True, kw_only=True)
class Outside:
    """What adds to the water without a command of ours, per day, pico-units.

    `line` is the line of a plan that takes its place, where it is an old doser's;
    `volume_ul` what that one gives a day, 0 where nobody said.
    """

    id: str
    tank: str
    parameter: str
    per_day: int
    line: str = ""
    volume_ul: int = 0

    @property
    def replaced_by(self) -> str:
        """The line as `TANK/LINE`, empty for what no line replaces."""
        return f"{self.tank}/{self.line}" if self.line else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Probe:
    """A source of readings; `scale` turns its unit into the canonical one.

    `topic` empty and `pointer` None: it speaks as the contract says; else `pointer`
    (RFC 6901) leads to a bare number in what it says.
    Units: `period_s` the expected time between readings; `resolution` and the
    plausible window in canonical units; equal readings of less than `frozen_after_s`
    are not called frozen.
    """

    id: str
    tank: str
    parameter: str
    unit: str
    scale: float
    offset: float
    period_s: float
    resolution: float
    low: float
    high: float
    topic: str = ""
    pointer: str | None = None
    frozen_after_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class AlkalinityGuard:
    """Thresholds of the first interlocks for one tank, in meq/L and seconds.

    `rise` is the climb of hourly medians in 24 h that stops and latches; `fall` the
    one that shortens; `spread` what two probes may differ by. Release from `ceiling`
    needs `good_readings` below `ceiling - hysteresis` and `hold_at_least_s`.
    Source: common practice, no source; see `outside.settings` for the defaults.
    """

    ceiling: float
    floor: float
    rise: float
    fall: float
    spread: float
    hysteresis: float
    good_readings: int
    hold_at_least_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """Waiting times and gaps, in seconds; the demo shortens some of them.

    `lateness_share` is the part of the gap to the next dose of its line by which a
    dose may begin late, never more than `lateness_s`.
    """

    beat_fresh_s: float = 15.0
    deadline_s: float = 8.0
    start_hold_off_s: float = 60.0
    start_beats: int = 3
    lateness_s: float = 7200.0
    lateness_share: float = 0.25
    same_pump_gap_s: float = 60.0
    apart_gap_s: float = 900.0
    hydroxide_gap_s: float = 1800.0
    shadow_stage_s: float = 86400.0
    quiet_before_enable_s: float = 21600.0
    starts_allowed: int = 3
    starts_within_s: float = 600.0
    base_for_s: float = 1209600.0
    approval_lasts_s: float = 15552000.0
    approval_grace_s: float = 1209600.0
    half_stage_s: float = 0.0
    node_silence_s: float = 30.0
    free_space_bytes: int = 200_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """Everything the operator of the machine decided; a plan cannot change it."""

    site: str
    tanks: Mapping[str, Tank]
    solutions: Mapping[str, Solution]
    reservoirs: Mapping[str, Reservoir]
    nodes: Mapping[str, Node]
    pumps: Mapping[str, Pump]
    probes: Mapping[str, Probe] = field(default_factory=dict)
    guards: Mapping[str, AlkalinityGuard] = field(default_factory=dict)
    switches: Mapping[str, Switch] = field(default_factory=dict)
    limits: Mapping[str, WaterLimits] = field(default_factory=dict)
    outside: tuple[Outside, ...] = ()
    apart: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    timing: Timing = field(default_factory=Timing)
    shortened_timing: tuple[str, ...] = ()
    clock_confirmed: bool = False
    exchanges: Mapping[str, Exchange] = field(default_factory=dict)

    def pair_of(self, pump: str) -> tuple[Exchange, Role] | None:
        """The exchange that a pump is a half of, and which half; None for no other."""
        for pair in self.exchanges.values():
            if pump == pair.drain:
                return pair, "drain"
            if pump == pair.fill:
                return pair, "fill"
        return None

    def outside_per_day(
        self, tank: str, parameter: str, lines: Collection[str] = ()
    ) -> int:
        """What others add in a day, pico-units.

        `lines`, as `TANK/LINE`, are given by us: what they replace is left out.
        """
        return sum(
            source.per_day
            for source in self.outside
            if (source.tank, source.parameter) == (tank, parameter)
            and source.replaced_by not in lines
        )

    def handed_over(self, lines: Collection[str]) -> "Machine":
        """The machine once these lines, `TANK/LINE`, give what old dosers gave."""
        left = tuple(one for one in self.outside if one.replaced_by not in lines)
        return self if left == self.outside else replace(self, outside=left)

    def rest_s(self, pump: Pump) -> float:
        """Seconds between two runs of one pump; behind a relay its longest and more."""
        node = self.nodes[pump.node]
        if node.relay is None:
            return self.timing.same_pump_gap_s
        longest_s = node.cut_limit_ms / MS_PER_S
        return max(self.timing.same_pump_gap_s, longest_s + REST_S)

    def gap_s(self, solution: str, other: str) -> float:
        """Seconds that must pass between two solutions in one tank, 0 for none."""
        if other not in self.apart.get(solution, ()):
            return 0.0
        if self.solutions[solution].hydroxide or self.solutions[other].hydroxide:
            return self.timing.hydroxide_gap_s
        return self.timing.apart_gap_s
