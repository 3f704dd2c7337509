"""What an assessment says, as records.

Floor 3. One subject: the shape of an assessment. Laws here: every level is canonical;
what is not known is None and never 0; a sentence stands beside every judgement;
nothing here decides.
Units: levels in the parameter's canonical unit, rates in it per day; `sd` standard
deviations of the same unit; ages and spans in days; shares as parts of 1.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal

from slackwater.facts.proposal import Ground
from slackwater.facts.reasons import Figure
from slackwater.facts.waters import Provenance, Remedy

Word = Literal["low", "in band", "high", "too old", "unknown", "no band"]
Confidence = Literal["good", "fair", "poor", "none"]
Weight = Literal["alarm", "warning", "note"]
Use = Literal["used", "outlier", "held"]
# "dose": none at all; "correction": the uptake only; "change": keep the last dose;
# "rise": whatever is given now, and no more.
Stop = Literal["dose", "correction", "change", "rise"]
Stage = Literal["not seen", "usual", "watch", "act"]
# The notice of a trace that is to be acted on.
TRACE_ACT = "trace-act"

# Half the width of a 90 % interval in standard deviations.
HALF_WIDTH_90 = 1.645
# An uptake is compared with what it was so long ago.
BEFORE_DAYS = 14.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Single:
    """One of several readings of one water, the kit's bias taken off."""

    at: datetime
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One test of a series: replicates averaged, the kit's bias taken off.

    `raw` is the average as it was read, `bias` what was taken off it, known to
    `bias_sd`, which is the same for all tests of a kit and not in `sd`; `entries` are
    the ids of the measurements in it, and `singles` its readings where it has several.
    `apart`: these contradict each other, so that it is the highest of them, as unsure
    as they are apart. A censored point is an upper limit.
    """

    at: datetime
    value: float
    sd: float
    raw: float
    bias: float = 0.0
    bias_sd: float = 0.0
    use: Use = "used"
    censored: bool = False
    entries: tuple[str, ...] = ()
    singles: tuple[Single, ...] = ()
    apart: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """All tests of one parameter by one method, in the order of their time.

    `lot` is empty where lots are joined because the bias of each is known, or where
    none was written down.
    """

    parameter: str
    provenance: Provenance
    method: str
    lot: str = ""
    points: tuple[Point, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Where a level may be; `factors` are the same bounds as parts of nature."""

    low: float
    high: float
    source: str
    factors: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Where one parameter stands.

    `sampled` is the value on the sampling day, `level` the same carried to now;
    `level_35` is `level` at a salinity of 35, for what keeps its proportion, and is
    what the band judges; `uncredited` came in since and is in neither, because nobody
    knows the uptake. `limit` is the laboratory's quantification limit.
    `trend_per_day` is what the level itself does. Above `stop_above` dosing ends.
    `above` is the newest test where it lies above `bound`, `above_age_days` ago: then
    nothing is raised. Where that test takes the place of a lower level, which other
    tests say, `gainsaid_by` is that level. `waiting` is a newer test that stands apart
    and is in no level: it waits for a retest since `waiting_age_days`.
    """

    parameter: str
    word: Word
    confidence: Confidence
    why: tuple[str, ...] = ()
    provenance: Provenance | None = None
    method: str = ""
    sampled_at: datetime | None = None
    age_days: float | None = None
    shelf_days: float | None = None
    sampled: float | None = None
    sampled_sd: float | None = None
    bias: float = 0.0
    censored: bool = False
    level: float | None = None
    level_sd: float | None = None
    level_35: float | None = None
    uncredited: float = 0.0
    natural: float | None = None
    limit: float | None = None
    band: Band | None = None
    target: float | None = None
    stop_above: float | None = None
    above: float | None = None
    above_age_days: float | None = None
    bound: float | None = None
    gainsaid_by: float | None = None
    waiting: Point | None = None
    waiting_age_days: float | None = None
    trend_per_day: float | None = None
    trend_sd: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class UptakeFound:
    """What a tank consumes of one parameter, from tests of one method and deliveries.

    `per_day` is the uptake now, `level` the estimate for now, `at` the newest test that
    was used.
    `enough` says that it may carry a proposal; `why_not` lists what is missing.
    `is_net_balance`: no outside source is declared, so that what one brings would be
    missing from it. `check_per_day` is the independent estimate; `frozen` says that
    the two disagree and the last dose stays. `before_per_day` is the uptake
    `BEFORE_DAYS` ago, None where it was not known well enough; `falls`: two tests of
    the method show that something is used up.
    """

    parameter: str
    per_day: float
    sd_per_day: float
    level: float
    level_sd: float
    at: datetime
    tests: int
    span_days: float
    provenance: Provenance
    method: str
    enough: bool
    why_not: tuple[str, ...] = ()
    is_net_balance: bool = True
    held: tuple[Point, ...] = ()
    check_per_day: float | None = None
    check_sd: float | None = None
    frozen: bool = False
    before_per_day: float | None = None
    before_sd: float | None = None
    fell: bool = False
    falls: bool = False
    delivered_per_day: float = 0.0
    at_target_per_day: float | None = None
    at_target_sd: float = 0.0
    return_days: float | None = None
    wide: bool = False

    @property
    def low_per_day(self) -> float:
        """The lower end of the 90 % interval, 0 at least."""
        return max(self.per_day - HALF_WIDTH_90 * self.sd_per_day, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceStanding:
    """One trace or contaminant in three columns: nature, what can be seen, practice.

    `value` is the newest laboratory result; `at_most` adds everything dosed since and
    takes off only uptake that is proven. `confirmed`: the sample before says the same.
    """

    parameter: str
    stage: Stage
    value: float
    at_most: float
    sampled_at: datetime
    age_days: float
    natural: float | None
    limit: float | None
    watch: float
    act: float
    bands_source: str
    confirmed: bool = False
    by_salinity: bool = False
    sources: str = ""
    censored: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CarbonateState:
    """Saturation and carbon dioxide, from alkalinity, pH, salinity and temperature.

    Units: `omega` of aragonite, dimensionless; `pco2_uatm` micro-atmospheres. Two
    digits are meant; nothing is ever dosed on it.
    """

    omega: float
    omega_sd: float
    pco2_uatm: float
    pco2_sd_uatm: float
    ph: float
    ph_scale: str
    ph_total: float
    alkalinity: float
    salinity: float
    celsius: float
    calcium_measured: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One test of whether results hang together; None: it cannot say."""

    name: str
    holds: bool | None
    text: str
    figures: Mapping[str, Figure] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """One thing that was found, in a sentence with its figures."""

    code: str
    weight: Weight
    parameter: str
    text: str
    figures: Mapping[str, Figure] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Unconfirmed:
    """A test entered from afar: shown, and part of no series, standing or uptake."""

    entry: str
    parameter: str
    level: float
    at: datetime
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """What may not be dosed, corrected or changed now, and why."""

    parameter: str
    stops: Stop
    ground: Ground
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """Something a person must do that no pump can; becomes a task.

    `rank` orders: smaller is more urgent. `parameter` is empty for the whole water.
    """

    remedy: Remedy
    parameter: str
    text: str
    due_on: date
    rank: int
    figures: Mapping[str, Figure] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing:
    """A test that is not there or too old; `age_days` None when there is none."""

    parameter: str
    text: str
    due_on: date
    rank: int
    age_days: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """Where a tank stands at a moment, what is doubtful, and what to do.

    `todo` are sentences, the most urgent first. `blocks` bind every proposal.
    """

    tank: str
    at: datetime
    todo: tuple[str, ...] = ()
    standings: Mapping[str, Standing] = field(default_factory=dict)
    uptakes: Mapping[str, UptakeFound] = field(default_factory=dict)
    traces: Mapping[str, TraceStanding] = field(default_factory=dict)
    carbonate: CarbonateState | None = None
    checks: tuple[Check, ...] = ()
    notices: tuple[Notice, ...] = ()
    blocks: tuple[Block, ...] = ()
    missing: tuple[Missing, ...] = ()
    advice: tuple[Advice, ...] = ()
    series: tuple[Series, ...] = ()
    unconfirmed: tuple[Unconfirmed, ...] = ()

    def is_blocked(self, parameter: str, *stops: Stop) -> bool:
        """Whether any of these blocks lies on a parameter."""
        return any(
            block.parameter == parameter and block.stops in stops
            for block in self.blocks
        )

    @property
    def has_alarm(self) -> bool:
        """Whether anything was found that a person must look at now."""
        return any(notice.weight == "alarm" for notice in self.notices)

    @property
    def stopping(self) -> tuple[Notice, ...]:
        """Alarms that stop corrections of the whole tank.

        One sample alone is a hypothesis about a trace: it calls, and stops nothing.
        """
        return tuple(
            notice
            for notice in self.notices
            if notice.weight == "alarm" and not self._is_seen_once(notice)
        )

    def _is_seen_once(self, notice: Notice) -> bool:
        trace = self.traces.get(notice.parameter)
        if trace is None or notice.code != TRACE_ACT:
            return False
        return not trace.confirmed
