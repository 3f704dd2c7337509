"""Reads salinity in whatever form an instrument shows it.

Floor 1. One subject: texts that become practical salinity. Laws here: a specific
gravity names its reference pair, a conductivity the temperature it belongs to; neither
is guessed.
"""

from dataclasses import replace

from slackwater.errors import OutOfRangeError
from slackwater.water.levels import parse_level
from slackwater.water.seawater import (
    REFERENCE_PAIRS,
    salinity_from_conductivity,
    salinity_from_specific_gravity,
)
from slackwater.water.texts import Place, did_you_mean, shown, split
from slackwater.water.units import (
    parse_conductivity_ms_per_cm,
    parse_temperature_celsius,
)

_GRAVITIES = {f"SG {pair}": pair for pair in REFERENCE_PAIRS}
_AT = " at "
_FORMS = ("PSU", *_GRAVITIES, "mS/cm at 25 degC")


def parse_salinity(
    text: object, *, where: str, confirmed: bool | None = False
) -> float:
    """Practical salinity from "35 PSU", "1.0264 SG 25/25" or "53.0 mS/cm at 25 degC".

    A meter that compensates to 25 degC is written with "at 25 degC".
    Range: the plausible window of salinity; with `confirmed` the scale's own 2..42;
    `confirmed` is None where nobody can be asked.
    Raises: InputError, or OutOfRangeError outside the range.
    """
    expected = f"a salinity in one of {', '.join(_FORMS)}"
    place = Place(where=where, expected=expected)
    number, unit = split(text, place)
    if unit != "PSU":
        try:
            salinity = _converted(float(number), unit, str(text), place)
        except OutOfRangeError as error:
            raise _placed(error, where) from error
        text = f"{salinity:.9f} PSU"
    return float(parse_level(text, "salinity", where=where, confirmed=confirmed))


def _converted(number: float, unit: str, text: str, place: Place) -> float:
    if unit in _GRAVITIES:
        return salinity_from_specific_gravity(number, _GRAVITIES[unit])
    reading, at, temperature = text.partition(_AT)
    if not at:
        place.refuse(
            f"{shown(text)} has the unknown unit {shown(unit)}",
            f"{did_you_mean(unit, _FORMS)}Name the reference pair of a specific "
            "gravity and the temperature of a conductivity.",
        )
    conductivity = parse_conductivity_ms_per_cm(reading, where=place.where)
    celsius = parse_temperature_celsius(temperature, where=place.where)
    return salinity_from_conductivity(float(conductivity), float(celsius))


def _placed(error: OutOfRangeError, where: str) -> OutOfRangeError:
    return OutOfRangeError(replace(item, where=where) for item in error.findings)
