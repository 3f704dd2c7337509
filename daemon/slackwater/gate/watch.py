"""The shape of an interlock on inputs, and what its functions give.

Floor 3. One subject: records. Laws here: an interlock says what it looks at, whom it
stops or shortens, and how it ends; it never raises a dose.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from slackwater.facts.events import HoldRaised
from slackwater.facts.judgements import SeriesJudged
from slackwater.facts.messages import Reading
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


# What is new of the water: a reading, or a verdict on a series of them.
News = Reading | SeriesJudged
Refuses = Callable[[Moment, PumpRule, LineRule], Iterable[Reason]]
Looks = Callable[[Moment, str], Iterable[Seen]]
Hears = Callable[[Moment, News], Iterable[Seen]]
Clears = Callable[[Moment, str, HoldRaised], bool]
Doubts = Callable[[Moment, str], Iterable[Doubt]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Interlock:
    """One interlock.

    `name` is what a bypass and its holds are called; `about` what it says to people;
    `scope` the word of `gate.scopes` for the most that it reaches; `needs` the
    parameter or role that must be configured, empty for one that reads what people
    wrote down. One of `refuses` (stops while it lasts), `looks` (raises a hold at any
    moment), `hears` (raises one with news of the water) and `doubts` (shortens) is
    there. `clears` ends a hold, where news raised it with news alone; None leaves that
    to a person. `family` is a name under which a bypass reaches it and its like.
    `ends_runs`: what refuses also stops a dose that runs; what stands behind a pump was
    looked at when the run began.
    """

    name: str
    about: str
    scope: str
    needs: str = ""
    family: str = ""
    refuses: Refuses | None = None
    looks: Looks | None = None
    hears: Hears | None = None
    clears: Clears | None = None
    doubts: Doubts | None = None
    ends_runs: bool = True

    @property
    def lasting(self) -> Lasting:
        """How it ends."""
        if self.looks is None and self.hears is None:
            return "moment"
        return "latched" if self.clears is None else "held"

    @property
    def effect(self) -> Literal["stops", "shortens"]:
        """What it does to a dose."""
        return "stops" if self.doubts is None else "shortens"
