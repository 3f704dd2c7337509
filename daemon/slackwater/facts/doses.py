"""What happens to one dose, in the past tense.

Floor 2. One subject: the life of a dose as ledger entries, from held or missed over
intended to ended, voided or sealed. Laws here: the intent carries all that a later
entry needs, so that the others name only the attempt.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from hashlib import sha256
from typing import Literal

from slackwater.facts.messages import RunPump
from slackwater.facts.now import Event
from slackwater.facts.plan import DueDose, Kind
from slackwater.facts.reasons import Reason

EndedHow = Literal["full", "short", "over", "stopped", "cut", "fault", "lost"]


def attempt_id(ledger_id: str, dose_id: str) -> str:
    """The 32 hex of the one attempt a dose ever gets."""
    return sha256(f"{ledger_id}\n{dose_id}".encode()).digest()[:16].hex()


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseHeld(Event):
    """A due dose was refused for the first time; it waits until its latest start.

    What a person asked for is told again when nothing of the old reasons is left.
    """

    kind: Literal["dose_held"] = "dose_held"
    dose_id: str
    pump: str
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseMissed(Event):
    """A dose will not be given and is not made up."""

    kind: Literal["dose_missed"] = "dose_missed"
    dose: DueDose
    reasons: tuple[Reason, ...]
    effects: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class RequestTakenBack(Event):
    """A person on the machine took back what was asked for and still waited."""

    kind: Literal["request_taken_back"] = "request_taken_back"
    request: str
    pump: str
    volume_ul: int
    by: str
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SpanMissed(Event):
    """All doses of one line over a long absence, in one entry."""

    kind: Literal["span_missed"] = "span_missed"
    tank: str
    line: str
    first_due: datetime
    last_due: datetime
    doses: int
    volume_ul: int
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseIntended(Event):
    """A dose is about to be commanded; from here on it is charged in full.

    `planned_ul` what the plan asked, `command.ul` what is asked of the node;
    `effects` what the asked volume adds; `in_water` False for a calibration run
    into a cylinder; `local_day` the tank's date at this moment; `flow_end_ms` the
    proven time at which the last drop can have flowed; `exchange` reads `PAIR/drain` or
    `PAIR/fill` for a half of an exchange, and `counted_ul` is what the tank's top-off
    had counted by then, below 0 where nothing counts it.
    """

    kind: Literal["dose_intended"] = "dose_intended"
    dose: DueDose
    dose_kind: Kind
    command: RunPump
    planned_ul: int
    solution: str
    local_day: date
    odo_ul: int
    flow_end_ms: int
    verdict: Literal["granted", "shortened"] = "granted"
    reasons: tuple[Reason, ...] = ()
    effects: Mapping[str, int] = field(default_factory=dict)
    planned_effects: Mapping[str, int] = field(default_factory=dict)
    in_water: bool = True
    serial: int = 0
    exchange: str = ""
    counted_ul: int = -1


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseHanded(Event):
    """The client gave the bytes away, or may have (`certain` False)."""

    kind: Literal["dose_handed"] = "dose_handed"
    attempt: str
    certain: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseTaken(Event):
    """The node accepted the command."""

    kind: Literal["dose_taken"] = "dose_taken"
    attempt: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseEnded(Event):
    """The run ended; `believed_ul` is the best estimate of what flowed.

    `charge_ul` is the larger of asked and reported; `source` says who knew.
    """

    kind: Literal["dose_ended"] = "dose_ended"
    attempt: str
    how: EndedHow
    believed_ul: int
    charge_ul: int
    source: Literal["reported", "odometer", "asked"]
    ran_ms: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseRefusedByNode(Event):
    """The node said no; that alone proves nothing, the charge stays."""

    kind: Literal["dose_refused_by_node"] = "dose_refused_by_node"
    attempt: str
    word: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseVoided(Event):
    """Proven never executed: the charge is given back, the dose is missed."""

    kind: Literal["dose_voided"] = "dose_voided"
    attempt: str
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseSealed(Event):
    """Nobody can tell any more: closed as charged in full, never sent again."""

    kind: Literal["dose_sealed"] = "dose_sealed"
    attempt: str
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeRaised(Event):
    """A late report showed more than was charged; a charge never falls."""

    kind: Literal["charge_raised"] = "charge_raised"
    attempt: str
    pump: str
    charge_ul: int
