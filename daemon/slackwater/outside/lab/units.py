"""Units as laboratories write them, and the levels they make.

Floor 6. One subject: from a number and a unit to the canonical level. Laws here: pure;
a unit that the parameter does not have is refused with the ones it has; a form in the
unit must not contradict the form in the name; what is stated by the kilogram, ppm and
ppb included, is taken by mass and needs a density.
Source: SI brochure for prefixes; molar masses and alkalinity factors of `water`;
density EOS-80, Fofonoff and Millard 1983, UNESCO Tech. Papers Mar. Sci. 44.
"""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, localcontext
from fractions import Fraction
from typing import Literal

from slackwater.errors import Finding, InputError
from slackwater.outside.lab.names import Analyte, analyte_named
from slackwater.water.masses import ATOMS, atoms_in, molar_mass
from slackwater.water.parameters import PARAMETERS, Parameter
from slackwater.water.salinities import parse_salinity
from slackwater.water.seawater import REFERENCE_PAIRS, density_eos1980
from slackwater.water.spellings import units_of, zero_of
from slackwater.water.texts import did_you_mean, shown

# The temperature at which natural values are given by the litre, here as everywhere.
LABORATORY_CELSIUS = 25.0

Kind = Literal["mass", "mole", "equivalent", "own"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A unit that was understood.

    `scale` is in mg, mmol or meq; `form` names what is expressed, empty when the unit
    does not say. A unit of its own kind (dKH, pH, PSU) has only a `spelling`.
    """

    kind: Kind
    scale: Fraction = Fraction(1)
    by_mass: bool = False
    form: str = ""
    spelling: str = ""


_PREFIXES: Mapping[str, tuple[Kind, Fraction]] = {
    "ng": ("mass", Fraction(1, 10**6)),
    "ug": ("mass", Fraction(1, 10**3)),
    "mg": ("mass", Fraction(1)),
    "g": ("mass", Fraction(10**3)),
    "nmol": ("mole", Fraction(1, 10**6)),
    "umol": ("mole", Fraction(1, 10**3)),
    "mmol": ("mole", Fraction(1)),
    "ueq": ("equivalent", Fraction(1, 10**3)),
    "meq": ("equivalent", Fraction(1)),
}
_OWN: Mapping[str, str] = {
    **dict.fromkeys(("dkh", "\u00b0dkh", "\u00b0 dkh", "dh", "\u00b0dh"), "dKH"),
    **dict.fromkeys(("psu", "pss", "pss-78"), "PSU"),
    **dict.fromkeys(("\u00b0c", "degc", "deg c"), "degC"),
    **dict.fromkeys(("\u00b0f", "degf", "deg f"), "degF"),
    **dict.fromkeys(("ph", "ph units", "ph unit"), "pH"),
    **{f"sg {pair}".casefold(): f"SG {pair}" for pair in REFERENCE_PAIRS},
    "ms/cm at 25 degc": "mS/cm at 25 degC",
}
# By mass, whatever a hobbyist may mean: a laboratory's ppm is mg/kg.
_PARTS = {"ppm": "mg/kg", "ppb": "ug/kg"}
_FORMS = {"N": "NO3-N", "P": "PO4-P", "H3BO3": "B(OH)3"}
_CARBONATE = "CaCO3"
_MOLE = "mmol/L"

_INVERSE = re.compile(r"[ .\u00b7*]?(?:(L)|(kg))\^?-1$")
_UNIT = re.compile(
    r"(?P<prefix>[a-z]{1,4})(?: (?P<inside>[A-Za-z0-9()-]+))?/(?P<per>L|kg)"
    r"(?:(?: as | |-)(?P<behind>[A-Za-z0-9()+-]+))?"
)


def parse_unit(text: str) -> Unit | None:
    """The unit a text stands for, None when it is none that is known."""
    tidy = _tidied(text)
    own = _OWN.get(tidy.casefold())
    if own:
        return Unit(kind="own", spelling=own)
    match = _UNIT.fullmatch(tidy)
    if match is None or match["prefix"] not in _PREFIXES:
        return None
    if match["inside"] and match["behind"]:
        return None
    named = match["inside"] or match["behind"] or ""
    form = _form_of(named)
    if named and form is None:
        return None
    kind, scale = _PREFIXES[match["prefix"]]
    # Hardness in "ppm CaCO3" is by the litre, as a titration gives it.
    by_mass = match["per"] == "kg" and not (
        form == _CARBONATE and text.strip().casefold().startswith("ppm")
    )
    return Unit(kind=kind, scale=scale, by_mass=by_mass, form=form or "")


def density_kg_per_litre(salinity: float) -> Fraction:
    """What a litre of the sample weighs at the laboratory's temperature.

    Raises: OutOfRangeError outside S 0..42.
    """
    return Fraction(density_eos1980(salinity, LABORATORY_CELSIUS)) / 1000


def level_of(
    number: Fraction, unit: Unit, analyte: Analyte, kg_per_litre: Fraction
) -> Fraction:
    """The canonical level of a number.

    Raises: InputError when the unit does not fit the analyte, or the form in the unit
    contradicts the one in the name.
    """
    item = PARAMETERS[analyte.parameter]
    if unit.kind == "own":
        return _own_level(number, unit, item)
    form = _agreed_form(unit, analyte, item)
    factor = _factor(unit, item, form)
    return number * factor * (kg_per_litre if unit.by_mass else 1)


def units_for(item: Parameter) -> tuple[str, ...]:
    """The units a figure of a parameter may have, for messages."""
    match item.kind:
        case "state":
            return tuple(units_of(item))
        case "alkalinity":
            return ("dKH", "meq/L", "mmol/L", "umol/kg", "mg/L CaCO3")
        case _:
            forms = (unit for unit in units_of(item) if unit.startswith("mg/L "))
            molar = (_MOLE, "umol/kg") if item.symbol in _WEIGHED else ()
            return ("mg/L", "ug/L", "ng/L", "mg/kg", "ug/kg", *molar, *forms)


def decimal_text(number: Fraction) -> str:
    """A number as plain digits with a point, at most twelve behind it."""
    with localcontext() as context:
        context.prec = 40
        exact = Decimal(number.numerator) / Decimal(number.denominator)
        text = f"{exact:.12f}"
    return text.rstrip("0").rstrip(".")


_WEIGHED = frozenset(
    item.symbol
    for item in PARAMETERS.values()
    if item.symbol in {"NO3", "PO4", "SO4", *ATOMS} and item.kind != "state"
)


def _tidied(text: str) -> str:
    """One micro sign, one litre, one slash; the case of the rest stays."""
    wide = unicodedata.normalize("NFKC", text).replace("\u03bc", "u")
    flat = " ".join(wide.replace("\u2212", "-").split()).replace("mcg", "ug")
    flat = re.sub(r"\((?:as )?([^()]+(?:\([^()]*\)[^()]*)?)\)$", r"as \1", flat)
    flat = re.sub(r"\s*/\s*|\s+per\s+", "/", flat)
    flat = re.sub(r"(?<=/)(?:l|litre|liter|dm3)(?![a-z])", "L", flat)
    flat = re.sub(r"(?<=[ .\u00b7*])l(?=\^?-1)|(?<=g)l(?=\^?-1)", "L", flat)
    flat = _INVERSE.sub(lambda found: f"/{found[1] or found[2]}", flat)
    for parts, unit in _PARTS.items():
        if flat.casefold().split(" ")[0] == parts:
            return unit + flat[len(parts) :]
    return flat


def _form_of(named: str) -> str | None:
    """The form a unit names, None when nobody knows it."""
    if named in {"", _CARBONATE}:
        return named
    bare = named.removesuffix("-")
    if bare in _FORMS:
        return _FORMS[bare]
    analyte = analyte_named(named)
    if analyte is None:
        return None
    return analyte.form or PARAMETERS[analyte.parameter].symbol


def _own_level(number: Fraction, unit: Unit, item: Parameter) -> Fraction:
    if item.id == "salinity" and unit.spelling not in units_of(item):
        text = f"{decimal_text(number)} {unit.spelling}"
        return Fraction(parse_salinity(text, where="", confirmed=True))
    if unit.spelling not in units_of(item):
        raise _no_such_unit(unit.spelling, item)
    return number * units_of(item)[unit.spelling] + zero_of(unit.spelling)


def _agreed_form(unit: Unit, analyte: Analyte, item: Parameter) -> str:
    if item.kind == "state":
        raise _no_such_unit(_written(unit), item)
    if item.kind == "alkalinity":
        if (unit.form == _CARBONATE) != (unit.kind == "mass"):
            raise _no_such_unit(_written(unit), item)
        return unit.form
    own = item.symbol
    forms = {own, *(text.partition(" ")[2] for text in units_of(item) if " " in text)}
    if (unit.form and unit.form not in forms) or unit.kind == "equivalent":
        raise _no_such_unit(_written(unit), item)
    named = analyte.form
    # "PO4-P" and "P" are one form in two spellings; so are "S" and "SO4-S".
    if unit.form and named and unit.form != named:
        raise _contradiction(unit.form, named, item)
    return unit.form or named or own


def _factor(unit: Unit, item: Parameter, form: str) -> Fraction:
    """What one of the unit, by the litre, is in the canonical unit."""
    units = units_of(item)
    if item.kind == "alkalinity":
        carbonate = units[f"mg/L {_CARBONATE}"]
        return unit.scale * (carbonate if unit.kind == "mass" else 1)
    if unit.kind == "mole":
        # A mole of the form is a mole of the parameter, whatever it is expressed as.
        return unit.scale * _grams_per_mole(item) * units["mg/L"]
    of_form = units.get(f"mg/L {form}", units["mg/L"])
    return unit.scale * of_form


def _grams_per_mole(item: Parameter) -> Fraction:
    if item.symbol not in _WEIGHED or not atoms_in(item.symbol):
        raise _no_such_unit(_MOLE, item)
    return molar_mass(item.symbol)


def _written(unit: Unit) -> str:
    if unit.kind == "own":
        return unit.spelling
    prefix = next(
        text for text, found in _PREFIXES.items() if found == (unit.kind, unit.scale)
    )
    return f"{prefix}/{'kg' if unit.by_mass else 'L'} {unit.form}".rstrip()


def _no_such_unit(spelling: str, item: Parameter) -> InputError:
    known = units_for(item)
    belongs = " dKH is a unit of alkalinity." if spelling == "dKH" else ""
    return InputError(
        Finding(
            what=f"{item.name} has no unit {shown(spelling)}",
            where="",
            expected=f"{item.name} in one of {', '.join(known)}",
            do=f"{did_you_mean(spelling, known)}Check the element and its unit."
            f"{belongs}",
        )
    )


def _contradiction(in_unit: str, in_name: str, item: Parameter) -> InputError:
    return InputError(
        Finding(
            what=f"the name says {item.name} as {in_name}, the unit as {in_unit}",
            where="",
            expected="one form in both",
            do="Ask the laboratory which one the figure is, and mend the other.",
        )
    )
