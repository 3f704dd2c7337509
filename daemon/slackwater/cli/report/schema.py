"""The schema of the document, made from models.

Floor 8. One subject: what other programs may rely on. Laws here: the schema is never
written by hand; every key of the document stands in it, and no other is allowed.
"""

import json
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

DIALECT = "https://json-schema.org/draft/2020-12/schema"

Utc = Annotated[str, Field(description="RFC 3339, UTC")]
Day = Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\d$", description="local date")]
Microlitres = Annotated[int, Field(ge=0, description="whole microlitres")]
Decimal = Annotated[str, Field(pattern=r"^-?\d+(\.\d+)?$")]


class _Row(BaseModel):
    """An object with exactly these keys."""

    model_config = ConfigDict(extra="forbid")


class Finding(_Row):
    """One thing for which the plan is refused."""

    what: str
    where: str
    expected: str
    do: str


class Reason(_Row):
    """Why a dose would be less than planned, or missed."""

    code: str
    text: str
    figures: dict[str, str | int | float | bool | None]


class SummaryItem(_Row):
    """One thing the first screen says, as every face prints it."""

    key: str
    title: str
    lines: list[str]
    grave: bool


class Dose(_Row):
    """One dose; `volume_ul` 0 means missed."""

    id: str
    line: str
    pump: str
    solution: str
    due: Utc
    latest: Utc
    local: str
    weekday: str
    planned_ul: Microlitres
    volume_ul: Microlitres
    verdict: Literal["granted", "shortened", "missed"]
    reasons: list[Reason]
    run_ms: int
    cut_ms: int
    last_24_h_ul: Microlitres
    percent_of_day_cap: float | None
    percent_of_dose_cap: float | None
    left_ul: Microlitres


class PumpDay(_Row):
    """What one pump would give on one local day."""

    date: Day
    tank: str
    pump: str
    volume_ul: Microlitres
    cap_ul: Microlitres
    cap: str


class EffectDay(_Row):
    """What all pumps of a tank would add of a parameter on one local day."""

    date: Day
    tank: str
    parameter: str
    added: Decimal
    net_rise: Decimal | None
    unit: str
    cap: Decimal


class Closest(_Row):
    """The closest approach to one cap, in microlitres or pico-units of the tank."""

    cap: str
    subject: str
    reached: int
    ceiling: int
    words: str
    dose: str


class OldLine(_Row):
    """A line that an old doser gives until it is taken over; null: nobody said."""

    line: str
    volume_ul: Microlitres | None


class Change(_Row):
    """One difference from the approved plan; a pump in microlitres."""

    tank: str
    pump: str
    parameter: str
    ratio: Decimal | None
    before_ul: Microlitres | None = None
    after_ul: Microlitres | None = None
    unit: str | None = None
    before: Decimal | None = None
    after: Decimal | None = None


class Uptake(_Row):
    """What a tank takes up in a day; `high` null where nobody stated it."""

    low: float
    estimate: float
    high: float | None
    unit: str
    source: Literal["stated", "tests"]


class Band(_Row):
    """One parameter at each of the tank's times, for three uptakes."""

    parameter: str
    unit: str
    less: list[float]
    same: list[float]
    more: list[float]


class Crossing(_Row):
    """When alkalinity would first be beyond its floor or ceiling."""

    bound: Literal["floor", "ceiling"]
    uptake: Literal["less", "same", "more"]
    at: Utc


class Tank(_Row):
    """One tank: uptake, time left, salt left behind, forecast."""

    tank: str
    zone: str
    uptake: dict[str, Uptake]
    floor: float | None
    ceiling: float | None
    hours_to_floor: float | None
    hours_to_floor_falling: float | None
    hours_to_ceiling: float | None
    salt_mg_per_l: float
    salinity_rise: float
    salt_known: bool
    times: list[Utc]
    forecast: list[Band]
    crossings: list[Crossing]


