"""Reads physical quantities; the only door to pint.

Floor 1. One subject: quantities whose meaning needs nothing but their own text. Laws
here: pint converts, it never parses what a person wrote; a unit comes from
`spellings` or is refused; conversions are exact fractions; a volume is a whole number
of microlitres, rounded down; powers of ten need no library, and pint is loaded by the
first unit that is more than that.
"""

import math
from collections.abc import Mapping
from fractions import Fraction
from functools import cache
from importlib import import_module
from typing import TYPE_CHECKING

from slackwater.errors import Finding, OutOfRangeError
from slackwater.water.spellings import INNER, PHYSICAL, Physical, told_units
from slackwater.water.texts import Place, read, shown

if TYPE_CHECKING:
    import pint

# No aquarium is larger; a bigger figure is a slip of the hand.
LARGEST_VOLUME_UL = 10**12
LONGEST_S = 10 * 366 * 86_400

# What is exact by definition: prefixes, the litre, minute, hour and day; in the inner
# unit of the kind, or that unit's parts. Source: SI brochure, 9th edition (2019),
# tables 7 and 8; the tests compare each with pint.
_BY_DEFINITION: Mapping[str, Fraction] = {
    "microliter": Fraction(1),
    "milliliter": Fraction(10**3),
    "liter": Fraction(10**6),
    "millimeter": Fraction(1),
    "centimeter": Fraction(10),
    "meter": Fraction(10**3),
    "degC": Fraction(1),
    "millisecond": Fraction(1, 10**3),
    "second": Fraction(1),
    "minute": Fraction(60),
    "hour": Fraction(3_600),
    "day": Fraction(86_400),
    "microgram": Fraction(1, 10**6),
    "milligram": Fraction(1, 10**3),
    "gram": Fraction(1),
    "kilogram": Fraction(10**3),
    "dimensionless": Fraction(1),
    "percent": Fraction(1, 100),
    "microsiemens": Fraction(1, 10**3),
    "millisiemens": Fraction(1),
    "siemens": Fraction(10**3),
}

_NOUNS: dict[Physical, str] = {
    "volume": "a volume",
    "length": "a length",
    "temperature": "a temperature",
    "duration": "a duration",
    "flow": "a flow",
    "mass": "a mass",
    "stock": "a mass per litre of finished solution",
    "share": "a share",
    "conductivity": "a conductivity",
}
_EXAMPLES: dict[Physical, str] = {
    "volume": "300 L",
    "length": "60 cm",
    "temperature": "25 degC",
    "duration": "30 s",
    "flow": "80 mL/min",
    "mass": "12 g",
    "stock": "100 g/L",
    "share": "99.5 %",
    "conductivity": "53.0 mS/cm",
}


def parse(text: object, kind: Physical, *, where: str) -> Fraction:
    """A physical quantity in the unit numbers of its kind have inside.

    Units: microlitres, millimetres, degrees Celsius, seconds, microlitres per second,
    grams, grams per litre, parts of 1, millisiemens per centimetre; exact.
    Range: temperature any, others 0 or more.
    Raises: InputError for anything but a plain number with one of the spellings.
    """
    spellings = PHYSICAL[kind]
    place = Place(where=where, expected=_expected(kind))
    number, unit = read(text, spellings, place, negative=kind == "temperature")
    return _converted(number, spellings[unit], INNER[kind])


def parse_volume_ul(text: object, *, where: str) -> int:
    """A volume in whole microlitres, rounded down.

    Range: 1 microlitre to 1 000 000 litres.
    Raises: InputError, or OutOfRangeError outside the range.
    """
    volume_ul = math.floor(parse(text, "volume", where=where))
    if not 1 <= volume_ul <= LARGEST_VOLUME_UL:
        raise _outside(text, where, "a volume from 1 µL to 1000000 L")
    return volume_ul


def parse_length_mm(text: object, *, where: str) -> Fraction:
    """A length in millimetres, above 0.

    Raises: InputError, or OutOfRangeError for 0.
    """
    return _above_zero(text, "length", where)


