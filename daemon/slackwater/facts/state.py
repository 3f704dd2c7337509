"""State: what the ledger says, folded.

Floor 2. One subject: the shape of the memory that decisions read.
Laws here: only `facts.fold` writes into a State; `turn` reads it and leaves it as
found; no figure in it comes from anywhere but events.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal

from slackwater.facts.alarms import StandingAlarm
from slackwater.facts.audits import Audited
from slackwater.facts.courses import Course
from slackwater.facts.entered import LevelEntered
from slackwater.facts.events import (
    Calibrated,
    DoseHeld,
    DoseIntended,
    HoldRaised,
    PlanApproved,
    ReadingKept,
    ShotRequested,
)
from slackwater.facts.exchanges import Account
from slackwater.facts.judgements import Break, SeriesJudged
from slackwater.facts.now import Mark
from slackwater.facts.plan import Kind
from slackwater.facts.relays import RelayChecked
from slackwater.facts.rolling import Rolling
from slackwater.facts.safeguards import AwayDeclared, BypassGranted, ProbeTakenOut
from slackwater.facts.stages import HalfBegan, LineTakenOver
from slackwater.facts.strengths import Strength
from slackwater.facts.waters import MeasurementKept, TaskSet, WaterChanged

Stage = Literal["shadow", "live"]


@dataclass(slots=True, kw_only=True)
class OpenDose:
    """An intent that nobody has settled yet; one that `rinses` draws no solution."""

    intent: DoseIntended
    taken: bool = False
    refused_word: str = ""
    rinses: bool = False


@dataclass(slots=True, kw_only=True)
class ClosedDose:
    """A settled intent, remembered for late reports that may raise its charge."""

    pump: str
    node: str
    tank: str
    asked_ul: int
    charge_ul: int
    believed_ul: int
    effects: Mapping[str, int]
    local_day: date
    in_water: bool
    proven_ms: int
    sealed: bool
    dose_kind: Kind = "calibrate"
    exchange: str = ""


@dataclass(slots=True, kw_only=True)
class Flow:
    """The last run of a pump: what flowed, where, and when it had ended at last."""

    tank: str
    solution: str
    end_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Again:
    """Doses due later than `after` up to `until` come again (`facts/lives.py`).

    What was given of them is not given again before `after_ms` of proven time.
    """

    after: datetime
    until: datetime
    after_ms: int


@dataclass(slots=True, kw_only=True)
class Commanded:
    """The newest number a channel was commanded with: its boot, and by which daemon."""

    boot: str
    n: int
    fence: int


@dataclass(slots=True, kw_only=True)
class Fill:
    """What a reservoir held when somebody filled it or read its level last.

    `drawn_ul` and `runs` are what each pump had drawn, and how often, until then.
    `mixed_at` is None where no fill was written down, `since` in an older checkpoint;
    `within_ul` is how far the content may be off; `levels` are tests of new water.
    `exchanged_ul` is what pumps of exchanges had moved of the tank's water until then,
    None in an older checkpoint.
    """

    content_ul: int
    mixed_at: datetime | None
    drawn_ul: dict[str, int] = field(default_factory=dict)
    runs: dict[str, int] = field(default_factory=dict)
    since: datetime | None = None
    within_ul: int = 0
    lot: str = ""
    levels: Mapping[str, float] = field(default_factory=dict)
    exchanged_ul: dict[str, int] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """What left a reservoir between two levels, and what was believed to leave it.

    `begin_ul` and `end_ul` are how far the two levels may be off, `runs` how often
    these pumps ran between them.
    """

    began_at: datetime
    ended_at: datetime
    pumps: tuple[str, ...]
    used_ul: int
    believed_ul: int
    runs: int
    begin_ul: int
    end_ul: int


@dataclass(slots=True, kw_only=True)
class Compared:
    """What a probe showed when a hand tested beside it, canonical units."""

    tank: str
    measurement: str
    taken_at: datetime
    tested: float
    shown: float


@dataclass(slots=True, kw_only=True)
class Entered:
    """A test told from afar that nobody has confirmed; `shown` by probe, beside it."""

    told: LevelEntered
    shown: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ours:
    """A stretch in which a line of an old doser was ours, until it was given back."""

    begins: datetime
    ends: datetime


@dataclass(slots=True, kw_only=True)
class State:
    """Everything a decision may know of the past.

    `charges` and `days` are keyed `pump/ID`, `effect/TANK/PARAMETER`,
    `calibrate/PUMP`, `prime/PUMP`, `hand/PUMP`; `believed` and `planned` by
    `TANK/PARAMETER`, and `missed` of a day: when it was written down, when it was
    due, proven milliseconds, and how much.
    `hours` keeps believed alkalinity per tank and hour of wall time for six weeks;
    `stage_since` is the wall time of the first entry, or at which pumps were enabled or
    disabled. `fed_since` is when pumps were enabled for the first time, once they were
    disabled for no longer than a tank can go without; None while one stage is all there
    was.
    `fence_before` is the highest fence on record before the newest start.
    `running` says that the daemon is in charge and `calibrating` that a session is.
    `by_hand` is the newest run asked for of a live daemon, by pump.
    `used` maps a dose identity to its local day; `held` one that waits to the entry
    that says why; `skipped` one to the request that asked. `wanting` maps a tank to
    the proven time of the last dose that came less than planned; a tank not in it
    needs no look at its shortfall. `unquiet_ms` is the proven time of the last clock
    or ledger hold. `levels` is the newest measurement by `TANK/PARAMETER`, an own one
    where only those decide, `levels_before` the one before it, `levels_older` the few
    before that; `changes` are the water changes by id that lie ahead or less than two
    days back, `tasks` what a person has still to do. `alarms` are those that stand or
    ended within a week, by their name; `told_ms` the proven times of the newest ones
    told. `bypasses` is by interlock, `out_of_service` and `compared` by probe,
    `treatments` the end of one by tank, `fills` and `intervals` by reservoir, `runs`
    how often a pump ran, `run_ms` how long, of which `tube_run_ms` when its tube was
    new and `measured_run_ms` when it was measured last; `tubes` when that tube was put
    in. `top_offs` are
    whole days' microlitres by counter. Swings are judged by `courses` by alkalinity
    probe, `drops`, believed alkalinity by tank and second of wall time since a probe
    was read, `tests`, the newest own ones by tank, and `breaks` by tank and what told
    of them; `judged` is what is said by source, absent where nothing ever was amiss.
    `lowered` are caps of the file below the approved ones, by place; `halves` what is
    halved, by scope, and what is until then where a newer one is to come; `left_to_old`
    the lines that an old doser gives, `taken_over` those it gave once, `handed_back`
    when such a line was ours. `audited` is the newest audit. `spans` is the first and
    last due time of all that absences missed by `TANK/LINE`, `unknown_spans` of what a
    ledger put back no longer tells of;
    `strengths` what a pump's solution adds, as far as it gave any. `commanded` is by
    `NODE/CHANNEL`. `entered` are tests told from afar that nobody has confirmed, by
    their id: no level counts them. `unseen` counts the doses of a pump in a row that
    were sent and that nobody saw end; absent where the newest was seen.
    `exchanges` are the accounts of pairs of pumps, by pair. `again` are the stretches
    of time that come again, `due_until` the latest due time of all that was decided,
    and `not_given` those of `used` of which no water knows.
    """

    ledger_id: str = ""
    mark: Mark | None = None
    newest_at: datetime | None = None
    decided_at: datetime | None = None
    unanswered_ms: int | None = None
    fence: int = 0
    fence_before: int = 0
    running: bool = False
    calibrating: bool = False
    unclean_starts: list[datetime] = field(default_factory=list)
    clock_confirmed_boot: str = ""
    last_serial: int = 0
    approvals: list[PlanApproved] = field(default_factory=list)
    withdrawn: list[int] = field(default_factory=list)
    stage: Stage = "shadow"
    stage_since: datetime | None = None
    fed_since: datetime | None = None
    shadow_ms: int = 0
    watch_ms: int = 0
    unquiet_ms: int | None = None
    holds: dict[str, HoldRaised] = field(default_factory=dict)
    calibrations: dict[str, Calibrated] = field(default_factory=dict)
    relay_checks: dict[str, RelayChecked] = field(default_factory=dict)
    requests: dict[str, ShotRequested] = field(default_factory=dict)
    by_hand: dict[str, ShotRequested] = field(default_factory=dict)
    open: dict[str, OpenDose] = field(default_factory=dict)
    closed: dict[str, ClosedDose] = field(default_factory=dict)
    charges: dict[str, Rolling] = field(default_factory=dict)
    days: dict[str, dict[date, int]] = field(default_factory=dict)
    believed: dict[str, Rolling] = field(default_factory=dict)
    planned: dict[str, Rolling] = field(default_factory=dict)
    missed: dict[str, list[tuple[int, int, int]]] = field(default_factory=dict)
    hours: dict[str, dict[int, int]] = field(default_factory=dict)
    flows: dict[str, Flow] = field(default_factory=dict)
    used: dict[str, date] = field(default_factory=dict)
    held: dict[str, DoseHeld] = field(default_factory=dict)
    skipped: dict[str, str] = field(default_factory=dict)
    short_streak: dict[str, int] = field(default_factory=dict)
    unseen: dict[str, int] = field(default_factory=dict)
    drawn_ul: dict[str, int] = field(default_factory=dict)
    runs: dict[str, int] = field(default_factory=dict)
    intervals: dict[str, list[Interval]] = field(default_factory=dict)
    run_ms: dict[str, int] = field(default_factory=dict)
    tube_run_ms: dict[str, int] = field(default_factory=dict)
    measured_run_ms: dict[str, int] = field(default_factory=dict)
    tubes: dict[str, datetime] = field(default_factory=dict)
    readings: dict[str, list[ReadingKept]] = field(default_factory=dict)
    resuming: dict[str, int] = field(default_factory=dict)
    wanting: dict[str, int] = field(default_factory=dict)
    heard_requests: dict[str, datetime] = field(default_factory=dict)
    levels: dict[str, MeasurementKept] = field(default_factory=dict)
    levels_before: dict[str, MeasurementKept] = field(default_factory=dict)
    levels_older: dict[str, list[MeasurementKept]] = field(default_factory=dict)
    changes: dict[str, WaterChanged] = field(default_factory=dict)
    tasks: dict[str, TaskSet] = field(default_factory=dict)
    alarms: dict[str, StandingAlarm] = field(default_factory=dict)
    told_ms: list[int] = field(default_factory=list)
    bypasses: dict[str, BypassGranted] = field(default_factory=dict)
    out_of_service: dict[str, ProbeTakenOut] = field(default_factory=dict)
    treatments: dict[str, datetime] = field(default_factory=dict)
    away: AwayDeclared | None = None
    fills: dict[str, Fill] = field(default_factory=dict)
    top_offs: dict[str, dict[date, int]] = field(default_factory=dict)
    compared: dict[str, Compared] = field(default_factory=dict)
    courses: dict[str, Course] = field(default_factory=dict)
    drops: dict[str, dict[int, int]] = field(default_factory=dict)
    tests: dict[str, list[MeasurementKept]] = field(default_factory=dict)
    breaks: dict[str, dict[str, Break]] = field(default_factory=dict)
    judged: dict[str, SeriesJudged] = field(default_factory=dict)
    audited: Audited | None = None
    lowered: dict[str, int | float] = field(default_factory=dict)
    halves: dict[str, HalfBegan] = field(default_factory=dict)
    left_to_old: list[str] = field(default_factory=list)
    taken_over: dict[str, LineTakenOver] = field(default_factory=dict)
    handed_back: dict[str, list[Ours]] = field(default_factory=dict)
    spans: dict[str, tuple[datetime, datetime]] = field(default_factory=dict)
    unknown_spans: dict[str, tuple[datetime, datetime]] = field(default_factory=dict)
    strengths: dict[str, Strength] = field(default_factory=dict)
    commanded: dict[str, Commanded] = field(default_factory=dict)
    entered: dict[str, Entered] = field(default_factory=dict)
    exchanges: dict[str, Account] = field(default_factory=dict)
    again: list[Again] = field(default_factory=list)
    due_until: datetime | None = None
    not_given: dict[str, date] = field(default_factory=dict)
