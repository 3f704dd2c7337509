"""Texts with a unit, as the configuration files write them, turned into whole numbers.

Floor 6. One subject: quantities whose meaning needs nothing but their own text.
Laws here: a bare number, an unknown spelling, NaN, infinity or a value outside its
bounds is refused with the spellings that are accepted; a volume is rounded down to
whole microlitres unless its key says otherwise; nothing passes through a float before
it is a whole number.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Annotated, ClassVar, LiteralString, NoReturn

from pydantic import AfterValidator, GetCoreSchemaHandler, StringConstraints
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from slackwater.errors import InputError
from slackwater.outside.settings.tables import ID_EXPECTED, ID_PATTERN, shown
from slackwater.water.boxes import TIMES, parse_boxes_ul
from slackwater.water.spellings import told_units

# Exact spellings only: what looks like a unit and is not in a table is refused, because
# "5 ML" is a thousand million times "5 mL". Both micro signs (U+00B5, U+03BC) count.
# Source: SI brochure; the US gallon is 231 cubic inches of 2.54 cm (NIST SP 811).
VOLUMES_UL: Mapping[str, Fraction] = {
    "uL": Fraction(1),
    "µL": Fraction(1),
    "μL": Fraction(1),
    "mL": Fraction(1_000),
    "ml": Fraction(1_000),
    "L": Fraction(1_000_000),
    "l": Fraction(1_000_000),
    "US gal": Fraction(3_785_411_784, 1_000),
}
TIMES_MS: Mapping[str, Fraction] = {
    "ms": Fraction(1),
    "s": Fraction(1_000),
    "min": Fraction(60_000),
    "h": Fraction(3_600_000),
    "d": Fraction(86_400_000),
}
FLOWS_NL_PER_S: Mapping[str, Fraction] = {
    f"{volume}/{time}": VOLUMES_UL[volume] * 1_000_000 / TIMES_MS[time]
    for volume in ("uL", "µL", "μL", "mL", "ml", "L", "l", "US gal")
    for time in ("s", "min", "h", "d")
}
SHARES: Mapping[str, Fraction] = {"%": Fraction(1, 100)}
STRENGTHS: Mapping[str, Fraction] = {
    "g/L": Fraction(1),
    "mg/mL": Fraction(1),
    "mg/L": Fraction(1, 1_000),
}
SIZES: Mapping[str, Fraction] = {
    "kB": Fraction(10**3),
    "MB": Fraction(10**6),
    "GB": Fraction(10**9),
}

# At most twelve digits either side: nothing that is real needs more, and a longer
# number is a slip of the hand.
_NUMBER_AND_UNIT = re.compile(
    r"([+-]?[0-9]{1,12}(?:\.[0-9]{1,12})?)[ \t]*((?![eE][+-]?[0-9])[^\W0-9_].*|[%°].*)?"
)


@dataclass(frozen=True, slots=True)
class Quantity:
    """Reads one kind of quantity; stands beside the type of a model's field.

    `low` and `high` are texts of the same kind, both allowed; `up` rounds up instead
    of down.
    """

    low: str
    high: str
    up: bool = False

    noun: ClassVar[str]
    spellings: ClassVar[Mapping[str, Fraction]]

    def read(self, value: object) -> int | float | Fraction:
        """The quantity in its inner unit.

        Raises: PydanticCustomError with what was found and what is accepted.
        """
        if not isinstance(value, str):
            refuse(
                f"found {shown(value)} without a unit",
                self.expected,
                f'Write number and unit as text, like "{self.high}".',
            )
        return self.bounded(number_of(value, self.spellings, self.expected), value)

    def bounded(self, number: Fraction, value: object) -> int | float | Fraction:
        """The number rounded, when it lies within the bounds.

        Raises: PydanticCustomError naming the value as it was written.
        """
        if not self.factor(self.low) <= number <= self.factor(self.high):
            refuse(
                f"{shown(value)} is outside the bounds",
                self.expected,
                "Check the figure and its unit.",
            )
        return self.rounded(number)

    def factor(self, text: str) -> Fraction:
        """The value of a text known to be right."""
        return _factor_of(self, text)

    def rounded(self, number: Fraction) -> int | float | Fraction:
        """A whole number, never more than was written unless `up`."""
        return math.ceil(number) if self.up else math.floor(number)

    def written(self, value: float) -> str:
        """An inner value as a person would write it, in the largest unit it fills."""
        if not value:
            return self.low
        number = self.number(value)
        units = sorted(self.spellings.items(), key=lambda item: item[1], reverse=True)
        for unit, factor in units:
            if (number / factor).denominator == 1:
                return f"{number / factor} {unit}"
        return f"{float(number)}"

    def number(self, value: float) -> Fraction:
        """The inner value in the unit that the spellings are factors to."""
        return Fraction(str(value))

    @property
    def expected(self) -> str:
        """What is accepted, in words."""
        units = told_units(self.spellings)
        return f"{self.noun} from {self.low} to {self.high} in one of {units}"

    def __get_pydantic_core_schema__(
        self, _source: object, _handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Let pydantic read the field with `read`."""
        return core_schema.no_info_plain_validator_function(self.read)


