"""What people and files say about stages: lower caps, half doses, lines taken over.

Floor 2. One subject: entries beside an approval. Laws here: none of them lets more
flow than was approved; what limits for a while says from when and for how long.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from slackwater.facts.now import Event

# Under its scope and this stands the half that runs until a newer one begins.
UNTIL_THEN = "/until-then"


@dataclass(frozen=True, slots=True, kw_only=True)
class CapsLowered(Event):
    """The file on disk holds caps below the approved ones; these count at once.

    Shape: every place where the file is lower, such as `pump/carbonate/per_day_ul`,
    with what counts; empty when it is lower nowhere any more. Units: as the place says.
    """

    kind: Literal["caps_lowered"] = "caps_lowered"
    caps: Mapping[str, int | float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class HalfBegan(Event):
    """From a moment on, doses of a scope are halved for so much proven time.

    `scope` is `all` or `pump/ID`.
    """

    kind: Literal["half_began"] = "half_began"
    scope: str
    from_at: datetime
    lasts_s: float
    why: str
    by: str

    def left_s(self, utc: datetime, proven_ms: int) -> float:
        """Proven seconds for which it still lasts; none before it begins."""
        if utc < self.from_at:
            return 0.0
        ahead_s = max((self.from_at - self.at).total_seconds(), 0.0)
        return self.lasts_s - ((proven_ms - self.proven_ms) / 1000 - ahead_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class LineTakenOver(Event):
    """A person switched a line of an old doser off: ours gives it from now on."""

    kind: Literal["line_taken_over"] = "line_taken_over"
    line: str
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LineGivenBack(Event):
    """A line is the old doser's again; nothing of ours is given from now on."""

    kind: Literal["line_given_back"] = "line_given_back"
    line: str
    by: str


StageEvent = CapsLowered | HalfBegan | LineTakenOver | LineGivenBack
