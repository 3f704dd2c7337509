"""Reads levels, daily rates and strengths of one parameter.

Floor 1. One subject: texts whose unit depends on a parameter. Laws here: a unit that
the parameter does not have is refused with the ones it has; nothing is corrected
silently, a figure that would fit in another unit is only asked about; what a solution
adds never shrinks by rounding.
Units: levels canonical, strengths in pico-units per microlitre.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, log

from slackwater.errors import OutOfRangeError
from slackwater.water.parameters import Parameter, parameter_named
from slackwater.water.show import show_figure, show_level
from slackwater.water.spellings import (
    VOLUMES,
    strengths_of,
    told_units,
    units_of,
    zero_of,
)
from slackwater.water.texts import Place, did_you_mean, read, shown, split
from slackwater.water.units import parse_volume_ul

# What one millilitre can hold, pico-units per microlitre: caustic soda dissolves to
# about 25 meq/mL, pure ethanol is 34 mmol C/mL, nothing holds more than its own weight.
_MOST_PER_UL: Mapping[str, int] = {"alkalinity": 25 * 10**6, "carbon": 35 * 10**6}
_MOST_PICOGRAMS_PER_UL = 10**9

# What is compared by its logarithm must be more than nothing.
_LEAST = 1e-12
_DAYS = ("day", "d")
_A_DAY = re.compile(r"(.+)/(?:day|d)")
_PER_ML_IN = re.compile(r"(.+) per m[Ll] in (.+)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Linear:
    """What turns bare numbers of a unit into levels: scale first, then offset."""

    scale: Fraction
    offset: Fraction


def linear(identity: str, unit: str, *, where: str) -> Linear:
    """How bare numbers of a unit become canonical levels.

    Raises: InputError for an unknown parameter or a unit it does not have.
    """
    item = parameter_named(identity, where=where)
    units = units_of(item)
    if unit not in units:
        _place(item, where).refuse(
            f"{item.name} has no unit {shown(unit)}",
            f"{did_you_mean(unit, units)}Use one of the spellings exactly.",
        )
    return Linear(scale=units[unit], offset=zero_of(unit))


def parse_level(
    text: object, identity: str, *, where: str, confirmed: bool | None = False
) -> Fraction:
    """A level in the canonical unit, exact.

    Range: the plausible window; with `confirmed` up to the bounds nobody can confirm.
    `confirmed` is None where nobody can be asked, as in a file.
    Raises: InputError, or OutOfRangeError outside the range.
    """
    item = parameter_named(identity, where=where)
    place = _place(item, where)
    negative = identity == "temperature"
    number, unit = read(text, units_of(item), place, negative=negative)
    level = number * units_of(item)[unit] + zero_of(unit)
    # The bounds are floats: as fractions, 0.3 written out would lie above 0.3.
    if not item.never_below <= float(level) <= item.never_above:
        closing = " This cannot be confirmed."
        raise _implausible(text, item, place, _meant(item, number, unit), closing)
    if not (confirmed or item.low <= float(level) <= item.high):
        closing = "" if confirmed is None else " If it is right, confirm it."
        raise _implausible(text, item, place, _meant(item, number, unit), closing)
    return level


def parse_difference(text: object, identity: str, *, where: str) -> Fraction:
    """A difference of two levels in the canonical unit, 0 or more, exact.

    Raises: InputError for anything else.
    """
    item = parameter_named(identity, where=where)
    place = Place(
        where=where,
        expected=f'a change of {item.name} like "0.3 {item.display_unit}", in one of '
        f"{told_units(units_of(item))}",
    )
    number, unit = read(text, units_of(item), place)
    return number * units_of(item)[unit]


def parse_rate(text: object, identity: str, *, where: str) -> Fraction:
    """A change a day in canonical units, 0 or more, exact.

    Range: at most the upper end of the parameter's window a day.
    Raises: InputError, or OutOfRangeError outside the range.
    """
    item = parameter_named(identity, where=where)
    units = units_of(item)
    spellings = [f"{unit}/day" for unit in units]
    place = Place(
        where=where,
        expected=f'{item.name} a day like "{rate_like(item, "1.5")}", '
        f"in one of {told_units(spellings)}",
    )
    split(text, place, known=[f"{unit}/{day}" for unit in units for day in _DAYS])
    match = _A_DAY.fullmatch(str(text))
    if match is None:
        place.refuse(
            f"found {shown(text)}, which is not a rate", "Write /day behind the unit."
        )
    number, unit = read(match[1], units, place)
    rate = number * units[unit]
    if not float(rate) <= item.high:
        raise _too_much(text, place, "is more than a tank can hold")
    return rate


def rate_like(item: Parameter, figure: str) -> str:
    """A rate to write like: the figure in the unit people use, or one that can be."""
    factor = units_of(item)[item.display_unit]
    if float(figure) * float(factor) > item.high:
        figure = show_figure(item.high / float(factor) / 2)
    return f"{figure} {item.display_unit}/day"


def parse_strength(text: object, identity: str, *, where: str) -> int:
    """What one microlitre of a solution adds, from "1.887 meq/mL" or a label.

    A label says what one millilitre does, as in "0.05 dKH per mL in 100 L".
    Units: pico-units per microlitre, rounded up.
    Range: above 0, at most what a liquid can hold.
    Raises: InputError, or OutOfRangeError outside the range.
    """
    item = parameter_named(identity, where=where)
    contents = strengths_of(item)
    place = _strength_place(item, where, contents)
    if not item.is_dosed:
        place.refuse(f"{item.name} is measured, not dosed", "Name a parameter it adds.")
    match = _PER_ML_IN.fullmatch(text) if isinstance(text, str) else None
    if match is None:
        number, unit = read(text, contents, place)
        pico = number * contents[unit]
    else:
        pico = _label(match, item, place)
    if not 0 < pico <= _MOST_PER_UL.get(item.kind, _MOST_PICOGRAMS_PER_UL):
        raise _too_much(text, place, "is not what a millilitre can hold")
    return ceil(pico)


def _label(match: re.Match[str], item: Parameter, place: Place) -> Fraction:
    tail = f" per mL in {match[2]}"
    number, unit = read(match[1], units_of(item), place, tail=tail)
    litres = Fraction(parse_volume_ul(match[2], where=place.where), 10**6)
    return number * units_of(item)[unit] * litres * item.pico_per_unit / 1000


def _place(item: Parameter, where: str) -> Place:
    low, high = show_level(item.id, item.low), show_level(item.id, item.high)
    units = told_units(units_of(item))
    return Place(
        where=where, expected=f"{item.name} from {low} to {high}, in one of {units}"
    )


def _strength_place(
    item: Parameter, where: str, contents: Mapping[str, Fraction]
) -> Place:
    levels, volumes = told_units(units_of(item)), told_units(VOLUMES)
    return Place(
        where=where,
        expected=f"what one millilitre of {item.name} holds, in one of "
        f"{told_units(contents)}; or what it does, in one of {levels}, as in "
        f'"0.05 {item.display_unit} per mL in 100 L", the volume in one of {volumes}',
    )


def _implausible(
    text: object, item: Parameter, place: Place, meant: Sequence[str], closing: str
) -> OutOfRangeError:
    question = f"Did you mean {' or '.join(map(shown, meant))}? " if meant else ""
    finding = place.finding(
        f"{shown(text)} is not a plausible {item.name}",
        f"{question}Check the figure, its unit and its field.{closing}",
    )
    return OutOfRangeError(finding)


def _meant(item: Parameter, number: Fraction, unit: str) -> list[str]:
    """What can be believed: the figure in another unit, or its point one place off.

    Shape: what is nearest to the sea first, where its level is known.
    """
    units = units_of(item)
    written = [(number, other) for other in units]
    written += [(number / 10, unit), (number * 10, unit)]
    levels = {
        f"{_plain(figure)} {other}": float(figure * units[other] + zero_of(other))
        for figure, other in written
    }
    fitting = [one for one, level in levels.items() if item.low <= level <= item.high]
    natural = item.natural
    if not natural:
        return fitting
    return sorted(fitting, key=lambda one: abs(log(max(levels[one], _LEAST) / natural)))


def _plain(number: Fraction) -> str:
    return f"{float(number):.12g}"


def _too_much(text: object, place: Place, why: str) -> OutOfRangeError:
    finding = place.finding(f"{shown(text)} {why}", "Check the figure and its unit.")
    return OutOfRangeError(finding)
