"""Tests that were told from afar, as ledger entries: heard, and not yet believed.

Floor 2. One subject: unconfirmed tests. Laws here: what was told from afar is no
measurement; only a person on the machine makes one of it, or refuses it; its time is
that of its arrival, for a time told from afar could lie.
Units: levels canonical.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from slackwater.facts.now import Event


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelEntered(Event):
    """A test somebody entered from afar; `typed` as it was entered, with its unit."""

    kind: Literal["level_entered"] = "level_entered"
    id: str
    tank: str
    parameter: str
    value: float
    typed: str
    taken_at: datetime
    request: str
    note: str = ""
    by: str = "request"


@dataclass(frozen=True, slots=True, kw_only=True)
class EntrySettled(Event):
    """A person on the machine confirmed or refused what was entered from afar.

    `measurement` is the test that it became, empty when it was refused.
    """

    kind: Literal["entry_settled"] = "entry_settled"
    entry: str
    how: Literal["confirmed", "refused"]
    by: str
    why: str = ""
    measurement: str = ""


EnteredEvent = LevelEntered | EntrySettled
