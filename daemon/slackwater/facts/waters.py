"""What people found out about the water and did to it, as ledger entries.

Floor 2. One subject: tests, samples, reports, additions by hand, water changes,
happenings and tasks. Laws here: nothing is corrected in place, a later entry supersedes
an earlier one by its id; every level is canonical and keeps the text that was typed;
`at` is when it was written down, the event's own time stands beside it.
Units: levels canonical (meq/L, mg/L, ug/L, mmol/L, 1, degC); amounts whole pico-units
for the whole tank; volumes whole microlitres.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Literal

from slackwater.facts.now import Event

Provenance = Literal["hand", "lab", "probe"]
# A bottle in the post is no longer the tank: what its water does to these on the way
# nobody knows, and a laboratory's phosphate counts all phosphorus (common practice).
OWN_TESTS_ONLY = frozenset({"alkalinity", "ph", "nitrate", "phosphate"})
# Tests of one parameter within this time are of one water (common practice).
ONE_WATER = timedelta(minutes=30)
What = Literal[
    "corals_added",
    "harvest",
    "treatment",
    "light",
    "salt_lot",
    "probe_serviced",
    "nothing_dosed",
    "other",
]
Remedy = Literal[
    "water_change",
    "adsorbent",
    "metal_resin",
    "activated_carbon",
    "find_corroding_part",
    "correct_salinity",
    "export_nutrients",
    "retest",
    "test_a_standard",
    "test_new_water",
    "other",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementKept(Event):
    """One value of one parameter, from a hand test or a laboratory.

    `censored`: nothing was seen, and `value` is the limit below which nothing can be.
    `sd` is a stated standard deviation; `replicates` values were averaged and `spread`
    is their largest difference. `supersedes` names the entry this one corrects.
    """

    kind: Literal["measurement_kept"] = "measurement_kept"
    id: str
    tank: str
    parameter: str
    value: float
    typed: str
    taken_at: datetime
    provenance: Provenance
    by: str
    method: str = ""
    lot: str = ""
    note: str = ""
    censored: bool = False
    sd: float | None = None
    replicates: int = 1
    spread: float | None = None
    sample: str = ""
    report: str = ""
    supersedes: str = ""
    confirmed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementStruck(Event):
    """A test, a hand addition or a kit's trial that should not be there, and why.

    It stays readable; what an addition was charged stays charged.
    """

    kind: Literal["measurement_struck"] = "measurement_struck"
    measurement: str
    by: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardChecked(Event):
    """A kit was tried on a reference standard; `found - expected` is its bias."""

    kind: Literal["standard_checked"] = "standard_checked"
    id: str
    parameter: str
    method: str
    lot: str
    expected: float
    found: float
    taken_at: datetime
    by: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleTaken(Event):
    """Water went into a bottle for a laboratory.

    `levels` are the newest known levels by parameter at that moment, `per_day_ul` the
    plan's volume a day by pump: what the tank was like when the sample was taken.
    """

    kind: Literal["sample_taken"] = "sample_taken"
    sample: str
    tank: str
    taken_at: datetime
    by: str
    note: str = ""
    levels: Mapping[str, float] = field(default_factory=dict)
    per_day_ul: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportImported(Event):
    """A laboratory's report came in; its values follow as measurements.

    `report` is the SHA-256 of its rows as they were understood, so that the same
    report is known again in whatever file it comes; `skipped` names columns or
    elements that were left out on purpose; `limits` the laboratory's quantification
    limits where it states them.
    """

    kind: Literal["report_imported"] = "report_imported"
    report: str
    tank: str
    sample: str
    file: str
    sampled_at: datetime
    values: int
    by: str
    laboratory: str = ""
    skipped: tuple[str, ...] = ()
    limits: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class AddedByHand(Event):
    """A person poured something in; it counts against the caps like a dose.

    `solution` is empty when an amount was stated without one; `local_day` is the
    tank's date at `given_at`, whose daily caps it counts against.
    """

    kind: Literal["added_by_hand"] = "added_by_hand"
    id: str
    tank: str
    given_at: datetime
    local_day: date
    by: str
    solution: str = ""
    volume_ul: int = 0
    effects: Mapping[str, int] = field(default_factory=dict)
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterChanged(Event):
    """Tank water was, or is about to be, exchanged for new water.

    `changed_at` may lie ahead: then it was announced. `levels` of the new water come
    from tests of its `batch`; `steps` are the predicted changes of the tank's levels.
    `topped_ul` is what the top-off counted while two pumps made it.
    """

    kind: Literal["water_changed"] = "water_changed"
    id: str
    tank: str
    changed_at: datetime
    volume_ul: int
    by: str
    batch: str = ""
    levels: Mapping[str, float] = field(default_factory=dict)
    steps: Mapping[str, float] = field(default_factory=dict)
    note: str = ""
    supersedes: str = ""
    topped_ul: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class HusbandryNoted(Event):
    """Something happened in the tank that explains what the water does next.

    `until` is when a treatment ends; None for what has no end.
    """

    kind: Literal["husbandry_noted"] = "husbandry_noted"
    id: str
    tank: str
    what: What
    happened_at: datetime
    by: str
    note: str = ""
    until: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskSet(Event):
    """Something a person must do that no pump can.

    `parameter` is empty when it concerns the whole water; one open task stands per
    tank, remedy and parameter.
    """

    kind: Literal["task_set"] = "task_set"
    task: str
    tank: str
    remedy: Remedy
    parameter: str
    text: str
    due_on: date
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskClosed(Event):
    """A task was done, or dropped because it no longer applies."""

    kind: Literal["task_closed"] = "task_closed"
    task: str
    how: Literal["done", "dropped"]
    by: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class DaySummed(Event):
    """One UTC day of one tank in figures, so that years read fast.

    `delivered` maps a parameter to 24 whole pico-unit sums of believed doses by the
    hour of their intents; `asked` to all that was asked of nodes, `unknown` to the part
    of it of which nobody could tell. `readings` maps a probe to (count, median, lowest,
    highest), canonical, `parameters` it to what it measures, `centres_s` it to the mean
    time of its readings in seconds after midnight.
    """

    kind: Literal["day_summed"] = "day_summed"
    tank: str
    day: date
    delivered: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    asked: Mapping[str, int] = field(default_factory=dict)
    unknown: Mapping[str, int] = field(default_factory=dict)
    parameters: Mapping[str, str] = field(default_factory=dict)
    readings: Mapping[str, tuple[int, float, float, float]] = field(
        default_factory=dict
    )
    centres_s: Mapping[str, int] = field(default_factory=dict)


WaterEvent = (
    MeasurementKept
    | MeasurementStruck
    | StandardChecked
    | SampleTaken
    | ReportImported
    | AddedByHand
    | WaterChanged
    | HusbandryNoted
    | TaskSet
    | TaskClosed
    | DaySummed
)
