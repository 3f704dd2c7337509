"""Reads salinity in whatever form an instrument shows it.

Floor 1. One subject: texts that become practical salinity. Laws here: a specific
gravity names its reference pair, a conductivity the temperature it belongs to; neither
is guessed.
"""

from dataclasses import replace

from slackwater.errors import Finding, OutOfRangeError
from slackwater.water.levels import parse_level
from slackwater.water.parameters import PARAMETERS
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
# From a little brackish to a little too salt.
GRAVITIES_OF_A_REEF = (1.0, 1.04)
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
    number, unit = split(text, place, known=_FORMS)
    _refuse_mix_up(float(number), unit, str(text), where)
    if unit != "PSU":
        try:
            salinity = _converted(float(number), unit, str(text), place)
        except OutOfRangeError as error:
            raise _placed(error, where) from error
        text = f"{salinity:.9f} PSU"
    return float(parse_level(text, "salinity", where=where, confirmed=confirmed))


def _refuse_mix_up(number: float, unit: str, text: str, where: str) -> None:
    """Refuse a specific gravity under the unit of a salinity, and the other way."""
    low, high = GRAVITIES_OF_A_REEF
    meant = ""
    if unit == "PSU" and low <= number <= high:
        meant = f"{number:.12g} {next(iter(_GRAVITIES))}"
    elif unit in _GRAVITIES and PARAMETERS["salinity"].low <= number:
        meant = f"{number:.12g} PSU"
    if meant:
        finding = Finding(
            what=f"{shown(text)} is no {'salinity' if unit == 'PSU' else 'gravity'}",
            where=where,
            expected="a salinity such as 35 PSU, or a specific gravity such as 1.0264 "
            "with its reference pair",
            do=f'Did you mean "{meant}"? Write the unit that the instrument shows.',
        )
        raise OutOfRangeError(finding)


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
