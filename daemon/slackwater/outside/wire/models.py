"""Models of what travels between daemon, nodes, probes and tools.

Floor 6. One subject: the exact form of each inbound payload and each command.
Laws here: every model is strict and refuses unknown fields, beats and results too: a
node that says more than version 1 knows speaks another version. Numbers are finite;
whole numbers fit the ledger's 64-bit integers; free text holds no control characters.
"""

import re
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Annotated, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    RootModel,
    StringConstraints,
    WithJsonSchema,
    model_validator,
)

from slackwater.facts.messages import ChannelPhase

# The largest whole number the ledger can keep (SQLite INTEGER, 64 bits signed).
COUNT_AT_MOST = 2**63 - 1
# One litre: no single run of a dosing head is larger (command contract of version 1).
RUN_AT_MOST_UL = 1_000_000
CHANNELS_AT_MOST = 16
DAY_MINUTES = 1440

# RFC 3339, section 5.6; fractions beyond microseconds are not told apart.
_RFC3339 = re.compile(
    r"\d{4}-\d{2}-\d{2}[Tt]\d{2}:\d{2}:\d{2}(\.\d{1,9})?([Zz]|[+-]\d{2}:\d{2})",
    re.ASCII,
)

# Not Literal[1]: that would let 1.0 pass for a whole number.
Version = Annotated[int, Field(ge=1, le=1, json_schema_extra={"const": 1})]
Identity = Annotated[str, StringConstraints(pattern="^[a-z0-9-]{1,32}$")]
Hex8 = Annotated[str, StringConstraints(pattern="^[0-9a-f]{8}$")]
Hex16 = Annotated[str, StringConstraints(pattern="^[0-9a-f]{16}$")]
Hex32 = Annotated[str, StringConstraints(pattern="^[0-9a-f]{32}$")]
Hex64 = Annotated[str, StringConstraints(pattern="^[0-9a-f]{64}$")]
Cal = Annotated[str, StringConstraints(pattern="^([0-9a-f]{8})?$")]
Count = Annotated[int, Field(ge=0, le=COUNT_AT_MOST)]
Hardware = Annotated[str, StringConstraints(pattern="^[!-~]{1,32}$")]
Token = Annotated[str, StringConstraints(pattern="^[A-Za-z0-9_.-]{1,64}$")]
DoseName = Annotated[str, StringConstraints(pattern="^[a-z0-9@#/_.-]{1,100}$")]
Note = Annotated[
    str, StringConstraints(max_length=200, pattern="^[^\\x00-\\x1f\\x7f-\\x9f]*$")
]
Unit = Annotated[
    str, StringConstraints(max_length=32, pattern="^[^\\x00-\\x1f\\x7f-\\x9f]*$")
]
Finite = Annotated[float, Field(allow_inf_nan=False)]
ParameterName = Annotated[str, StringConstraints(pattern="^[a-z0-9_-]{1,32}$")]

EndedWord = Literal["complete", "stopped", "cut", "fault"]
RefusedWord = Literal[
    "retained",
    "form",
    "auth",
    "boot",
    "fence",
    "number",
    "late",
    "busy",
    "held",
    "limit",
    "budget",
]


def _instant(text: object) -> datetime:
    if not isinstance(text, str) or not _RFC3339.fullmatch(text):
        message = "not a time with a zone as RFC 3339 writes it"
        raise ValueError(message)
    try:
        return datetime.fromisoformat(text.upper()).astimezone(UTC)
    except OverflowError as error:
        message = "the time lies outside the calendar"
        raise ValueError(message) from error


Instant = Annotated[
    datetime,
    BeforeValidator(_instant),
    WithJsonSchema({"type": "string", "format": "date-time"}),
]