class Volume(Quantity):
    """A volume, in whole microlitres."""

    noun = "a volume"
    spellings = VOLUMES_UL


class WaterVolume(Volume):
    """A volume of water, also from the inside measures of its boxes."""

    def read(self, value: object) -> int | float | Fraction:
        """The water in whole microlitres, rounded down.

        Raises: PydanticCustomError with what was found and what is accepted.
        """
        if not (isinstance(value, str) and TIMES in value):
            return super().read(value)
        try:
            volume_ul = parse_boxes_ul(value, where="")
        except InputError as error:
            finding = error.findings[0]
            refuse(finding.what, finding.expected, finding.do)
        return self.bounded(Fraction(volume_ul), value)


class Flow(Quantity):
    """A flow, in whole nanolitres per second."""

    noun = "a flow"
    spellings = FLOWS_NL_PER_S

    def rounded(self, number: Fraction) -> int:
        """The nearest whole number: neither side of a rate is the safe one."""
        return round(number)


class Milliseconds(Quantity):
    """A duration, in whole milliseconds."""

    noun = "a duration"
    spellings = TIMES_MS


class Duration(Quantity):
    """A duration, in seconds."""

    noun = "a duration"
    spellings = TIMES_MS

    def rounded(self, number: Fraction) -> float:
        """Seconds."""
        return float(number / 1_000)

    def number(self, value: float) -> Fraction:
        """Milliseconds."""
        return Fraction(str(value)) * 1_000


class Share(Quantity):
    """A part of a whole, between 0 and 1."""

    noun = "a share"
    spellings = SHARES

    def rounded(self, number: Fraction) -> float:
        """The share itself."""
        return float(number)


class Purity(Quantity):
    """The share of a weighed mass that is what its label says, exact."""

    noun = "a purity"
    spellings = SHARES

    def rounded(self, number: Fraction) -> Fraction:
        """The share itself."""
        return number


class Strength(Quantity):
    """The mass in one litre of finished solution, in grams per litre, exact."""

    noun = "a strength"
    spellings = STRENGTHS

    def rounded(self, number: Fraction) -> Fraction:
        """The figure itself."""
        return number


class Size(Quantity):
    """A size on disk, in whole bytes."""

    noun = "a size"
    spellings = SIZES


# The bounds of a kind are the same for every figure of it.
@cache
def _factor_of(kind: Quantity, text: str) -> Fraction:
    return number_of(text, kind.spellings, kind.expected)


def number_of(value: str, spellings: Mapping[str, Fraction], expected: str) -> Fraction:
    """The value in the unit that the spellings are factors to, exact.

    Raises: PydanticCustomError when it is not a number with one of the spellings.
    """
    number, unit = split_number(value, expected)
    factor = spellings.get(unit)
    if factor is None:
        near = [known for known in spellings if known.lower() == unit.lower()]
        hint = f'Did you mean "{near[0]}"? ' if near else ""
        refuse(
            f"{shown(value)} has the unknown unit {shown(unit)}",
            expected,
            f"{hint}Use one of the spellings exactly.",
        )
    return number * factor


def split_number(value: str, expected: str) -> tuple[Fraction, str]:
    """Number and unit of a text such as "5 mL", the number exact.

    Raises: PydanticCustomError when the value is not such a text.
    """
    match = _NUMBER_AND_UNIT.fullmatch(value)
    if match is None:
        refuse(
            f"{shown(value)} does not begin with a plain number",
            expected,
            "Write digits with a decimal point, no comma, exponent or word.",
        )
    if match[2] is None:
        refuse(f"{shown(value)} has no unit", expected, "Write the unit behind it.")
    return Fraction(match[1]), match[2]


_BETTER_ID = "Choose a shorter or plainer id; where it names a table, use that one's."


def _checked_id(text: str) -> str:
    if not ID_PATTERN.fullmatch(text):
        refuse(f"found {shown(text)}", ID_EXPECTED, _BETTER_ID)
    return text


def _one_line(text: str) -> str:
    if not text.isprintable():
        refuse(
            f"found {shown(text)}", "one line of text", "Take line breaks and tabs out."
        )
    return text


Id = Annotated[str, AfterValidator(_checked_id)]
# Names of files and users: no file can be called by an odd mark, no line of an access
# list may be broken by one.
OneLine = Annotated[str, AfterValidator(_one_line)]
PlainText = Annotated[str, StringConstraints(max_length=200), AfterValidator(_one_line)]


def plain_number(text: object) -> Fraction:
    """A positive number without a unit, such as the share of a ratio; exact.

    Raises: PydanticCustomError when it is anything else.
    """
    expected = 'a plain positive number as text, like "1" or "1.5"'
    match = _NUMBER_AND_UNIT.fullmatch(text) if isinstance(text, str) else None
    if match is None or match[2] is not None or Fraction(match[1]) <= 0:
        refuse(f"found {shown(text)}", expected, "Write digits only.")
    return Fraction(match[1])


def refuse(what: str, expected: str, advice: str) -> NoReturn:
    """Refuse a value in the words of a finding.

    Raises: PydanticCustomError, always; `tables` turns it into a finding.
    """
    kind: LiteralString = "refused"
    raise PydanticCustomError(
        kind, kind, {"what": what, "expected": expected, "do": advice}
    )
