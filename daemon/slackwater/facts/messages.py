"""What arrives from the world, already checked at the rim.

Floor 2. One subject: inbound facts that are not ledger entries.
Laws here: nothing in a message can make dosing less safe; identities and numbers
were validated by `outside.wire`. Values of readings are in canonical units.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

Phase = Literal["taken", "running", "ended", "refused"]
ChannelPhase = Literal["starting", "idle", "running", "held", "fault"]
Act = Literal["hold", "pause", "skip", "stop", "withdraw", "ack", "report", "test"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LastRun:
    """The last ended run a channel remembers."""

    id: str
    ul: int
    ran_ms: int
    reason: str
    cal: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One pump head as a beat shows it; `n` is the number it expects next."""

    n: int
    state: ChannelPhase
    odo_ul: int
    odo_ms: int
    budget_ul: int
    last: LastRun | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Beat:
    """A node's sign of life; `heard_boot_s` is our boot-time clock at receipt."""

    node: str
    boot: str
    up: int
    seq: int
    hold: bool
    fence: int
    hw: str
    cfg: str
    channels: Mapping[str, Channel]
    heard_boot_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """What a node says about one command."""

    node: str
    id: str
    boot: str
    channel: str
    n: int
    phase: Phase
    ran_ms: int
    ul: int
    reason: str
    cal: str
    up: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One probe value in the parameter's canonical unit, with its own time."""

    tank: str
    probe: str
    parameter: str
    value: float
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class SpoiledReading:
    """A reading that was refused at the rim: the probe counts as faulty."""

    tank: str
    probe: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchSeen:
    """What a switch shows; `heard_boot_s` is our boot-time clock at receipt."""

    tank: str
    switch: str
    is_on: bool
    heard_boot_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CounterSeen:
    """A counter's running total in whole microlitres, with the time of its receipt."""

    tank: str
    switch: str
    total_ul: int
    at: datetime
    heard_boot_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SpoiledSwitch:
    """A switch or counter said something that was refused at the rim."""

    tank: str
    switch: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """Something a person or a tool asks from afar; it can only make it safer.

    `parameter`, `level` (canonical) and `typed` belong to the act `test`.
    """

    tank: str
    id: str
    act: Act
    minutes: int = 0
    dose: str = ""
    serial: int = 0
    alarm: str = ""
    note: str = ""
    parameter: str = ""
    level: float = 0.0
    typed: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Overreach:
    """Something was asked from afar that only a person on the machine may do."""

    tank: str
    act: str
    heard_boot_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkChanged:
    """The broker connection came up, went down, or was taken over."""

    link: Literal["observe", "actuate"]
    up: bool
    taken_over: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Handed:
    """The client library gave a command's bytes away; proves nothing more."""

    attempt: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RetainedCommand:
    """A retained message was found on a node's command topic."""

    node: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RelaySeen:
    """What a timed relay told of itself; `heard_boot_s` is our clock at receipt."""

    node: str
    is_on: bool
    heard_boot_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RelayTrouble:
    """A relay is not what it was told to be; `attempt` is the pulse it is about."""

    node: str
    attempt: str
    said: str


Message = (
    Beat
    | Result
    | Reading
    | SpoiledReading
    | SwitchSeen
    | CounterSeen
    | SpoiledSwitch
    | Request
    | Overreach
    | LinkChanged
    | Handed
    | RetainedCommand
    | RelaySeen
    | RelayTrouble
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RunPump:
    """A `run` command, field by field as the node reads it."""

    node: str
    channel: str
    attempt: str
    boot: str
    n: int
    fence: int
    ul: int
    ms: int
    cut_ms: int
    until_up: int
    cal: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StopPump:
    """A `stop` command; an empty channel means every channel of the node."""

    node: str
    channel: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tell:
    """Something worth telling people: an event message on the tank's topic."""

    tank: str
    name: str
    figures: Mapping[str, str | int | float | bool | None] = field(default_factory=dict)
    request: str = ""


Effect = RunPump | StopPump | Tell
