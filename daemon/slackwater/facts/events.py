"""Every kind of ledger entry, in the past tense.

Floor 2. One subject: what happened. Laws here: an event is never changed, only
followed; each carries the three clocks; volumes are whole microlitres; effects are
whole pico-units for the tank.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from slackwater.facts.alarms import AlarmEvent
from slackwater.facts.audits import Audited
from slackwater.facts.doses import (
    ChargeRaised,
    DoseEnded,
    DoseHanded,
    DoseHeld,
    DoseIntended,
    DoseMissed,
    DoseRefusedByNode,
    DoseSealed,
    DoseTaken,
    DoseVoided,
    EndedHow,
    RequestTakenBack,
    SpanMissed,
)
from slackwater.facts.entered import EnteredEvent
from slackwater.facts.inputs import InputsKept
from slackwater.facts.judgements import SeriesJudged
from slackwater.facts.now import Event
from slackwater.facts.plan import Approval
from slackwater.facts.reasons import Reason
from slackwater.facts.relays import RelayChecked
from slackwater.facts.safeguards import SafeguardEvent
from slackwater.facts.stages import StageEvent
from slackwater.facts.waters import WaterEvent

# The life of a dose is told in a file of its own; its entries are read from here.
__all__ = [
    "AnyEvent",
    "Calibrated",
    "ChargeRaised",
    "Checkpoint",
    "ClockConfirmed",
    "DoseEnded",
    "DoseHanded",
    "DoseHeld",
    "DoseIntended",
    "DoseMissed",
    "DoseRefusedByNode",
    "DoseSealed",
    "DoseTaken",
    "DoseVoided",
    "EndedHow",
    "Event",
    "FilesDiffer",
    "HoldRaised",
    "HoldReleased",
    "LedgerMade",
    "LedgerRestored",
    "PlanApproved",
    "PlanWithdrawn",
    "PumpsDisabled",
    "PumpsEnabled",
    "ReadingKept",
    "RelayChecked",
    "RequestHeard",
    "RequestTakenBack",
    "ResumeBegan",
    "ResumeEnded",
    "ShotRequested",
    "SpanMissed",
    "Started",
    "Stopped",
    "WatchKept",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class LedgerMade(Event):
    """A new ledger; `dosed_ul` is what each pump gave in the last 24 h.

    `answered` False: nobody said, and the daily caps stay used up for 24 h. `effects`
    maps a tank to what those volumes added.
    """

    kind: Literal["ledger_made"] = "ledger_made"
    ledger_id: str
    boot_id: str
    answered: bool
    dosed_ul: Mapping[str, int] = field(default_factory=dict)
    effects: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    by: str
    highest_fence_heard: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class LedgerRestored(Event):
    """A backup took the place of a ledger that is gone.

    The backup was made at `made_at` and ended with entry `entries`; `newest_known` is
    the entry that the lost ledger is known to have reached, 0 where nobody knows.
    `answered`, `dosed_ul` and `effects` as in `LedgerMade`, for the time since.
    """

    kind: Literal["ledger_restored"] = "ledger_restored"
    made_at: datetime
    entries: int
    newest_known: int = 0
    boot_id: str
    answered: bool
    dosed_ul: Mapping[str, int] = field(default_factory=dict)
    effects: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Started(Event):
    """A daemon (or a calibration session) took charge with a new fence."""

    kind: Literal["started"] = "started"
    version: str
    boot_id: str
    fence: int
    mode: Literal["shadow", "live", "calibrate"]
    digest: str = ""
    zone_sha256: Mapping[str, str] = field(default_factory=dict)
    shortened_timing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Stopped(Event):
    """A clean end; its absence is how a crash shows."""

    kind: Literal["stopped"] = "stopped"
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanApproved(Event):
    """A person approved a digest; the approved bytes stand beside it.

    `machine` and `plan` are the resolved records as canonical JSON text; `files`
    maps a file name to the SHA-256 of its bytes when it was approved; `report` is that
    of the document of the rehearsal it stands on, empty before there was one, `table`
    that of the dose table that was part of the digest, likewise.
    """

    kind: Literal["plan_approved"] = "plan_approved"
    approval: Approval
    machine: str
    plan: str
    files: Mapping[str, str]
    report: str = ""
    table: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanWithdrawn(Event):
    """An approval ended for good."""

    kind: Literal["plan_withdrawn"] = "plan_withdrawn"
    serial: int
    by: str
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpsEnabled(Event):
    """A person let the daemon command pumps.

    `left_to_old` are the lines, `TANK/LINE`, that an old doser still gives.
    """

    kind: Literal["pumps_enabled"] = "pumps_enabled"
    by: str
    serial: int
    left_to_old: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpsDisabled(Event):
    """Back to shadow, until a person enables again."""

    kind: Literal["pumps_disabled"] = "pumps_disabled"
    by: str
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldRaised(Event):
    """Doses of a scope may not run.

    `scope` is `all`, `tank/ID`, `pump/ID`, `node/ID`, `alkalinity/TANK` (what adds
    alkalinity there, and its groups) or another word of `gate.scopes`. A latched hold
    needs a person; one with `until` ends by itself.
    """

    kind: Literal["hold_raised"] = "hold_raised"
    hold_id: str
    scope: str
    reason: Reason
    latched: bool
    until: datetime | None = None
    by: str = "daemon"
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldReleased(Event):
    """A hold ended, by itself or by a person on the machine."""

    kind: Literal["hold_released"] = "hold_released"
    hold_id: str
    by: str
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibrated(Event):
    """A pump's flow was measured; nanolitres per second, from `shots` shots.

    `offset_nl` is what start and stop add to each shot, below 0 where they take away;
    intervals hold 95 percent. `smallest_ul` is the least volume a shot gives reliably,
    `runs` what was measured at once as (milliseconds, microlitres), of `shots_each`
    shots together. An entry from before shots of two lengths has none of these, and an
    offset of nothing.
    `hw` and `cfg` are what the node's beats showed while a person watched it: the
    device and limits an approval then stands for. `node` and `channel` are where it
    hung; an entry from before they were kept has neither.
    """

    kind: Literal["calibrated"] = "calibrated"
    pump: str
    rate_nl_per_s: int
    cal: str
    shots: int
    spread_percent: float
    proofs: tuple[str, ...]
    by: str
    hw: str = ""
    cfg: str = ""
    offset_nl: int = 0
    rate_interval_nl_per_s: tuple[int, int] | None = None
    offset_interval_nl: tuple[int, int] | None = None
    smallest_ul: int = 0
    runs: tuple[tuple[int, int], ...] = ()
    shots_each: int = 1
    node: str = ""
    channel: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotRequested(Event):
    """A person here asks for one run; one that `rinses` draws nothing of its bottle."""

    kind: Literal["shot_requested"] = "shot_requested"
    request: str
    pump: str
    volume_ul: int
    until: datetime
    by: str
    purpose: Literal["calibrate", "prime", "manual"] = "calibrate"
    why: str = ""
    rinses: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingKept(Event):
    """A thinned probe reading, canonical unit, with the probe's own time."""

    kind: Literal["reading_kept"] = "reading_kept"
    tank: str
    probe: str
    parameter: str
    value: float
    taken_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class ResumeBegan(Event):
    """Less than half of the planned alkalinity came in 24 h: come back slowly."""

    kind: Literal["resume_began"] = "resume_began"
    tank: str
    planned: int
    believed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ResumeEnded(Event):
    """The full plan fits under the net limit again."""

    kind: Literal["resume_ended"] = "resume_ended"
    tank: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RequestHeard(Event):
    """A request from afar and what became of it."""

    kind: Literal["request_heard"] = "request_heard"
    request: str
    act: str
    tank: str
    granted: bool
    note: str = ""
    dose: str = ""
    alarm: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockConfirmed(Event):
    """A person vouched for the wall clock; ends when the machine reboots.

    `again_until` is until when a clock that was ahead has decided doses: what is due
    until then comes again (`facts/lives.py`). None where it decided none.
    """

    kind: Literal["clock_confirmed"] = "clock_confirmed"
    boot_id: str
    by: str
    again_until: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FilesDiffer(Event):
    """The files on disk are no longer the approved ones; the approved ones go on."""

    kind: Literal["files_differ"] = "files_differ"
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchKept(Event):
    """The daemon was up and deciding; written hourly while in shadow.

    `given` and `missed` count the shadow doses since the last such entry.
    """

    kind: Literal["watch_kept"] = "watch_kept"
    given: int = 0
    missed: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Checkpoint(Event):
    """The folded state at this point, so that a start need not read everything."""

    kind: Literal["checkpoint"] = "checkpoint"
    state: str


AnyEvent = (
    LedgerMade
    | LedgerRestored
    | Started
    | Stopped
    | PlanApproved
    | PlanWithdrawn
    | PumpsEnabled
    | PumpsDisabled
    | HoldRaised
    | HoldReleased
    | Calibrated
    | ShotRequested
    | RequestTakenBack
    | DoseHeld
    | DoseMissed
    | SpanMissed
    | DoseIntended
    | DoseHanded
    | DoseTaken
    | DoseEnded
    | DoseRefusedByNode
    | DoseVoided
    | DoseSealed
    | ChargeRaised
    | ReadingKept
    | SeriesJudged
    | ResumeBegan
    | ResumeEnded
    | RequestHeard
    | ClockConfirmed
    | RelayChecked
    | FilesDiffer
    | WatchKept
    | Audited
    | InputsKept
    | Checkpoint
    | WaterEvent
    | EnteredEvent
    | AlarmEvent
    | SafeguardEvent
    | StageEvent
)
