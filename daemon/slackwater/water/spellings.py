"""Every spelling of a unit that is accepted anywhere, and nothing else.

Floor 1. One subject: unit spellings. Laws here: spellings are exact, case and all,
because `ML` is a thousand million `mL`; a spelling that is not here is refused; a unit
belongs to a parameter.
Source: SI brochure for names and prefixes; a German degree is by definition 10 mg/L CaO
(old national standard), factors from IUPAC conventional atomic weights.
"""

from collections.abc import Iterable, Mapping
from fractions import Fraction
from functools import cache
from typing import Literal, assert_never

from slackwater.water.masses import molar_mass
from slackwater.water.parameters import Parameter

Physical = Literal[
    "volume",
    "length",
    "temperature",
    "duration",
    "flow",
    "mass",
    "stock",
    "share",
    "conductivity",
]

# Micro is written in three ways: the letter u, the micro sign (U+00B5) and the Greek
# letter (U+03BC); keyboards differ.
_MICRO = ("u", "µ", "μ")
_MICRO_AS_LETTER = str.maketrans({"µ": "u", "μ": "u"})

# What pint calls each spelling.
VOLUMES: Mapping[str, str] = {
    **{f"{micro}L": "microliter" for micro in _MICRO},
    "mL": "milliliter",
    "ml": "milliliter",
    "L": "liter",
    "l": "liter",
    "litre": "liter",
    "litres": "liter",
    "US gal": "US_liquid_gallon",
    "US gallon": "US_liquid_gallon",
    "US gallons": "US_liquid_gallon",
    "imperial gallon": "imperial_gallon",
    "imperial gallons": "imperial_gallon",
}
DURATIONS: Mapping[str, str] = {
    "ms": "millisecond",
    "s": "second",
    "min": "minute",
    "h": "hour",
    "d": "day",
    "day": "day",
    "days": "day",
}
_FLOW_VOLUMES = (*(f"{micro}L" for micro in _MICRO), "mL", "ml", "L", "l", "US gal")
_FLOW_TIMES = ("s", "min", "h", "d", "day")

PHYSICAL: Mapping[Physical, Mapping[str, str]] = {
    "volume": VOLUMES,
    "length": {
        "mm": "millimeter",
        "cm": "centimeter",
        "m": "meter",
        "in": "inch",
        "ft": "foot",
    },
    "temperature": {
        "degC": "degC",
        "°C": "degC",
        "degF": "degF",
        "°F": "degF",
    },
    "duration": DURATIONS,
    "flow": {
        f"{volume}/{time}": f"{VOLUMES[volume]}/{DURATIONS[time]}"
        for volume in _FLOW_VOLUMES
        for time in _FLOW_TIMES
    },
    "mass": {
        **{f"{micro}g": "microgram" for micro in _MICRO},
        "mg": "milligram",
        "g": "gram",
        "kg": "kilogram",
        "oz": "ounce",
        "lb": "pound",
    },
    "stock": {
        "g/L": "gram/liter",
        "mg/mL": "milligram/milliliter",
        "mg/L": "milligram/liter",
    },
    "share": {"%": "percent", "percent": "percent"},
    "conductivity": {
        "mS/cm": "millisiemens/centimeter",
        **{f"{micro}S/cm": "microsiemens/centimeter" for micro in _MICRO},
        "S/m": "siemens/meter",
    },
}

# The unit numbers have inside.
INNER: Mapping[Physical, str] = {
    "volume": "microliter",
    "length": "millimeter",
    "temperature": "degC",
    "duration": "second",
    "flow": "microliter/second",
    "mass": "gram",
    "stock": "gram/liter",
    "share": "dimensionless",
    "conductivity": "millisiemens/centimeter",
}

# One degree is 10 mg/L CaO, and a mole of CaO or CaCO3 takes up two equivalents.
_DKH_IN_MEQ_PER_L = 2 * 10 / molar_mass("CaO")
_CACO3_IN_MEQ_PER_L = 2 / molar_mass("CaCO3")

