"""One tank's past, as assessments read it.

Floor 2. One subject: what was measured, delivered, exchanged and noted, in the order of
its own time. Laws here: superseded and struck measurements are left out, everything
else is there; what was delivered is believed, not planned; nothing here decides.
Units: as in `facts.waters`; `amounts` whole pico-units for the whole tank.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import TypeAlias

from slackwater.facts.entered import LevelEntered
from slackwater.facts.waters import (
    HusbandryNoted,
    MeasurementKept,
    ReportImported,
    SampleTaken,
    StandardChecked,
    TaskSet,
    WaterChanged,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """What doses brought within one hour that began at `at`, or a hand at that moment.

    `at_once`: all of it came at `at`, and nothing was spread over the hour.
    """

    at: datetime
    amounts: Mapping[str, int]
    at_once: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeDay:
    """The readings of one probe on the UTC day that begins at `at`, canonical.

    `centre` is the mean time of them: a probe that began in the evening speaks for it.
    """

    probe: str
    parameter: str
    at: datetime
    count: int
    median: float
    lowest: float
    highest: float
    centre: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A stretch in which the daemon did not record what pumps did."""

    begins: datetime
    ends: datetime


# From when to when; None: it lasts.
Span: TypeAlias = tuple[datetime, datetime | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """The past of one tank from `since` to `until`, each part sorted by its time.

    `unknown_share` maps a parameter to the part of all that was asked of nodes whose
    delivery nobody knows (sealed or lost doses), 0 to 1. `standards` are all there are
    up to `until`: a kit's bias does not end with the stretch; `tasks` those still open.
    Before `known_since` nobody recorded what came in; None: it is known from ever.
    `entered` are tests from afar that nobody confirmed yet; no measurement counts them.
    `taken_over` says in which stretches a line, `TANK/LINE`, was given in the place of
    an old doser that gave nothing meanwhile; the end of one that lasts is None.
    `renewed` is when each pump was measured last, or had its tube swapped.
    """

    tank: str
    since: datetime
    until: datetime
    measurements: tuple[MeasurementKept, ...] = ()
    standards: tuple[StandardChecked, ...] = ()
    samples: tuple[SampleTaken, ...] = ()
    reports: tuple[ReportImported, ...] = ()
    deliveries: tuple[Delivery, ...] = ()
    changes: tuple[WaterChanged, ...] = ()
    happenings: tuple[HusbandryNoted, ...] = ()
    probe_days: tuple[ProbeDay, ...] = ()
    gaps: tuple[Gap, ...] = ()
    tasks: tuple[TaskSet, ...] = ()
    unknown_share: Mapping[str, float] = field(default_factory=dict)
    known_since: datetime | None = None
    taken_over: Mapping[str, tuple[Span, ...]] = field(default_factory=dict)
    entered: tuple[LevelEntered, ...] = ()
    renewed: Mapping[str, datetime] = field(default_factory=dict)
