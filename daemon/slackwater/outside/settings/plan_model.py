"""What `plan.toml` may say: the model that defaults, bounds and reference come from.

Floor 6. One subject: the keys of the plan file. Laws here: every amount is text with
a unit; local times are HH:MM on the tank's wall clock; a day, window or time that
cannot be is refused here, before anything is computed from it.
"""

import re
from datetime import date
from fractions import Fraction
from typing import Annotated

from pydantic import BeforeValidator, Field, PlainValidator

from slackwater.facts.plan import Purpose, Weekday, Window
from slackwater.outside.settings.quantities import (
    Id,
    PlainText,
    Volume,
    plain_number,
    refuse,
)
from slackwater.outside.settings.tables import TableModel, shown

MINUTES_A_DAY = 1440
# A dose every five minutes: more is a drip, and no pump gap allows it.
MOST_DOSES = 288
LONGEST_CYCLE_DAYS = 60
# Beyond these a year is a slip of the hand, and times of day cannot be computed.
OLDEST_DAY, NEWEST_DAY = date(2000, 1, 1), date(2199, 12, 31)
Day = Annotated[date, Field(ge=OLDEST_DAY, le=NEWEST_DAY)]

_CLOCK_TIME = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])|24:00")


def _minute(text: str) -> int | None:
    match = _CLOCK_TIME.fullmatch(text)
    if match is None:
        return None
    if match[1] is None:
        return MINUTES_A_DAY
    return int(match[1]) * 60 + int(match[2])


def _read_window(value: object) -> tuple[Window, ...]:
    """One stretch of the day, or two when it goes over midnight."""
    ends = value.split("-") if isinstance(value, str) else []
    minutes = [_minute(end.strip()) for end in ends]
    match minutes:
        case [int(start), int(end)] if start < end:
            return (Window(start_minute=start, end_minute=end),)
        case [int(start), int(end)] if end < start < MINUTES_A_DAY:
            late = Window(start_minute=start, end_minute=MINUTES_A_DAY)
            early = (Window(start_minute=0, end_minute=end),) if end else ()
            return (*early, late)
    return refuse(
        f"found {shown(value)}",
        'two different local times like "08:00-20:00"',
        "Write hours and minutes with two digits each, 24:00 for midnight.",
    )


def _read_time(value: object) -> int:
    minute = _minute(value) if isinstance(value, str) else None
    if minute is None or minute == MINUTES_A_DAY:
        refuse(
            f"found {shown(value)}",
            'a local time from "00:00" to "23:59"',
            "Write hours and minutes with two digits each, in quotes.",
        )
    return minute


WindowText = Annotated[tuple[Window, ...], BeforeValidator(_read_window)]
TimeText = Annotated[int, BeforeValidator(_read_time)]


class LineTable(TableModel):
    """One dose line: what, how much, when, on which days."""

    id: Id = Field(
        description="Name of the line, part of every dose's identity",
        examples=['"carbonate"'],
    )
    tank: Id = Field(description="Tank that gets the dose", examples=['"reef"'])
    solution: Id = Field(description="Solution to dose", examples=['"carbonate"'])
    pump: Id | None = Field(
        default=None,
        description="Pump to use; may be left out when only one pump gives this "
        "solution to this tank",
        examples=['"carbonate"'],
    )
    per_day: Annotated[int, Volume("1 uL", "20 L")] | None = Field(
        default=None,
        description="Amount on each dosing day, spread evenly; this or per_dose",
        examples=['"42 mL"'],
    )
    per_dose: Annotated[int, Volume("1 uL", "2 L")] | None = Field(
        default=None,
        description="Amount of each single dose; this or per_day",
        examples=['"2 mL"'],
    )
    doses: int | None = Field(
        default=None,
        ge=1,
        le=MOST_DOSES,
        description="Number of doses on each dosing day; not needed beside times",
        examples=["24"],
    )
    windows: list[WindowText] | None = Field(
        default=None,
        min_length=1,
        description="Stretches of the local day the doses are spread over; one over "
        "midnight counts for the day's early and late hours; the whole day when left "
        "out",
        examples=['["08:00-20:00"]'],
    )
    times: list[TimeText] | None = Field(
        default=None,
        min_length=1,
        description="Local times of single doses, instead of windows",
        examples=['["07:30", "19:30"]'],
    )
    every_days: int | None = Field(
        default=None,
        ge=1,
        le=LONGEST_CYCLE_DAYS,
        description="Dose every so many days, counted from starts; 1 when left out",
        examples=["2"],
    )
    weekdays: list[Weekday] | None = Field(
        default=None,
        min_length=1,
        description="Dose on these weekdays, instead of every_days",
        examples=['["mon", "thu"]'],
    )
    first: Day | None = Field(
        default=None,
        description="First dosing day; the plan's start when left out",
        examples=["2026-05-10"],
    )
    last: Day | None = Field(
        default=None,
        description="Last dosing day; needed for a correction",
        examples=["2026-05-20"],
    )
    group: Id | None = Field(
        default=None,
        description="Group of lines that scale, hold and resume together",
        examples=['"balanced"'],
    )
    purpose: Purpose = Field(
        default="maintenance",
        description="Whether the line replaces what is used up or moves a level",
        examples=['"correction"'],
    )
    note: PlainText = Field(
        default="", description="A sentence for the reader", examples=['"after test"']
    )


class GroupTable(TableModel):
    """Lines in a fixed ratio."""

    ratio: dict[str, Annotated[Fraction, PlainValidator(plain_number)]] = Field(
        description="Share of each line by volume, plain numbers as text",
        examples=['{ carbonate = "1", calcium = "1" }'],
    )


class PlanHead(TableModel):
    """The keys of the plan file that stand above the lines."""

    name: PlainText = Field(
        min_length=1, description="Name of the plan", examples=['"spring"']
    )
    starts: Day = Field(
        description="Day the plan starts; every_days is counted from it",
        examples=["2026-05-03"],
    )
