"""Models of what the daemon tells the world: state documents, events, echo.

Floor 6. One subject: the exact form of each outbound payload but commands.
Laws here: nothing the daemon publishes outside these forms leaves; none of it is a
permission for anybody.
"""

import json
from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field, StringConstraints, ValidationError

from slackwater.errors import Finding, InputError
from slackwater.facts.messages import Tell
from slackwater.outside.wire.models import (
    Count,
    DoseName,
    Finite,
    Identity,
    Instant,
    Payload,
    Token,
    Version,
)
from slackwater.outside.wire.strict import first_complaint
from slackwater.outside.wire.topics import Kind, Topic

Figure = bool | Annotated[int, Field(strict=True)] | Finite | str | None
Digest = Annotated[str, StringConstraints(pattern="^([0-9a-f]{64})?$")]
Text = Annotated[str, StringConstraints(max_length=500)]
Word = Annotated[str, StringConstraints(pattern="^[a-z0-9_-]{1,64}$")]


class ReasonDocument(Payload):
    """One reason: its code, the sentence for people, the figures behind it."""

    code: Word
    text: Text
    figures: dict[str, Figure] = Field(default_factory=dict)


class HoldDocument(Payload):
    """A hold in force; `pump` is empty when it stops the whole tank."""

    id: Text
    pump: Identity | Literal[""] = ""
    latched: bool
    reasons: list[ReasonDocument]


class NextDoseDocument(Payload):
    """The next dose of the tank."""

    dose: DoseName
    pump: Identity
    due_at: Instant
    ul: Count


class TotalsDocument(Payload):
    """What one pump is charged with: local day and any 24 h, against its cap."""

    day_ul: Count
    last_24_h_ul: Count
    per_day_ul: Count


class AlkalinityDocument(Payload):
    """The newest reading or test of two weeks, as it was, and who told it."""

    dkh: Finite
    at: Instant
    source: Text


class DayDocument(Payload):
    """Alkalinity of the last 24 h: what was planned, and what was given of it."""

    planned_dkh: Finite
    given_dkh: Finite


class PumpDocument(Payload):
    """One pump: given on the local day, what comes, and what its reservoir holds.

    `days_left` is how long the plan can draw, absent where it draws nothing.
    """

    day_ul: Count
    left_ul: Count
    held: bool
    running: bool
    next_at: Instant | None = None
    days_left: Finite | None = None


class StandingAlarmDocument(Payload):
    """The most pressing alarm of a tank, in short."""

    alarm: Token
    priority: Literal["urgent", "soon", "note"]
    text: Text
    action: Text


class StandingDocument(Payload):
    """Where one parameter stood when it was last assessed; unit as people use it."""

    word: Literal["low", "in-band", "high", "too-old", "unknown", "no-band"]
    value: Finite | None = None
    unit: Text
    at: Instant | None = None


class UptakeDocument(Payload):
    """What the tank takes up in a day, with its 90 % interval."""

    per_day: Finite
    low: Finite
    high: Finite
    unit: Text


class EnteredDocument(Payload):
    """The newest test of a parameter that was told from afar and waits on the machine.

    `id` is what `slackwater confirm` calls it; unit as people use it.
    """

    id: Text
    value: Finite
    unit: Text
    at: Instant


class TasksDocument(Payload):
    """What a person has to do: how many tasks, how many are due, and the next."""

    open: Count
    due: Count
    next: Text = ""
    due_on: Text = ""


class TankDocument(Payload):
    """`tank/…/state`: one tank as the daemon sees it; for display only.

    Units: `levels_ul` what is left in each reservoir; `hours_to_floor` if dosing
    stopped and `hours_to_ceiling` if uptake stopped, per parameter, absent when nothing
    can be said, from the target where nothing was measured for two weeks: `hours_from`.
    `groups` says where to look for what holds; `unseen` is the most
    pressing alarm that nobody acknowledged. `word` is `cut-off` while no pump of the
    tank can be commanded, and `why` says what keeps it. `top_off` is blocked while two
    pumps exchange water; absent where no pair does.
    """

    v: Version = 1
    at: Instant
    stage: Word
    word: Literal["live", "cut-off", "held", "shadow", "expired", "no-plan", ""] = ""
    why: Text = ""
    alkalinity: AlkalinityDocument | None = None
    plan_digest: Digest = ""
    holds: list[HoldDocument] = Field(default_factory=list)
    next_dose: NextDoseDocument | None = None
    totals: dict[Identity, TotalsDocument] = Field(default_factory=dict)
    levels_ul: dict[Identity, Count] = Field(default_factory=dict)
    hours_to_floor: dict[Word, Finite] = Field(default_factory=dict)
    hours_to_ceiling: dict[Word, Finite] = Field(default_factory=dict)
    hours_from: Literal["measured", "target", ""] = ""
    last_24_h: DayDocument | None = None
    pumps: dict[Identity, PumpDocument] = Field(default_factory=dict)
    groups: dict[Word, bool] = Field(default_factory=dict)
    problem: bool | None = None
    alarms: Count = 0
    alarm: StandingAlarmDocument | None = None
    unseen: Token | None = None
    standings: dict[Word, StandingDocument] = Field(default_factory=dict)
    uptakes: dict[Word, UptakeDocument] = Field(default_factory=dict)
    tasks: TasksDocument | None = None
    entered: dict[Word, EnteredDocument] = Field(default_factory=dict)
    top_off: Literal["blocked", "free"] | None = None