class Payload(BaseModel):
    """What all payloads share: strict, frozen, nothing unknown."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class RunCommand(Payload):
    """`run`: the fields in the order the wire shows them."""

    v: Version = 1
    act: Literal["run"] = "run"
    id: Hex32
    chan: Identity
    boot: Hex16
    n: Count
    fence: Count
    ul: Annotated[int, Field(ge=1, le=RUN_AT_MOST_UL)]
    ms: Annotated[int, Field(ge=1, le=COUNT_AT_MOST)]
    cut_ms: Annotated[int, Field(ge=1, le=COUNT_AT_MOST)]
    until_up: Count
    cal: Hex8
    mac: Hex64 | None = None

    @model_validator(mode="after")
    def _cut_covers_the_run(self) -> "RunCommand":
        if self.cut_ms < self.ms:
            message = "cut_ms is below ms"
            raise ValueError(message)
        return self


class StopCommand(Payload):
    """`stop`: without `chan` it means every channel."""

    v: Version = 1
    act: Literal["stop"] = "stop"
    id: Hex32
    chan: Identity | None = None
    mac: Hex64 | None = None


class IdentifyCommand(Payload):
    """`identify`: blink, click or show; moves no liquid."""

    v: Version = 1
    act: Literal["identify"] = "identify"
    id: Hex32
    chan: Identity | None = None
    mac: Hex64 | None = None


Command = RunCommand | StopCommand | IdentifyCommand


class AnyCommand(RootModel[Annotated[Command, Field(discriminator="act")]]):
    """One of the three commands, told apart by `act`."""

    model_config = ConfigDict(strict=True, frozen=True)


class LastPayload(Payload):
    """The last ended run of a channel."""

    id: Hex32
    ul: Count
    ran_ms: Count
    reason: EndedWord
    cal: Hex8


class ChannelPayload(Payload):
    """One pump head in a beat; `n` is the number it expects next."""

    n: Count
    state: ChannelPhase
    odo_ul: Count
    odo_ms: Count
    budget_ul: Count
    last: LastPayload | None = None


class BeatPayload(Payload):
    """A node's sign of life."""

    v: Version
    boot: Hex16
    up: Count
    seq: Count
    hold: bool
    fence: Count
    hw: Hardware
    cfg: Hex8
    chan: Annotated[
        dict[Identity, ChannelPayload],
        Field(min_length=1, max_length=CHANNELS_AT_MOST),
    ]
    mac: Hex64 | None = None


class ResultPayload(Payload):
    """What a node says about one command; the reason fits the phase."""

    v: Version
    id: Hex32
    boot: Hex16
    chan: Identity
    n: Count
    phase: Literal["taken", "running", "ended", "refused"]
    ran_ms: Count
    ul: Count
    reason: EndedWord | RefusedWord | Literal[""]
    cal: Cal
    up: Count
    mac: Hex64 | None = None

    @model_validator(mode="after")
    def _reason_fits_the_phase(self) -> "ResultPayload":
        ended = self.reason in {"complete", "stopped", "cut", "fault"}
        fits = {
            "taken": not self.reason,
            "running": not self.reason,
            "ended": ended,
            "refused": bool(self.reason) and not ended,
        }
        if not fits[self.phase]:
            message = "the reason does not fit the phase"
            raise ValueError(message)
        if self.phase != "refused" and not self.cal:
            message = "cal is empty though a run began"
            raise ValueError(message)
        return self


class HoldPayload(Payload):
    """A hold at the node; its presence on the topic is what counts."""

    v: Version
    by: Note
    note: Note = ""


class ReadingPayload(Payload):
    """One probe value in the probe's own unit."""

    parameter: ParameterName
    value: Finite
    unit: Unit
    at: Instant


class InputPayload(Payload):
    """One switch."""

    state: Literal["on", "off"]


_NEEDED: Mapping[str, frozenset[str]] = {
    "pause": frozenset({"minutes"}),
    "skip": frozenset({"dose"}),
    "withdraw": frozenset({"serial"}),
    "ack": frozenset({"alarm"}),
    "test": frozenset({"parameter", "value", "unit"}),
}


class RequestPayload(Payload):
    """What may be asked from afar; each act has exactly the fields it needs.

    `test` tells the value of a hand test, which is not confirmed until a person on the
    machine says so: it may stop doses, and never release, raise or renew anything.
    """

    v: Version
    id: Token | None = None
    act: Literal["hold", "pause", "skip", "stop", "withdraw", "ack", "report", "test"]
    minutes: Annotated[int, Field(ge=1, le=DAY_MINUTES)] | None = None
    dose: DoseName | None = None
    serial: Annotated[int, Field(ge=1, le=COUNT_AT_MOST)] | None = None
    alarm: Token | None = None
    parameter: ParameterName | None = None
    value: Finite | None = None
    unit: Unit | None = None
    scope: Literal["tank"] = "tank"
    note: Note = ""

    @model_validator(mode="after")
    def _fields_fit_the_act(self) -> "RequestPayload":
        needed = _NEEDED.get(self.act, frozenset())
        given = {
            name
            for name in frozenset().union(*_NEEDED.values())
            if getattr(self, name) is not None
        }
        if given != needed:
            words = ", ".join(sorted(needed)) or "none of the special fields"
            message = f"{self.act} takes {words}"
            raise ValueError(message)
        return self
