"""Plans, what makes up one, and the doses that follow from it.

Floor 2. One subject: what a keeper asked for and what it means in doses.
Laws here: a dose identity is unique for ever; amounts are whole microlitres; local
times are wall times of the tank's zone and become UTC only in
`planning.timetable`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Literal

Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
Purpose = Literal["maintenance", "correction"]
# A dose of the plan, a run into a cylinder, one that fills or rinses a hose out of the
# water, and a dose that a person asked for by hand.
Kind = Literal["plan", "calibrate", "prime", "manual"]
OUT_OF_WATER = frozenset[Kind]({"calibrate", "prime"})
# The smallest step of a time.
INSTANT = timedelta(microseconds=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A stretch of the local day in minutes since midnight, 0 <= start < end <= 1440.

    A window over midnight in the plan file arrives here as two windows.
    """

    start_minute: int
    end_minute: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanLine:
    """One dose line.

    `per_day_ul` is the exact total of a dosing day. Either `count` doses are laid
    evenly over `windows`, or one dose is given at each of `times_minute` (minutes
    since local midnight). `weekdays` empty means every `every_days` days from the
    plan's start. `first_day` and `last_day` are inclusive local dates.
    """

    id: str
    tank: str
    solution: str
    pump: str
    per_day_ul: int
    count: int
    windows: tuple[Window, ...] = ()
    times_minute: tuple[int, ...] = ()
    every_days: int = 1
    weekdays: tuple[Weekday, ...] = ()
    first_day: date | None = None
    last_day: date | None = None
    group: str = ""
    purpose: Purpose = "maintenance"
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Lines in a fixed ratio that scale, hold and resume together."""

    id: str
    ratio: Mapping[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Dose lines in file order; `starts` anchors every-N-days counting."""

    name: str
    starts: date
    lines: tuple[PlanLine, ...]
    groups: Mapping[str, Group] = field(default_factory=dict)

    @property
    def names(self) -> frozenset[str]:
        """Its lines as `TANK/LINE`."""
        return frozenset(f"{line.tank}/{line.id}" for line in self.lines)


@dataclass(frozen=True, slots=True, kw_only=True)
class DueDose:
    """One delivery that a plan asks for, in UTC.

    `id` reads `tank/line@local-date#ordinal`; it may begin from `due_at` to
    `latest_at`, both inclusive.
    """

    id: str
    line: str
    tank: str
    pump: str
    local_day: date
    ordinal: int
    due_at: datetime
    latest_at: datetime
    volume_ul: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """The doses of one local day of one zone, sorted by due time.

    `left_out` names what the calendar took away (explicit times that do not exist).
    """

    local_day: date
    doses: tuple[DueDose, ...]
    left_out: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Approval:
    """A person's consent to exactly one digest, as it stands in the ledger.

    Units: `highest_daily_ul` microlitres, the largest sum over all pumps of one tank
    in one local day; `calibrations` maps a pump to the 8 hex of the calibration it
    was approved with; `hardware` maps a node to (`hw`, `cfg`) as then heard.
    Corrections end at `expires_at`; maintenance goes on until `grace_until`, None for
    no longer.
    """

    serial: int
    digest: str
    takes_over_at: datetime
    expires_at: datetime
    by: str
    highest_daily_ul: int
    calibrations: Mapping[str, str] = field(default_factory=dict)
    hardware: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    left_out_until: datetime | None = None
    grace_until: datetime | None = None

    @property
    def doses_after(self) -> datetime:
        """Of what is due after this instant nothing is left out for the swap."""
        return (
            max(self.takes_over_at, self.left_out_until or self.takes_over_at) - INSTANT
        )

    @property
    def ends_at(self) -> datetime:
        """From here on nothing at all is dosed by it."""
        grace = self.grace_until
        return self.expires_at if grace is None else max(self.expires_at, grace)
