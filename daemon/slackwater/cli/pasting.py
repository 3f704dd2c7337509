"""Lines for the machine's file that follow from tests, for a person to paste.

Floor 8. One subject: writing suggestions as TOML. Laws here: nothing is applied; an
estimate is rounded to what is known of it and its lower bound never up; the arithmetic
stands beside each line.
Units: canonical per day in, the unit people use out.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from math import floor, log10

from slackwater.assessment.stating import CapToState, UptakeToState
from slackwater.cli.amounts import display_unit
from slackwater.water.parameters import parameter_named
from slackwater.water.spellings import units_of

_DIGITS = 3
_LOW_DIGITS = 2


FOUND = "Tests found another uptake than slackwater.toml states."
HELD = "A cap held this back; by the tank's own use it could be wider."


def paste_lines(
    tank: str, uptakes: Sequence[UptakeToState], caps: Sequence[CapToState]
) -> list[str]:
    """Tables with their lines, each below its arithmetic; empty for nothing to say."""
    lines = []
    if uptakes:
        lines += [f"# {FOUND}", f"[tank.{tank}.uptake]"]
        lines += [line for one in uptakes for line in _uptake_lines(one)]
    if caps:
        lines += [f"# {HELD}", f"[tank.{tank}.caps]"]
        lines += [line for one in caps for line in _cap_lines(one)]
    return lines


def paste_words(lines: Sequence[str]) -> Iterator[str]:
    """The same for people; nothing when there are none."""
    if lines:
        yield "To paste into the tables named of slackwater.toml; nothing is applied:"
        yield from (f"    {line}" for line in lines)
        yield ""


def _uptake_lines(one: UptakeToState) -> Iterator[str]:
    name = one.parameter
    stated = "nothing" if one.stated is None else _rate(name, one.stated)
    yield f"# stated: {stated}; found by {one.tests} tests in {one.span_days:.0f} days"
    estimate = _rate(name, one.estimate, within=one.half_width)
    low = _rate(name, one.low, down=True)
    yield f'{name} = {{ estimate = "{estimate}", low = "{low}" }}'


def _cap_lines(one: CapToState) -> Iterator[str]:
    name = one.parameter
    uptake, rise = _rate(name, one.uptake), _rate(name, one.net_rise)
    stated = _rate(name, one.stated)
    yield f"# 1.3 x {uptake} used up + {rise} of climb; stated: {stated}"
    if one.hours_to_ceiling is not None:
        hours = f"{one.hours_to_ceiling:.0f} h"
        yield f"# {hours} from target to ceiling at that, if uptake stopped"
    yield f'{name} = {{ gross = "{_rate(name, one.gross)}", net_rise = "{rise}" }}'


def _rate(
    parameter: str, per_day: float, *, down: bool = False, within: float = 0.0
) -> str:
    """A rate as the file writes it: plain decimals, so many digits that count.

    `within` is its interval, beyond whose second digit nothing is known of it.
    """
    unit = display_unit(parameter)
    factor = units_of(parameter_named(parameter, where=""))[unit]
    number = float(Fraction(per_day) / factor)
    if number <= 0:
        return f"0 {unit}/day"
    known = float(Fraction(within) / factor) or number
    digits = _LOW_DIGITS if down or within else _DIGITS
    places = max(digits - 1 - floor(log10(known)), 0)
    step = 10.0**places
    shown = floor(number * step) / step if down else round(number, places)
    return f"{_trimmed(f'{shown:.{places}f}')} {unit}/day"


def _trimmed(text: str) -> str:
    return text.rstrip("0").rstrip(".") if "." in text else text
