"""The parameters a configuration may speak of, with their units and ranges.

Floor 6. One subject: levels of one parameter. Laws here: a unit belongs to a
parameter; spellings are exact; every factor is an exact fraction.
Units: canonical ones are meq/L for alkalinity, mg/L, ug/L for traces, mmol/L for
carbon, degrees Celsius.
Source: factors from IUPAC conventional atomic weights (CaO 56.077, CaCO3 100.086);
a German degree is by definition 10 mg/L CaO; plausible ranges are
common practice, no source.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from slackwater.outside.settings.quantities import number_of, refuse
from slackwater.outside.settings.tables import listed, shown

Kind = Literal["eq", "g", "mol", "none"]

# Pico-units in one litre at a level of 1: of a milli-unit and of a micro-unit.
_MILLI = 10**9
_MICRO = 10**6

_ALKALINITY = {
    "meq/L": Fraction(1),
    "dKH": Fraction(20_000, 56_077),
    "mg/L CaCO3": Fraction(2_000, 100_086),
    "ppm CaCO3": Fraction(2_000, 100_086),
}
_MILLIGRAMS = {
    "mg/L": Fraction(1),
    "ug/L": Fraction(1, 1_000),
    "µg/L": Fraction(1, 1_000),
    "μg/L": Fraction(1, 1_000),
}
_MICROGRAMS = {unit: factor * 1_000 for unit, factor in _MILLIGRAMS.items()}
_MILLIMOLES = {"mmol/L": Fraction(1)}
_DEGREES = {"°C": Fraction(1), "°F": Fraction(5, 9)}

# Where bare numbers of a unit have another zero.
_ZEROS = {"°F": Fraction(-160, 9)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameter:
    """One thing that is measured or dosed; `pico` is 0 when it cannot be dosed.

    Units: `low` and `high` canonical, both inclusive; of what is dosed and never
    measured, `high` is the most a day.
    """

    units: Mapping[str, Fraction]
    low: float
    high: float
    kind: Kind = "g"
    pico: int = _MILLI
    measured: bool = True


PARAMETERS: Mapping[str, Parameter] = {
    "alkalinity": Parameter(units=_ALKALINITY, low=1.07, high=5.71, kind="eq"),
    "calcium": Parameter(units=_MILLIGRAMS, low=250.0, high=700.0),
    "magnesium": Parameter(units=_MILLIGRAMS, low=800.0, high=2000.0),
    "potassium": Parameter(units=_MILLIGRAMS, low=200.0, high=700.0),
    "strontium": Parameter(units=_MILLIGRAMS, low=2.0, high=30.0),
    "boron": Parameter(units=_MILLIGRAMS, low=1.0, high=20.0),
    "fluoride": Parameter(units=_MILLIGRAMS, low=0.1, high=5.0),
    "nitrate": Parameter(units=_MILLIGRAMS, low=0.0, high=200.0),
    "phosphate": Parameter(units=_MILLIGRAMS, low=0.0, high=10.0),
    "iodine": Parameter(units=_MICROGRAMS, low=0.0, high=500.0, pico=_MICRO),
    "iron": Parameter(units=_MICROGRAMS, low=0.0, high=200.0, pico=_MICRO),
    "manganese": Parameter(units=_MICROGRAMS, low=0.0, high=200.0, pico=_MICRO),
    "carbon": Parameter(
        units=_MILLIMOLES, low=0.0, high=0.3, kind="mol", measured=False
    ),
    "ph": Parameter(units={"pH": Fraction(1)}, low=6.5, high=9.5, kind="none", pico=0),
    "temperature": Parameter(units=_DEGREES, low=10.0, high=35.0, kind="none", pico=0),
    "salinity": Parameter(
        units={"PSU": Fraction(1)}, low=20.0, high=42.0, kind="none", pico=0
    ),
}


def names() -> tuple[str, ...]:
    """Parameters that can be measured."""
    return tuple(name for name, item in PARAMETERS.items() if item.measured)


def dosed() -> tuple[str, ...]:
    """Parameters that a solution can add."""
    return tuple(name for name, item in PARAMETERS.items() if item.pico)


def level_of(parameter: str, text: object) -> float:
    """A level in the canonical unit.

    Raises: PydanticCustomError for another unit or outside the plausible range.
    """
    item = PARAMETERS[parameter]
    expected = (
        f"a level of {parameter} from {item.low:g} to {item.high:g} "
        f"{next(iter(item.units))}, in one of {listed(item.units)}"
    )
    number = number_of(text, item.units, expected)
    level = float(number + _ZEROS.get(_unit(text, item), Fraction()))
    if not item.low <= level <= item.high:
        refuse(
            f"{shown(text)} is outside what {parameter} can be",
            expected,
            "Check the figure and its unit.",
        )
    return level


def linear(parameter: str, unit: str) -> tuple[float, float]:
    """Scale and offset that turn bare numbers of a unit into levels.

    Raises: PydanticCustomError when the parameter does not have the unit.
    """
    units = PARAMETERS[parameter].units
    if unit not in units:
        refuse(
            f"{parameter} has no unit {shown(unit)}",
            f"one of {listed(units)}",
            "Use one of the spellings exactly.",
        )
    return float(units[unit]), float(_ZEROS.get(unit, Fraction()))


def _unit(text: object, item: Parameter) -> str:
    return next(
        (unit for unit in item.units if isinstance(text, str) and text.endswith(unit)),
        "",
    )