class AlarmDocument(Payload):
    """`daemon/alarm/CAUSE/ABOUT`: one alarm; an empty payload says that it is over.

    `hours_left` is the shorter time to floor or ceiling. `seen`: a person acknowledged
    it. `first_aid` is the topic of `slackwater first-aid` that helps, or empty.
    """

    v: Version = 1
    at: Instant
    alarm: Token
    cause: Word
    about: Identity
    state: Literal["active", "acknowledged", "suppressed", "returned"]
    seen: bool
    priority: Literal["urgent", "soon", "note"]
    text: Text
    action: Text
    first_aid: Word | Literal[""] = ""
    tanks: list[Identity] = Field(default_factory=list)
    since: Instant
    told: Instant
    ended: Instant | None = None
    hours_left: Finite | None = None
    reminder: Annotated[int, Field(ge=0, le=100)] = 0
    times: Count = 1
    until: Instant | None = None
    by: Text = ""
    note: Text = ""
    figures: dict[str, Figure] = Field(default_factory=dict)


class DaemonDocument(Payload):
    """`daemon/state`: here with version, mode and health, or `gone` (also the will).

    `health` is `degraded` while an alarm presses or a tank is cut off.
    """

    v: Version = 1
    state: Literal["here", "gone"]
    version: Text = ""
    mode: Literal["shadow", "live", "calibrate", ""] = ""
    health: Literal["fine", "held", "degraded", ""] = ""
    at: Instant | None = None


class EventDocument(Payload):
    """`tank/…/event`: one thing worth telling; `request` names what it answers."""

    v: Version = 1
    at: Instant
    event: Annotated[str, StringConstraints(pattern="^[a-z0-9_.-]{1,64}$")]
    figures: dict[str, Figure] = Field(default_factory=dict)
    request: Token | Literal[""] = ""


class EchoDocument(Payload):
    """`daemon/echo`: what the daemon sends to itself to prove its way in."""

    v: Version = 1
    nonce: Annotated[str, StringConstraints(pattern="^[0-9a-f]{32}$")]


# The will cannot carry a time: it is written before the connection exists.
GONE = b'{"v":1,"state":"gone"}'

_STATES: dict[Kind, type[Payload]] = {
    Kind.TANK_STATE: TankDocument,
    Kind.DAEMON_STATE: DaemonDocument,
    Kind.ALARM: AlarmDocument,
}


def state_bytes(topic: Topic, document: dict[str, object]) -> bytes:
    """The payload of one retained state document.

    Times are text as RFC 3339 writes it.
    Raises: InputError when the topic takes no state or the document does not fit.
    """
    model = _STATES.get(topic.kind)
    if model is None:
        raise _misfit(topic, "this topic takes no state document")
    try:
        text = json.dumps(document, allow_nan=False)
        checked = model.model_validate_json(text)
    except ValidationError as error:
        raise _misfit(topic, first_complaint(error)) from error
    except (TypeError, ValueError) as error:
        raise _misfit(topic, f"it is not JSON: {error}") from error
    return checked.model_dump_json(exclude_none=True).encode()


def event_bytes(topic: Topic, message: Tell, at: datetime) -> bytes:
    """The payload of one event message.

    Raises: InputError when a name or figure cannot stand on the wire.
    """
    document = {
        "v": 1,
        "at": at.isoformat(),
        "event": message.name,
        "figures": dict(message.figures),
        "request": message.request,
    }
    try:
        text = json.dumps(document, allow_nan=False)
        checked = EventDocument.model_validate_json(text)
    except ValidationError as error:
        raise _misfit(topic, first_complaint(error)) from error
    except (TypeError, ValueError) as error:
        raise _misfit(topic, f"it is not JSON: {error}") from error
    return checked.model_dump_json().encode()


def _misfit(topic: Topic, what: str) -> InputError:
    return InputError(
        Finding(
            what=what,
            where=str(topic),
            expected="a document as its schema says",
            do="Report this: the daemon made a document that nobody could read.",
        )
    )
