"""The shape of an interlock on inputs, and what its functions give.

Floor 3. One subject: records. Laws here: an interlock says what it looks at, whom it
stops or shortens, and how it ends; it never raises a dose.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from slackwater.facts.events import HoldRaised
from slackwater.facts.reasons import Reason
from slackwater.gate.moment import LineRule, Moment, PumpRule

# How it ends: at once with its cause; after good values over a time; by a person.
Lasting = Literal["moment", "held", "latched"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A cause that must hold doses: under which name, what it reaches, and why."""

    hold_id: str
    scope: str
    reason: Reason


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """Something unknown that shortens what its scope reaches, and for how long."""

    scope: str
    reason: Reason
    for_s: float = 0.0


Refuses = Callable[[Moment, PumpRule, LineRule], Iterable[Reason]]
Looks = Callable[[Moment, str], Iterable[Seen]]
Clears = Callable[[Moment, str, HoldRaised], bool]
Doubts = Callable[[Moment, str], Iterable[Doubt]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Interlock:
    """One interlock.

    `name` is what a bypass and its holds are called; `about` what it says to people;
    `needs` the parameter or role that must be configured, empty for one that reads
    what people wrote down. One of `refuses` (stops while it lasts), `looks` (raises a
    hold; `clears` ends it, None leaves that to a person) and `doubts` (shortens) is
    there. `ends_runs`: what refuses also stops a dose that runs; what stands behind a
    pump was looked at when the run began.
    """

    name: str
    about: str
    needs: str = ""
    refuses: Refuses | None = None
    looks: Looks | None = None
    clears: Clears | None = None
    doubts: Doubts | None = None
    ends_runs: bool = True

    @property
    def lasting(self) -> Lasting:
        """How it ends."""
        if self.looks is None:
            return "moment"
        return "latched" if self.clears is None else "held"

    @property
    def effect(self) -> Literal["stops", "shortens"]:
        """What it does to a dose."""
        return "stops" if self.doubts is None else "shortens"
