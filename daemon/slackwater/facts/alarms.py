"""Alarms: what a person must know, as ledger entries and as they stand.

Floor 2. One subject: the records of alarms. Laws here: one alarm for one root cause; an
alarm is named `cause.about`; nothing is silent for ever, a suppression has an end.
Units: `level_meq_per_l` estimated alkalinity by tank; times aware UTC.
Source of the states: after ANSI/ISA-18.2-2016 and IEC 62682:2022 (alarm states), from
memory; how they are stored is our own.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Literal

from slackwater.facts.now import Event
from slackwater.facts.reasons import Figure

Priority = Literal["urgent", "soon", "note"]
# From the most to the least pressing.
PRIORITIES: tuple[Priority, ...] = ("urgent", "soon", "note")
AlarmWord = Literal["active", "acknowledged", "suppressed", "returned"]
# Longer than a night and a day's work nobody may look away.
SUPPRESSED_AT_MOST = timedelta(hours=24)


class Cause(StrEnum):
    """Every root cause there is an alarm for; `alarms.rows` holds the table."""

    LINK_DOWN = "link-down"
    SECOND_DAEMON = "second-daemon"
    TAKEN_OVER = "connection-taken-over"
    CLOCK_UNPROVEN = "clock-unproven"
    CLOCK_JUMPED = "clock-jumped"
    CLOCK_BEHIND = "clock-behind-ledger"
    DISK_FULL = "ledger-disk-full"
    LEDGER_FAULT = "ledger-fault"
    LEDGER_DAMAGED = "ledger-damaged"
    LEDGER_FORGETS = "ledger-forgets"
    LEDGER_RESTORED = "ledger-restored"
    START_STORM = "start-storm"
    NO_PLAN = "no-plan"
    APPROVAL_EXPIRED = "approval-expired"
    APPROVAL_GRACE = "approval-grace"
    APPROVAL_ENDING = "approval-ending"
    FILES_DIFFER = "files-differ"
    NOT_AS_APPROVED = "not-as-approved"
    AUDIT_OVERDUE = "audit-overdue"
    EVERYTHING_HELD = "everything-held"
    NODE_ABSENT = "node-absent"
    NODE_IDENTITY = "node-identity"
    NODE_TWICE = "node-twice"
    NODE_IMPOSSIBLE = "node-impossible"
    NODE_HELD = "node-held"
    NODE_FAULT = "node-fault"
    NODE_BUDGET = "node-budget"
    RELAY_CHECK_ENDING = "relay-check-ending"
    RETAINED_COMMAND = "retained-command"
    OVERREACH = "overreach"
    OVER_DELIVERED = "over-delivered"
    SHORT_DELIVERED = "short-delivered"
    DOSES_UNSEEN = "doses-unseen"
    PUMP_CHANGED = "pump-changed"
    CALIBRATION_CHANGED = "calibration-changed"
    CALIBRATION_DUE = "calibration-due"
    TUBE_WORN = "tube-worn"
    PUMP_DRIFTS = "pump-drifts"
    PUMP_FAR_OFF = "pump-far-off"
    BOTTLE_LOST = "bottle-lost"
    PUMP_ANSWERS = "pump-answers"
    RESERVOIR_EMPTY = "reservoir-empty"
    RESERVOIR_LOW = "reservoir-low"
    PROBE_MISSING = "probe-missing"
    PROBE_STALE = "probe-stale"
    PROBE_FROZEN = "probe-frozen"
    PROBE_SPOILED = "probe-spoiled"
    INPUT_SPOILED = "input-spoiled"
    PROBES_CONTRADICT = "probes-contradict"
    ALKALINITY_CEILING = "alkalinity-ceiling"
    ALKALINITY_CLIMB = "alkalinity-climb"
    ALKALINITY_LOW = "alkalinity-low"
    ALKALINITY_FALL = "alkalinity-fall"
    ALKALINITY_SWING_UP = "alkalinity-swing-up"
    ALKALINITY_SWING_DOWN = "alkalinity-swing-down"
    ALKALINITY_DOSE_FAULT = "alkalinity-dose-fault"
    ALKALINITY_PROBE_FAULT = "alkalinity-probe-fault"
    UPTAKE_FELL = "uptake-fell"
    CONTAMINANT = "contaminant"
    MANUAL_HOLD = "manual-hold"
    PAUSED = "paused"
    HELD = "held"
    RESUMING = "resuming"
    MISSED_DOSES = "missed-doses"
    TASK_OVERDUE = "task-overdue"


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmRaised(Event):
    """Something a person must know, or be told again because it grew worse.

    `about` names the node, pump, reservoir, probe or tank, or is `all`; `tanks` are
    those concerned. `hours_left` is the shorter time to floor or ceiling, None when
    nothing can be said. `reminder` is the part of the way to the floor, in percent,
    that is behind since the alarm began; 0 the first time. `stops` are the lines,
    `TANK/LINE`, that did not dose because of it, none where it is about `all`; `share`
    is the part of the plan that came where doses were only shortened.
    """

    kind: Literal["alarm_raised"] = "alarm_raised"
    alarm: str
    cause: Cause
    about: str
    priority: Priority
    tanks: tuple[str, ...] = ()
    hours_left: float | None = None
    level_meq_per_l: Mapping[str, float] = field(default_factory=dict)
    figures: Mapping[str, Figure] = field(default_factory=dict)
    reminder: int = 0
    by: str = "daemon"
    stops: tuple[str, ...] = ()
    share: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmChanged(Event):
    """An alarm was acknowledged, suppressed until a time, taken up again, or ended."""

    kind: Literal["alarm_changed"] = "alarm_changed"
    alarm: str
    to: AlarmWord
    by: str = "daemon"
    note: str = ""
    until: datetime | None = None


@dataclass(slots=True, kw_only=True)
class StandingAlarm:
    """One alarm as it stands; `raised` is the newest time it was told.

    `first` is how it began this time. `is_seen`: a person acknowledged it, which a
    returned alarm also keeps. `times` counts how often it began within a day.
    `ended_at` is when its cause had gone.
    """

    first: AlarmRaised
    raised: AlarmRaised
    word: AlarmWord = "active"
    is_seen: bool = False
    times: int = 1
    until: datetime | None = None
    ended_at: datetime | None = None
    by: str = ""
    note: str = ""

    @property
    def is_standing(self) -> bool:
        """Whether its cause is still there."""
        return self.word != "returned"

    @property
    def wants_eyes(self) -> bool:
        """Whether nobody has acknowledged it yet, gone or not."""
        return not self.is_seen


AlarmEvent = AlarmRaised | AlarmChanged


def alarm_id(cause: Cause, about: str) -> str:
    """The name of an alarm, such as `node-absent.shelf`."""
    return f"{cause}.{about}"


def is_more_pressing(one: Priority, other: Priority) -> bool:
    """Whether the first priority stands above the second."""
    return PRIORITIES.index(one) < PRIORITIES.index(other)
