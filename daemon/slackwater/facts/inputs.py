"""The entry of what a decision saw, kept beside it.

Floor 2. One subject: the record. Laws here: what is in the ledger anyway is not kept
again; of readings only those since the last such entry.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from slackwater.facts.messages import ChannelPhase
from slackwater.facts.now import Event


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeInput:
    """The newest beat of a node; `channels` map to number, phase, odometer, budget.

    Units: `up` milliseconds, `heard_s` and `first_s` boot-time seconds, microlitres.
    """

    boot: str
    up: int
    fence: int
    hw: str
    cfg: str
    hold: bool
    heard_s: float
    first_s: float
    beats: int
    channels: Mapping[str, tuple[int, ChannelPhase, int, int]]


@dataclass(frozen=True, slots=True, kw_only=True)
class InputsKept(Event):
    """What the decisions that follow in the same breath rest on, besides the ledger.

    `readings` are those of each probe since the last such entry of this start, as
    microseconds before `at` and value; `switches` map to on, since and heard
    (boot-time seconds); `top_offs` are today's microlitres by counter, `totals` what
    it shows in all, which exchanges of water are reckoned from.
    """

    kind: Literal["inputs_kept"] = "inputs_kept"
    synchronised: bool
    observe_up: bool
    actuate_up: bool
    scanned_until: datetime | None = None
    free_bytes: int | None = None
    nodes: Mapping[str, NodeInput] = field(default_factory=dict)
    readings: Mapping[str, tuple[tuple[int, float], ...]] = field(default_factory=dict)
    flawed: Mapping[str, str] = field(default_factory=dict)
    switches: Mapping[str, tuple[bool, float, float]] = field(default_factory=dict)
    top_offs: Mapping[str, int] = field(default_factory=dict)
    totals: Mapping[str, int] = field(default_factory=dict)