class Bottle(_Row):
    """One reservoir; `within` says that it ends inside the rehearsal.

    It lasts between the two bounds in 95 of 100 cases, by books and calibrations.
    """

    reservoir: str
    content_ul: Microlitres
    per_day_ul: Microlitres
    lasts_days: float | None
    lasts_days_low: float | None
    lasts_days_high: float | None
    empty_on: Day | None
    within: bool
    short_ul: Microlitres


class Gap(_Row):
    """The smallest pause between two pumps kept apart."""

    pump: str
    other: str
    smallest_s: float
    least_s: float
    dose: str


class Run(_Row):
    """The longest run of a pump."""

    pump: str
    run_ms: int
    cut_ms: int
    dose: str


class Added(_Row):
    """What a volume adds of one parameter."""

    parameter: str
    added: Decimal
    unit: str


class AtWorst(_Row):
    """What a pump could give if a layer failed."""

    pump: str
    tank: str
    layer: Literal["cap", "run", "node", "bottle"]
    volume_ul: Microlitres
    adds: list[Added]
    alkalinity: float | None
    tolerable: bool | None


class ClockChange(_Row):
    """A day on which the clocks change, rehearsed apart."""

    zone: str
    way: Literal["forward", "back"]
    date: Day
    doses: int
    missed: int
    volume_ul: Microlitres
    left_out: list[str]


class Decision(_Row):
    """Why a dose of the most loaded day would be allowed."""

    at: Utc
    local: str
    dose: str
    pump: str
    volume_ul: Microlitres
    charged_24_h_ul: Microlitres
    charged_day_ul: Microlitres
    cap_day_ul: Microlitres
    beat_age_s: float
    budget_ul: int
    reading_age_s: float | None
    reasons: list[str]


class Fault(_Row):
    """One fault; only the first five keys where it was not tried."""

    case: str
    group: str
    hazards: list[str]
    title: str
    not_tried: str
    given: int | None = None
    shortened: int | None = None
    missed: int | None = None
    held: int | None = None
    undecided: int | None = None
    highest_pump: str | None = None
    highest_24_h_ul: Microlitres | None = None
    flowed_24_h_ul: Microlitres | None = None
    cap_24_h_ul: Microlitres | None = None
    safe_after_s: float | None = None
    reasons: list[str] | None = None
    nothing_was_carried_over: bool | None = None
    carried: list[str] | None = None
    over_caps: list[str] | None = None
    sound: bool | None = None


class Interlock(_Row):
    """What each pump would do for one input in one state."""

    input: str
    state: str
    case: str
    answers: dict[str, Literal["runs", "shortens", "stops"]]
    forced: str
    not_tried: str


class Assumption(_Row):
    """One thing this report stands on."""

    part: str
    is_: Annotated[str, Field(alias="is")]


class Rehearsal(_Row):
    """What `slackwater rehearse --json` prints."""

    v: Literal[1]
    command: Literal["rehearse"]
    ok: bool
    errors: list[Finding]
    digest: str
    from_: Annotated[Day, Field(alias="from")]
    until: Day
    plan: str
    visit: Day | None
    visit_is: Literal["visit", "return"]
    highest_daily_ul: Microlitres
    summary: list[SummaryItem]
    doses: list[Dose]
    days: list[PumpDay]
    effects: list[EffectDay]
    closest: list[Closest]
    empty: dict[str, Day | None]
    left_out: list[str]
    not_covered: str
    old_doser: list[OldLine]
    changes: list[Change]
    touched: dict[str, list[str]]
    tanks: list[Tank]
    bottles: list[Bottle]
    gaps: list[Gap]
    runs: list[Run]
    worst_cases: list[AtWorst]
    clock_changes: list[ClockChange]
    trace: list[Decision]
    faults: list[Fault] | None
    interlocks: list[Interlock] | None
    void_if_changed: list[Assumption]


def schema() -> dict[str, object]:
    """The JSON Schema, draft 2020-12."""
    return {"$schema": DIALECT, **Rehearsal.model_json_schema(by_alias=True)}


def schema_text() -> str:
    """The schema as it is printed, keys in a fixed order."""
    return json.dumps(schema(), indent=2, sort_keys=True) + "\n"
