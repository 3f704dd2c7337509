"""Writes volumes, levels and effects for people.

Floor 1. One subject: numbers on a screen. Laws here: never loads pint, because status
and help are printed without it; a volume is written exactly; what is not 0 is never
written as 0; no figure has an exponent.
"""

from decimal import Decimal, localcontext
from fractions import Fraction
from math import floor

from slackwater.water.parameters import (
    PARAMETERS,
    Number,
    Parameter,
    concentration,
    parameter_named,
)
from slackwater.water.spellings import units_of, zero_of

_UL_IN_ML = 1_000
_UL_IN_LITRE = 1_000_000
# From here on the next larger unit of time reads better.
_LONG_SECONDS, _LONG_MINUTES, _LONG_HOURS = 120, 180, 72
# From here on a tenth of a day says nothing.
_LONG_DAYS = 10


_ORDER = {name: place for place, name in enumerate(PARAMETERS)}


def order_of(identity: str) -> int:
    """The place at which a list of parameters shows one: that of their table.

    What this version does not know stands behind all others.
    """
    return _ORDER.get(identity, len(_ORDER))


def show_volume(volume_ul: int) -> str:
    """A volume such as "850 µL", "2.4 mL" or "1.5 L", exact.

    Shape: litres only where whole millilitres suffice.
    """
    size = abs(volume_ul)
    if size < _UL_IN_ML:
        return f"{volume_ul} µL"
    if size < _UL_IN_LITRE or size % _UL_IN_ML:
        return f"{_trimmed(Fraction(volume_ul, _UL_IN_ML))} mL"
    return f"{_trimmed(Fraction(volume_ul, _UL_IN_LITRE))} L"


def show_count(count: int, thing: str) -> str:
    """How many of a thing whose plural ends in s, such as "1 dose" or "12 doses"."""
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


def show_figure(number: Number, digits: int = 3) -> str:
    """A figure with so many digits that count, and all those before the point.

    Shape: "0.0634", "2440", "24.5"; never an exponent. A fraction is rounded as it is,
    for its digits may go beyond those of a float.
    """
    if isinstance(number, Fraction):
        with localcontext(prec=digits):
            rounded = Decimal(number.numerator) / number.denominator
    else:
        rounded = Decimal(f"{float(number):.{digits - 1}e}")
    text = f"{rounded:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def show_days(days: float) -> str:
    """A span in days for a line beside its least: tenths below ten, rounded down.

    A span that is too short never reads as if it were long enough.
    """
    if days >= _LONG_DAYS:
        return f"{days:.0f}"
    return f"{floor(days * 10) / 10:g}"


def show_seconds(seconds: float) -> str:
    """A span of time: seconds below two minutes, then minutes, hours and days."""
    if seconds < _LONG_SECONDS:
        return f"{show_figure(seconds)} s"
    if seconds < _LONG_MINUTES * 60:
        return f"{show_figure(seconds / 60)} min"
    if seconds < _LONG_HOURS * 3600:
        return f"{show_figure(seconds / 3600)} h"
    return f"{show_figure(seconds / 86_400)} days"


def show_level(identity: str, level: Number) -> str:
    """A level in the unit people use, such as "8.20 dKH".

    Units: level canonical. Raises: InputError for an unknown parameter.
    """
    item = parameter_named(identity, where="")
    zero = zero_of(item.display_unit)
    number = (Fraction(level) - zero) / units_of(item)[item.display_unit]
    return f"{_fixed(number, item.decimals)} {item.display_unit}"


def show_effect(identity: str, amount_pico: int, litres: Number) -> str:
    """What an amount changes in a volume of water, such as "0.42 dKH".

    Units: pico-units; litres of water above 0.
    Raises: InputError for a parameter without amounts, OutOfRangeError for a volume.
    """
    item = parameter_named(identity, where="")
    change = concentration(identity, amount_pico, litres)
    return _change(change / units_of(item)[item.display_unit], item)


def _change(number: Fraction, item: Parameter) -> str:
    # A dose is a small part of a level: one decimal at least.
    decimals = max(1, item.decimals)
    written = _fixed(abs(number), decimals)
    sign = "-" if number < 0 else ""
    if number and not Fraction(written):
        smallest = _fixed(Fraction(1, 10**decimals), decimals)
        return f"{sign}<{smallest} {item.display_unit}"
    return f"{sign}{written} {item.display_unit}"


def _fixed(number: Fraction, decimals: int) -> str:
    whole = round(number * 10**decimals)
    sign = "-" if whole < 0 else ""
    digits = f"{abs(whole):0{decimals + 1}d}"
    if not decimals:
        return f"{sign}{digits}"
    return f"{sign}{digits[:-decimals]}.{digits[-decimals:]}"


def _trimmed(number: Fraction) -> str:
    # A thousandth is exact here: the number is a whole count over 1000, or over 10**6
    # where the last three digits are 0.
    return _fixed(number, 3).rstrip("0").rstrip(".")
