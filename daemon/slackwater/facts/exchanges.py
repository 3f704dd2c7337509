"""Two pumps, one exchange: old water out, as much new water in.

Floor 2. One subject: a pair of pumps and what is known of the water it moved. Laws
here: water goes out first and comes in after it; a dose of the pair is found by its
identity alone; nothing in this file knows the time.
Units: volumes in microlitres, shares in parts per million of the net water.
"""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

Role = Literal["drain", "fill"]
# What the tank may be off by an exchange, all in all, whatever happens next.
MOST_OFF_PPM = 2_000
# One drain may stay without its fill: a portion is half of that at most.
MOST_PORTION_PPM = 1_000
MILLION = 1_000_000
# The lines of an exchange are named after it.
OUT, IN = "-out", "-in"
# What the new water must have been tested for before any of it is given.
NEEDED = "salinity"

# at rest · water goes out · it is owed · it comes in · nobody knows
Phase = Literal["rest", "draining", "owed", "filling", "unknown"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Exchange:
    """A pump that drains a tank and one that fills it, for nothing but that.

    The reservoir of `drain` is the room in its waste container, that of `fill` the new
    water. Units: `settle_s` from the last drop out to the first drop in.
    """

    id: str
    tank: str
    drain: str
    fill: str
    settle_s: float


@dataclass(slots=True, kw_only=True)
class Side:
    """What one pump of a pair moved since its account was opened.

    `moved_ul` is believed; of it `unproven_ul` since its container was measured last.
    `off_ul` is what measured levels showed beyond what was believed, give or take
    `within_ul`.
    """

    pump: str = ""
    moved_ul: int = 0
    unproven_ul: int = 0
    off_ul: int = 0
    within_ul: int = 0


@dataclass(slots=True, kw_only=True)
class Account:
    """Where a pair stands: the dose that is under way, and all it moved.

    `dose` is the newest drain, `owed_ul` what it took, `latest_at` its latest start.
    `counted_ul` is what the tank's top-off had counted when it began, `topped_ul` what
    was counted while exchanges ran. `unbooked_ul` came in by `unbooked` and is no
    water change yet. Levels from before `opened_at` prove nothing.
    """

    drain: Side = field(default_factory=Side)
    fill: Side = field(default_factory=Side)
    phase: Phase = "rest"
    dose: str = ""
    owed_ul: int = 0
    latest_at: datetime | None = None
    counted_ul: int = -1
    topped_ul: int = 0
    unbooked: str = ""
    unbooked_ul: int = 0
    unbooked_at: datetime | None = None
    opened_at: datetime | None = None

    def side(self, role: str) -> Side:
        """The side of a role."""
        return self.drain if role == "drain" else self.fill


def fill_of(dose_id: str) -> str:
    """The fill that belongs to a drain."""
    return dose_id.replace(f"{OUT}@", f"{IN}@")


def drain_of(dose_id: str) -> str:
    """The drain that belongs to a fill."""
    return dose_id.replace(f"{IN}@", f"{OUT}@")


def most_off_ul(net_ul: int) -> int:
    """What a tank may be off all in all, rounded down."""
    return net_ul * MOST_OFF_PPM // MILLION


def most_portion_ul(net_ul: int) -> int:
    """The largest portion of an exchange, rounded down."""
    return net_ul * MOST_PORTION_PPM // MILLION
