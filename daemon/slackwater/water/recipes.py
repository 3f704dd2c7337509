"""From a strength to grams on the scale, and from a need to a strength.

Floor 1. One subject: making stock solutions. Laws here: exact fractions; crystal water
and purity are always asked for; a recipe keeps to nine tenths of what dissolves at the
coldest place; a stock is as strong as the smallest reliable dose of its pump allows and
no stronger; grams are rounded down.
Units: pico-units (peq, pg, pmol), microlitres, grams per litre of finished solution.
Source: molar masses from `masses`, solubilities as in `salts`; the rounding is common
practice, no source.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor

from slackwater.water.ions import IONS
from slackwater.water.parameters import PARAMETERS, Number, parameter_named
from slackwater.water.ranges import refused
from slackwater.water.salts import (
    Salt,
    most_grams_per_litre,
    salt_named,
    water_in,
)
from slackwater.water.solutions import (
    BOTTLE_WARNING_DKH,
    LARGEST_SHARE_DISSOLVED,
    Stock,
)
from slackwater.water.spellings import units_of
from slackwater.water.texts import Place

# Kitchen scales show so many digits of what is weighed.
_DIGITS = 3
_PICO_PER_UL = 10**6
# Room above the smallest reliable dose, so that a smaller dose of tomorrow still fits.
_ROOM = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Jar:
    """A salt as it is sold.

    Units: purity as a part of 1. `hydrate` is "2H2O" or "anhydrous", None where it
    has one form.
    """

    formula: str
    purity: Fraction
    hydrate: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """What a pump is to give: so much of a parameter a day in so many doses.

    Units: pico-units for the whole tank and day; microlitres.
    """

    parameter: str
    amount_pico_per_day: int
    doses_per_day: int
    smallest_dose_ul: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """A stock that fits a need.

    Units: grams per litre of finished solution, as they stand in the jar; pico-units
    per microlitre; microlitres a dose, before any rounding of the pump.
    `limited_by_solubility` where the salt, and not the pump, sets the strength.
    """

    grams_per_litre: Fraction
    strength_pico_per_ul: Fraction
    dose_ul: Fraction
    limited_by_solubility: bool


def mass_fraction(jar: Jar, identity: str) -> Fraction:
    """What one gram from a jar adds to a parameter.

    Units: grams per gram; equivalents or moles per gram for alkalinity and carbon.
    Raises: InputError for an unknown salt or form, or one that does not hold it;
    OutOfRangeError for a purity outside 0..1.
    """
    salt = salt_named(jar.formula, where="")
    count = water_in(salt, jar.hydrate, where="")
    if not 0 < jar.purity <= 1:
        raise refused(
            what=f"a purity of {float(jar.purity) * 100:g} %",
            expected="above 0 % and at most 100 %",
        )
    per_mol = _moved(salt).get(parameter_named(identity, where="").id)
    if per_mol is None:
        place = Place(where="", expected="a salt that holds the parameter")
        place.refuse(f"{salt.formula} does not add {identity}", "Choose another salt.")
    return per_mol / salt.grams_per_mol(count) * jar.purity


def side_effects(jar: Jar, identity: str) -> Mapping[str, Fraction]:
    """What a jar adds besides, for each unit of the parameter it is chosen for.

    Shape: by parameter, sorted; the salt left behind is not counted.
    Units: of each parameter as in `mass_fraction`.
    Raises: InputError and OutOfRangeError as `mass_fraction`.
    """
    chosen = mass_fraction(jar, identity)
    moved = _moved(salt_named(jar.formula, where=""))
    return {
        name: mass_fraction(jar, name) / chosen
        for name in sorted(moved)
        if name != identity
    }


def grams_per_litre_for(
    jar: Jar, identity: str, strength_pico_per_ul: Number
) -> Fraction:
    """What to weigh in for a strength, per litre of finished solution.

    Shape: "made up to one litre" with the salt in it, not poured on one litre.
    Range: strength above 0. Raises: InputError as `mass_fraction`, OutOfRangeError.
    """
    strength = Fraction(strength_pico_per_ul)
    if strength <= 0:
        raise refused(what=f"a strength of {float(strength):g}", expected="above 0")
    return strength / _PICO_PER_UL / mass_fraction(jar, identity)


def most_from_jar_grams_per_litre(
    jar: Jar, coldest_celsius: Fraction
) -> Fraction | None:
    """The most to weigh in of a jar, None for a liquid that mixes with water.

    Range: coldest storage temperature 0..40 degC.
    Raises: InputError for an unknown salt or form, OutOfRangeError for the temperature.
    Source: nine tenths of what dissolves, see `salts`; of calcium hydroxide, which
    stands over its own solid on purpose, all of it.
    """
    salt = salt_named(jar.formula, where="")
    most = most_grams_per_litre(salt, coldest_celsius)
    if most is None:
        return None
    share = Fraction(1) if salt.used_saturated else LARGEST_SHARE_DISSOLVED
    count = water_in(salt, jar.hydrate, where="")
    return most * share * salt.grams_per_mol(count) / salt.grams_per_mol(0) / jar.purity


def recipe_for(need: Need, jar: Jar, coldest_celsius: Fraction) -> Recipe:
    """The strongest stock whose doses a pump still gives reliably.

    Shape: a dose is twice the smallest reliable one, or more where less dissolves.
    Range: amount, doses and smallest dose above 0.
    Raises: InputError as `mass_fraction`, OutOfRangeError outside the range.
    """
    if min(need.amount_pico_per_day, need.doses_per_day, need.smallest_dose_ul) <= 0:
        raise refused(
            what=f"{need.amount_pico_per_day} a day in {need.doses_per_day} doses of "
            f"{need.smallest_dose_ul} uL or more",
            expected="three numbers above 0",
        )
    per_dose = Fraction(need.amount_pico_per_day, need.doses_per_day)
    strongest = per_dose / (_ROOM * need.smallest_dose_ul)
    grams = grams_per_litre_for(jar, need.parameter, strongest)
    most = most_from_jar_grams_per_litre(jar, coldest_celsius)
    limited = most is not None and grams > most
    weighed = readable(most if most is not None and limited else grams)
    strength = weighed * mass_fraction(jar, need.parameter) * _PICO_PER_UL
    return Recipe(
        grams_per_litre=weighed,
        strength_pico_per_ul=strength,
        dose_ul=per_dose / strength,
        limited_by_solubility=limited,
    )


def days_between(
    amount_pico_per_day: int, strength_pico_per_ul: int, smallest_dose_ul: int
) -> int:
    """Every how many days a stock that is too strong may be dosed.

    Shape: 1 where the daily amount is a reliable dose. Range: all above 0.
    Raises: OutOfRangeError outside it.
    """
    if min(amount_pico_per_day, strength_pico_per_ul, smallest_dose_ul) <= 0:
        raise refused(
            what=f"{amount_pico_per_day} a day of a stock with {strength_pico_per_ul} "
            f"in a microlitre, doses of {smallest_dose_ul} uL",
            expected="three numbers above 0",
        )
    return ceil(Fraction(smallest_dose_ul * strength_pico_per_ul, amount_pico_per_day))


def readable(grams: Fraction) -> Fraction:
    """A mass rounded down to what a scale shows, three digits.

    Range: above 0. Raises: OutOfRangeError outside it.
    """
    if grams <= 0:
        raise refused(what=f"a mass of {float(grams):g} g", expected="above 0 g")
    step = Fraction(1)
    while floor(grams / step) >= 10**_DIGITS:
        step *= 10
    while floor(grams / step) < 10 ** (_DIGITS - 1):
        step /= 10
    return floor(grams / step) * step


def harmless_bottle_ul(stock: Stock, net_litres: Number) -> int | None:
    """The largest bottle that may run empty into the tank without great harm.

    Shape: whole microlitres, rounded down; None for a stock without alkalinity.
    Range: net volume above 0. Raises: OutOfRangeError outside it.
    Source: a rise of 3 dKH, common practice, no source.
    """
    strength = stock.effects.get("alkalinity", 0)
    litres = Fraction(net_litres)
    if litres <= 0:
        raise refused(what=f"found {float(litres):g} L", expected="above 0 L")
    if not strength:
        return None
    item = PARAMETERS["alkalinity"]
    rise = BOTTLE_WARNING_DKH * units_of(item)["dKH"]
    return floor(rise * litres * item.pico_per_unit / strength)


def _moved(salt: Salt) -> Mapping[str, Fraction]:
    """What a mole of a salt moves, by parameter, in grams, equivalents or moles."""
    moved: dict[str, Fraction] = {}
    for ion, count in salt.ions.items():
        for identity, per_mol in IONS[ion].moves.items():
            moved[identity] = moved.get(identity, Fraction()) + per_mol * count
    return moved