_ALKALINITY = {
    "dKH": _DKH_IN_MEQ_PER_L,
    "meq/L": Fraction(1),
    "mg/L CaCO3": _CACO3_IN_MEQ_PER_L,
    "ppm CaCO3": _CACO3_IN_MEQ_PER_L,
}
_MILLIGRAMS = {
    "mg/L": Fraction(1),
    **{f"{micro}g/L": Fraction(1, 1000) for micro in _MICRO},
}
_MICROGRAMS = {unit: factor * 1000 for unit, factor in _MILLIGRAMS.items()}

# Another form of the same element has its name behind the unit: a factor of 3 or 4
# hides in "mg/L of nitrate".
_FORMS: Mapping[str, Mapping[str, tuple[str, str]]] = {
    "nitrate": {"NO3": ("NO3", "NO3"), "NO3-N": ("NO3", "N")},
    "phosphate": {"PO4": ("PO4", "PO4"), "PO4-P": ("PO4", "P")},
    "silicon": {"Si": ("Si", "Si"), "SiO2": ("Si", "SiO2")},
    "sulfate": {"SO4": ("SO4", "SO4"), "S": ("SO4", "S")},
    "boron": {"B": ("B", "B"), "B(OH)3": ("B", "B(OH)3")},
}
_OF_STATES: Mapping[str, Mapping[str, Fraction]] = {
    "salinity": {"PSU": Fraction(1)},
    "ph": {"pH": Fraction(1)},
    "temperature": {
        "degC": Fraction(1),
        "°C": Fraction(1),
        "degF": Fraction(5, 9),
        "°F": Fraction(5, 9),
    },
}
# Where numbers of a unit have another zero.
_ZEROS = {"degF": Fraction(-160, 9), "°F": Fraction(-160, 9)}

_MASS_STRENGTHS = {
    "mg/mL": Fraction(10**6),
    **{f"{micro}g/mL": Fraction(10**3) for micro in _MICRO},
}


def units_of(parameter: Parameter) -> Mapping[str, Fraction]:
    """The unit spellings of a parameter and what one of each is in its canonical unit.

    Shape: the first spelling is the one to write in examples.
    """
    match parameter.kind:
        case "alkalinity":
            return _ALKALINITY
        case "carbon":
            return {"mmol/L": Fraction(1), "mmol C/L": Fraction(1)}
        case "state":
            return _OF_STATES[parameter.id]
        case "trace" | "contaminant":
            return {"ug/L": Fraction(1), **_MICROGRAMS}
        case "major" | "nutrient":
            return {**_MILLIGRAMS, **_forms_of(parameter.id)}
        case unreachable:
            assert_never(unreachable)


def told_units(spellings: Iterable[str]) -> str:
    """Spellings for people, in order: of three signs for micro only the letter."""
    return _told(tuple(spellings))


# Asked for with every figure of a file, in case it is refused.
@cache
def _told(known: tuple[str, ...]) -> str:
    plain = {one: one.translate(_MICRO_AS_LETTER) for one in known}
    return ", ".join(
        one for one in known if plain[one] == one or plain[one] not in known
    )


def zero_of(unit: str) -> Fraction:
    """What a bare 0 of a unit is in the canonical unit, beside its factor."""
    return _ZEROS.get(unit, Fraction())


def strengths_of(parameter: Parameter) -> Mapping[str, Fraction]:
    """Spellings of what one millilitre holds, as pico-units per microlitre.

    Shape: by the millilitre only; "5 mg/L" would pass for a content where a level was
    meant.
    """
    match parameter.kind:
        case "alkalinity":
            return {"meq/mL": Fraction(10**6)}
        case "carbon":
            return {"mmol/mL": Fraction(10**6), "mmol C/mL": Fraction(10**6)}
        case _:
            return _MASS_STRENGTHS


def forms_of(parameter_id: str) -> tuple[str, ...]:
    """The forms that may stand behind a unit; the first is what a bare unit means.

    Empty where there is only one form.
    """
    return tuple(_FORMS.get(parameter_id, ()))


@cache
def _forms_of(parameter_id: str) -> Mapping[str, Fraction]:
    return {
        f"{unit} {name}": factor * molar_mass(inside) / molar_mass(written)
        for unit, factor in _MILLIGRAMS.items()
        for name, (inside, written) in _FORMS.get(parameter_id, {}).items()
    }