def parse_temperature_celsius(text: object, *, where: str) -> Fraction:
    """A temperature in degrees Celsius, exact.

    Range: not below absolute zero.
    Raises: InputError, or OutOfRangeError below it.
    """
    celsius = parse(text, "temperature", where=where)
    if celsius < Fraction("-273.15"):
        raise _outside(text, where, "a temperature above absolute zero")
    return celsius


def parse_duration_s(text: object, *, where: str) -> float:
    """A duration in seconds, above 0 and at most ten years.

    Raises: InputError, or OutOfRangeError outside the range.
    """
    return float(_duration(text, where))


def parse_duration_ms(text: object, *, where: str) -> int:
    """A duration in whole milliseconds, rounded down: a pump never runs longer.

    Range: 1 ms to ten years.
    Raises: InputError, or OutOfRangeError outside the range.
    """
    duration_ms = math.floor(_duration(text, where) * 1000)
    if duration_ms < 1:
        raise _outside(text, where, "a duration of 1 ms or more")
    return duration_ms


def parse_flow_ul_per_s(text: object, *, where: str) -> Fraction:
    """A flow in microlitres per second, above 0, exact.

    Raises: InputError, or OutOfRangeError for 0.
    """
    return _above_zero(text, "flow", where)


def parse_mass_grams(text: object, *, where: str) -> Fraction:
    """A mass in grams, above 0, exact.

    Raises: InputError, or OutOfRangeError for 0.
    """
    return _above_zero(text, "mass", where)


def parse_stock_grams_per_litre(text: object, *, where: str) -> Fraction:
    """The mass in one litre of finished solution, in grams, above 0, exact.

    Raises: InputError, or OutOfRangeError for 0.
    """
    return _above_zero(text, "stock", where)


def parse_conductivity_ms_per_cm(text: object, *, where: str) -> Fraction:
    """A conductivity in millisiemens per centimetre, above 0, exact.

    Raises: InputError, or OutOfRangeError for 0.
    """
    return _above_zero(text, "conductivity", where)


def parse_share(text: object, *, where: str) -> Fraction:
    """A percentage as a part of 1, exact.

    Range: 0 to 1, both included.
    Raises: InputError, or OutOfRangeError above 100 %.
    """
    share = parse(text, "share", where=where)
    if share > 1:
        raise _outside(text, where, "a share from 0 % to 100 %")
    return share


def _duration(text: object, where: str) -> Fraction:
    duration_s = _above_zero(text, "duration", where)
    if duration_s > LONGEST_S:
        raise _outside(text, where, "a duration of at most ten years")
    return duration_s


def _above_zero(text: object, kind: Physical, where: str) -> Fraction:
    number = parse(text, kind, where=where)
    if not number > 0:
        raise _outside(text, where, f"{_NOUNS[kind]} above 0")
    return number


def _expected(kind: Physical) -> str:
    spellings = told_units(PHYSICAL[kind])
    return f'{_NOUNS[kind]} like "{_EXAMPLES[kind]}", in one of {spellings}'


def _outside(text: object, where: str, expected: str) -> OutOfRangeError:
    finding = Finding(
        what=f"{shown(text)} is outside the range",
        where=where,
        expected=expected,
        do="Check the figure and its unit.",
    )
    return OutOfRangeError(finding)


def _converted(number: Fraction, unit: str, inner: str) -> Fraction:
    ours, theirs = _size(unit), _size(inner)
    if ours is not None and theirs is not None:
        return number * ours / theirs
    quantity = _registry().Quantity(number, unit)
    return Fraction(quantity.to(inner).magnitude)


def _size(unit: str) -> Fraction | None:
    """One of a unit or of a ratio of two; None where a definition is not enough."""
    parts = unit.split("/")
    if not _BY_DEFINITION.keys() >= set(parts):
        return None
    above, *below = (_BY_DEFINITION[part] for part in parts)
    return above / math.prod(below, start=Fraction(1))


@cache
def _registry() -> "pint.UnitRegistry[Fraction]":
    # Loaded here and not above: with its registry it takes longer to load than all
    # else that a verb needs, and a household that measures in litres needs none of it.
    package = import_module("pint")
    registry: pint.UnitRegistry[Fraction] = package.UnitRegistry(non_int_type=Fraction)
    return registry
