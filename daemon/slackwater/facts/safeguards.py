"""What people say about the guards themselves: bypass, out of service, away, refilled.

Floor 2. One subject: entries that change what interlocks look at. Laws here: whatever
weakens a guard has an end, a reason and a name behind it; it is said on the machine;
nothing here catches anything up.
Units: volumes whole microlitres.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal

from slackwater.facts.now import Event, Now


@dataclass(frozen=True, slots=True, kw_only=True)
class BypassGranted(Event):
    """One interlock is left aside for a scope until a time; caps never are.

    `scope` is `all`, `tank/ID` or `pump/ID`.
    """

    kind: Literal["bypass_granted"] = "bypass_granted"
    interlock: str
    scope: str
    until: datetime
    why: str
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BypassEnded(Event):
    """An interlock counts again, because its time passed or a person said so."""

    kind: Literal["bypass_ended"] = "bypass_ended"
    interlock: str
    by: str
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeTakenOut(Event):
    """A probe is out of service until a time: hand tests stand in for it."""

    kind: Literal["probe_taken_out"] = "probe_taken_out"
    probe: str
    until: datetime
    by: str
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbePutBack(Event):
    """A probe counts again, because its time passed or a person said so."""

    kind: Literal["probe_put_back"] = "probe_put_back"
    probe: str
    by: str
    why: str = ""


def is_over(aside: BypassGranted | ProbeTakenOut, now: Now, now_ms: int) -> bool:
    """Whether the end has come by the wall clock, or its whole time by another.

    A clock that was put back prolongs nothing, whoever says that it is right now: so
    much proven time has passed, or the machine has been up for so long since.
    """
    if now.utc >= aside.until:
        return True
    lasts_s = (aside.until - aside.at).total_seconds()
    passed_s = max((now_ms - aside.proven_ms) / 1000, now.boot_s - aside.boot_s)
    return passed_s >= lasts_s


@dataclass(frozen=True, slots=True, kw_only=True)
class AwayDeclared(Event):
    """Nobody tests from one time to another; corrections are frozen until `back`.

    `unmet` names what spoke against going when it was declared all the same.
    """

    kind: Literal["away_declared"] = "away_declared"
    from_at: datetime
    until: datetime
    by: str
    contact: str = ""
    unmet: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class AwayEnded(Event):
    """Somebody is back, or the absence was called off."""

    kind: Literal["away_ended"] = "away_ended"
    by: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReservoirFilled(Event):
    """A reservoir holds this much now; from here on what is drawn counts down.

    `mixed_at` is when its solution was made or its container opened: it keeps for a
    time from then on. `lot` names the batch, empty where nobody said; `levels` are what
    tests of new water showed, canonical.
    """

    kind: Literal["reservoir_filled"] = "reservoir_filled"
    reservoir: str
    content_ul: int
    mixed_at: datetime
    by: str
    note: str = ""
    lot: str = ""
    levels: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelMeasured(Event):
    """Somebody read how much a reservoir holds, give or take `within_ul`.

    `pumps` are those that draw from it by the machine in force.
    """

    kind: Literal["level_measured"] = "level_measured"
    reservoir: str
    volume_ul: int
    within_ul: int
    measured_at: datetime
    pumps: tuple[str, ...]
    by: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeSwapped(Event):
    """A pump has a new tube: its hours begin anew, and its rate is not measured."""

    kind: Literal["tube_swapped"] = "tube_swapped"
    pump: str
    by: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BottleMoved(Event):
    """A reservoir stands elsewhere, or its lines were taken out and put back."""

    kind: Literal["bottle_moved"] = "bottle_moved"
    reservoir: str
    pumps: tuple[str, ...]
    by: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TopOffSummed(Event):
    """What a top-off counter counted on one whole UTC day."""

    kind: Literal["top_off_summed"] = "top_off_summed"
    tank: str
    switch: str
    day: date
    volume_ul: int


SafeguardEvent = (
    BypassGranted
    | BypassEnded
    | ProbeTakenOut
    | ProbePutBack
    | AwayDeclared
    | AwayEnded
    | ReservoirFilled
    | LevelMeasured
    | TubeSwapped
    | BottleMoved
    | TopOffSummed
)
