"""Volumes that were weighed: what a scale shows, by the density of what flowed.

Floor 8. One subject: typed measurement → microlitres. Laws here: grams without a
density are no volume; a density has a unit and is that of a watery solution.
"""

from fractions import Fraction
from types import MappingProxyType

from slackwater.cli.typed import typed_ul
from slackwater.errors import Finding, InputError
from slackwater.outside.settings.quantities import Quantity
from slackwater.outside.settings.tables import Findings

_UL_MG_PER_G_L = 1000


class Density(Quantity):
    """A density, in whole grams per litre."""

    noun = "a density"
    spellings = MappingProxyType(
        {"g/L": Fraction(1), "g/mL": Fraction(1000), "kg/L": Fraction(1000)}
    )


class Mass(Quantity):
    """A mass on a scale, in whole milligrams."""

    noun = "a mass"
    spellings = MappingProxyType({"mg": Fraction(1), "g": Fraction(1000)})


# From spirit to a heavy brine.
DENSITY, MASS = Density("0.7 kg/L", "1.8 kg/L"), Mass("0 mg", "10000 g")


def typed_density(text: str | None, place: str) -> int:
    """The grams per litre of a typed density; 0 where none was given.

    Raises: InputError naming the place, what was found and what is accepted.
    """
    if text is None:
        return 0
    findings = Findings(place)
    return findings.settled(findings.attempt("", lambda: int(DENSITY.read(text))))


def measured_ul(text: str, place: str, *, grams_per_litre: int) -> int:
    """The microlitres of what a person read off a cylinder or a scale.

    Raises: InputError for neither a volume nor a mass, and for a mass without density.
    """
    if text.strip().lstrip("0123456789. ") not in MASS.spellings:
        return typed_ul(text, place)
    if not grams_per_litre:
        raise InputError(_no_density(text, place))
    findings = Findings(place)
    mass_mg = findings.settled(findings.attempt("", lambda: int(MASS.read(text))))
    return mass_mg * _UL_MG_PER_G_L // grams_per_litre


def _no_density(text: str, place: str) -> Finding:
    return Finding(
        what=f'"{text}" is a mass, and nobody said how heavy the solution is',
        where=place,
        expected="a volume like 2.05 mL, or the density of the solution",
        do='Start again with  --density "1.05 kg/L"  (weigh 100 mL of it), or type '
        "what a cylinder shows.",
    )
