"""What the machine file may say about probes and switches.

Floor 6. One subject: inputs, and how what they send is understood. Laws here: an input
may only hold or shorten doses; what is left out means the payload of the contract;
whatever does not fit the mapping is refused and counted, never guessed.
Source: JSON pointers after RFC 6901; times and states are common practice, no source.
"""

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, StringConstraints

from slackwater.facts.limits import Role
from slackwater.outside.settings.quantities import Duration, Id, refuse
from slackwater.outside.settings.tables import TableModel, shown

WORDS_AT_MOST = 8


def _topic(text: str) -> str:
    if text.startswith("$") or any(mark in text for mark in "+#") or not text:
        refuse(
            f"found {shown(text)}",
            "one topic, without + and #, not beginning with $",
            "Name the one topic it speaks on.",
        )
    if not text.isprintable():
        refuse(f"found {shown(text)}", "one line of text", "Take odd marks out.")
    return text


Topic = Annotated[str, StringConstraints(max_length=200), AfterValidator(_topic)]
# RFC 6901, section 3: nothing, or parts each after a slash; ~ only in ~0 and ~1.
Pointer = Annotated[
    str, StringConstraints(max_length=200, pattern=r"^(/([^~/]|~[01])*)*$")
]
Word = Annotated[str, StringConstraints(min_length=1, max_length=32)]
Words = Annotated[list[Word], Field(min_length=1, max_length=WORDS_AT_MOST)]


class ProbeTable(TableModel):
    """A source of readings."""

    tank: Id = Field(description="Tank it measures", examples=['"reef"'])
    parameter: str = Field(description="What it measures", examples=['"alkalinity"'])
    unit: str = Field(
        description="Unit of its bare numbers; of salinity only PSU, for the others "
        "are no straight line",
        examples=['"dKH"'],
    )
    period: Annotated[float, Duration("1 s", "7 d")] = Field(
        description="Expected time between readings", examples=['"15 min"']
    )
    resolution: str = Field(
        description="Smallest step it shows", examples=['"0.01 dKH"']
    )
    low: str | None = Field(
        default=None,
        description="Lowest reading to believe; the parameter's plausible range when "
        "left out",
        examples=['"4 dKH"'],
    )
    high: str | None = Field(
        default=None,
        description="Highest reading to believe; the parameter's plausible range when "
        "left out",
        examples=['"14 dKH"'],
    )
    topic: Topic | None = Field(
        default=None,
        description="Topic on which it sends something else than the contract's "
        "payload; the daemon's listening identity must be allowed to read it",
        examples=['"cellar/sensors/ph"'],
    )
    pointer: Pointer | None = Field(
        default=None,
        description="JSON pointer (RFC 6901) to the number in its payload; nothing "
        "when the payload is the number",
        examples=['"/ph/value"'],
    )
    scale: str = Field(
        default="1",
        description="What its bare number is multiplied with to be in the unit",
        examples=['"0.01"'],
    )
    frozen_after: Annotated[float, Duration("0 s", "24 h")] | None = Field(
        default=None,
        description="Equal readings are called frozen only after this time; when left "
        "out none for alkalinity, 6 h for pH, 24 h for others",
        examples=['"24 h"'],
    )


class SwitchTable(TableModel):
    """A switch, float, button or counter that watches a tank."""

    tank: Id = Field(description="Tank it watches", examples=['"reef"'])
    role: Role = Field(
        description="What it says: return-pump, level, leak, feeding, hands (in the "
        "tank), skimmer, air, power (of a pump that rests) or top-off (a counter)",
        examples=['"return-pump"'],
    )
    topic: Topic | None = Field(
        default=None,
        description="Topic on which it sends something else than the contract's "
        "payload; the daemon's listening identity must be allowed to read it",
        examples=['"cellar/plugs/return"'],
    )
    pointer: Pointer | None = Field(
        default=None,
        description="JSON pointer (RFC 6901) to its word or figure; nothing when the "
        "payload is the word",
        examples=['"/state"'],
    )
    on: Words = Field(
        default_factory=lambda: ["on"],
        description="Words that mean on",
        examples=['["ON", "1"]'],
    )
    off: Words = Field(
        default_factory=lambda: ["off"],
        description="Words that mean off",
        examples=['["OFF", "0"]'],
    )
    normal: Literal["on", "off"] | None = Field(
        default=None,
        description="Its state when all is well; when left out on for return pump, "
        "skimmer and air, off for the others",
        examples=['"on"'],
    )
    period: Annotated[float, Duration("0 s", "1 d")] = Field(
        default=300.0,
        description="Expected time between its messages; 0 s for a button (feeding, "
        "hands) that speaks only when it is pressed",
        examples=['"5 min"'],
    )
    grace: Annotated[float, Duration("0 s", "1 d")] = Field(
        default=900.0,
        description="How long beyond twice that its last word counts; then base only, "
        "and nothing at all where the return pump is not heard",
        examples=['"15 min"'],
    )
    hold_at_least: Annotated[float, Duration("0 s", "1 d")] | None = Field(
        default=None,
        description="How long all must be well before doses go on; when left out "
        "10 min for return pump and level, 5 min for feeding, else 1 min",
        examples=['"10 min"'],
    )
    pump: Id | None = Field(
        default=None,
        description="Pump whose power or flow it sees; for the role power alone",
        examples=['"carbonate"'],
    )
    unit: Literal["uL", "mL", "L"] | None = Field(
        default=None,
        description="Unit of its running total; for the role top-off alone",
        examples=['"mL"'],
    )
