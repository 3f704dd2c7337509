"""What one microlitre of a stock solution adds to a tank.

Floor 1. One subject: stock solutions. Laws here: strength is mass per litre of finished
solution; everything a salt moves counts as an effect, sodium, chloride and sulfate as
the salt left behind; an effect never shrinks by rounding; a recipe that cannot be
dissolved, or that falls out in its own bottle, is refused.
Units: pico-units per microlitre (peq, pg, pmol).
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations

from slackwater.errors import Finding, InputError
from slackwater.water.cautions import ALWAYS, cautions_of
from slackwater.water.ions import IONS, needs_longer_gap, why_apart
from slackwater.water.levels import parse_strength
from slackwater.water.masses import molar_mass
from slackwater.water.parameters import PARAMETERS, Number, concentration
from slackwater.water.salts import (
    Salt,
    limewater_grams_per_litre,
    most_grams_per_litre,
    salt_named,
    water_in,
)
from slackwater.water.spellings import units_of
from slackwater.water.texts import Place

# Of what would dissolve at the coldest place the bottle stands in.
LARGEST_SHARE_DISSOLVED = Fraction(9, 10)
# A bottle that would lift a tank by more wants its outlet and siphon break looked at.
BOTTLE_WARNING_DKH = 3
_MASS_EXPECTED = "a mass above 0 g in one litre of finished solution"
_PURITY_EXPECTED = "a purity above 0 % and at most 100 %"
_DISSOLVED_EXPECTED = (
    "at most 90 % of what dissolves at the coldest storage temperature, of calcium "
    "hydroxide all of it (limits from memory)"
)
_CHECK = "Check the figure."
# One mol/L is so many pmol per microlitre.
_PMOL_PER_UL = 10**6


@dataclass(frozen=True, slots=True, kw_only=True)
class Portion:
    """One salt of a recipe, as weighed.

    Units: grams in one litre of finished solution; purity as a part of 1. `hydrate` is
    "2H2O" or "anhydrous", None where the salt has one form.
    """

    formula: str
    grams_per_litre: Fraction
    purity: Fraction
    hydrate: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """A stock solution and all that one microlitre of it adds.

    Units: pico-units per microlitre. `effects` holds what it doses, sorted by id,
    `counter_ions` the salt it leaves behind; `ions` is empty when only a label is
    known.
    """

    effects: Mapping[str, int]
    counter_ions: Mapping[str, int]
    ions: tuple[str, ...]
    hydroxide: bool
    cautions: tuple[str, ...]
    fully_declared: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Dissolved:
    """A portion that was read: its salt, and pmol of it in one microlitre."""

    salt: Salt
    pmol_per_ul: Fraction

    def share_of_limit(self, coldest_celsius: Fraction) -> Fraction:
        """The part of what may be weighed in; 0 for liquids."""
        most = most_grams_per_litre(self.salt, coldest_celsius)
        if most is None:
            return Fraction()
        allowed = 1 if self.salt.used_saturated else LARGEST_SHARE_DISSOLVED
        grams_per_litre = self.pmol_per_ul * self.salt.grams_per_mol(0) / _PMOL_PER_UL
        return grams_per_litre / (most * allowed)


def stock_from_recipe(
    portions: Sequence[Portion], *, coldest_celsius: Fraction, where: str
) -> Stock:
    """The stock that a recipe makes.

    Range: coldest storage temperature 0..40 degC.
    Raises: InputError with every finding: an unknown salt or form, a mass not above 0,
    a purity outside 0..1, more than nine tenths of what dissolves (of calcium
    hydroxide: all of it), or salts that fall out together; OutOfRangeError for the
    temperature.
    """
    dissolved = _all_dissolved(portions, where)
    _check_clashes(dissolved, where)
    _check_dissolves(dissolved, coldest_celsius, where)
    return _mixed(dissolved)


def stock_from_label(
    strengths: Mapping[str, str], *, where: str, hydroxide: bool = False
) -> Stock:
    """The stock that a label or a measured rise describes, by parameter.

    Shape: texts as `levels.parse_strength` reads them.
    Raises: InputError with every finding.
    """
    findings: list[Finding] = []
    effects = {}
    for identity, text in sorted(strengths.items()):
        try:
            effects[identity] = parse_strength(
                text, identity, where=f"{where} {identity}".lstrip()
            )
        except InputError as error:
            findings.extend(error.findings)
    if not strengths:
        findings.append(_nothing_inside(where))
    if findings:
        raise InputError(findings)
    return Stock(
        effects=effects,
        counter_ions={},
        ions=(),
        hydroxide=hydroxide,
        cautions=(f"composition known from a label only; {ALWAYS}",),
        fully_declared=False,
    )


def saturated_limewater(celsius: Fraction) -> Stock:
    """Water saturated with calcium hydroxide; its strength is known to 5 percent.

    Range: 0..40 degC. Raises: OutOfRangeError outside it.
    Source: see `salts.limewater_grams_per_litre`.
    """
    salt = salt_named("Ca(OH)2", where="")
    return _mixed([_dissolved(salt, limewater_grams_per_litre(celsius), 0)])


def emptied_bottle_dkh(stock: Stock, bottle_ul: int, net_litres: Number) -> Fraction:
    """How far alkalinity climbs when the whole bottle runs into the tank at once.

    Units: dKH, exact; 0 for a stock without alkalinity.
    Raises: OutOfRangeError for a tank without water.
    """
    amount = stock.effects.get("alkalinity", 0) * bottle_ul
    level = concentration("alkalinity", amount, net_litres)
    return level / units_of(PARAMETERS["alkalinity"])["dKH"]


def _all_dissolved(portions: Iterable[Portion], where: str) -> list[_Dissolved]:
    findings: list[Finding] = []
    dissolved = []
    for number, portion in enumerate(portions, start=1):
        place = f"{where} salt {number}".lstrip()
        try:
            dissolved.append(_portion(portion, place))
        except InputError as error:
            findings.extend(error.findings)
    if not (dissolved or findings):
        findings.append(_nothing_inside(where))
    if findings:
        raise InputError(findings)
    return dissolved


def _portion(portion: Portion, where: str) -> _Dissolved:
    salt = salt_named(portion.formula, where=where)
    water = water_in(salt, portion.hydrate, where=where)
    if not portion.grams_per_litre > 0:
        mass = f"{float(portion.grams_per_litre):g} g/L of {salt.formula}"
        Place(where=where, expected=_MASS_EXPECTED).refuse(mass, _CHECK)
    if not 0 < portion.purity <= 1:
        purity = f"a purity of {float(portion.purity) * 100:g} %"
        Place(where=where, expected=_PURITY_EXPECTED).refuse(purity, _CHECK)
    return _dissolved(salt, portion.grams_per_litre * portion.purity, water)


def _dissolved(salt: Salt, grams_per_litre: Fraction, water: int) -> _Dissolved:
    pmol_per_ul = grams_per_litre * _PMOL_PER_UL / salt.grams_per_mol(water)
    return _Dissolved(salt=salt, pmol_per_ul=pmol_per_ul)


def _check_dissolves(
    dissolved: Iterable[_Dissolved], coldest_celsius: Fraction, where: str
) -> None:
    # Salts of one bottle push each other out, so their shares add up.
    share = sum(
        (item.share_of_limit(coldest_celsius) for item in dissolved), Fraction()
    )
    if share > 1:
        Place(where=where, expected=_DISSOLVED_EXPECTED).refuse(
            f"the recipe is {float(share):.1%} of what may be dissolved at "
            f"{float(coldest_celsius):g} degC",
            "Weigh in less, or keep the bottle warmer and say so.",
        )


def _check_clashes(dissolved: Sequence[_Dissolved], where: str) -> None:
    for one, other in combinations(dissolved, 2):
        reason = why_apart(tuple(one.salt.ions), tuple(other.salt.ions))
        if reason:
            both = f"{one.salt.formula} and {other.salt.formula} in one bottle"
            Place(where=where, expected="salts that stay dissolved together").refuse(
                f"{both}: {reason}", "Make two solutions of them."
            )


def _mixed(dissolved: Sequence[_Dissolved]) -> Stock:
    effects: dict[str, Fraction] = defaultdict(Fraction)
    rest: dict[str, Fraction] = defaultdict(Fraction)
    for item in dissolved:
        for formula, count in item.salt.ions.items():
            ion, pmol_per_ul = IONS[formula], item.pmol_per_ul * count
            for identity, per_mol in ion.moves.items():
                effects[identity] += pmol_per_ul * per_mol
            if ion.rest:
                rest[ion.rest] += pmol_per_ul * molar_mass(ion.formula)
    ions = {formula for item in dissolved for formula in item.salt.ions}
    formulas = dict.fromkeys(item.salt.formula for item in dissolved)
    return Stock(
        effects={name: math.ceil(effects[name]) for name in sorted(effects)},
        counter_ions={name: round(rest[name]) for name in sorted(rest)},
        ions=tuple(sorted(ions)),
        hydroxide=needs_longer_gap(ions),
        cautions=tuple(cautions_of(formula) for formula in formulas),
        fully_declared=True,
    )


def _nothing_inside(where: str) -> Finding:
    return Finding(
        what="nothing says what is in the solution",
        where=where,
        expected="one salt or one strength at least",
        do="Name the salts with their mass, or what a label says.",
    )
