"""Recipes, by molar masses from outside and against the stock they make."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from molmass import Formula

from slackwater.errors import InputError, OutOfRangeError
from slackwater.water.recipes import (
    Jar,
    Need,
    days_between,
    grams_per_litre_for,
    harmless_bottle_ul,
    mass_fraction,
    most_from_jar_grams_per_litre,
    readable,
    recipe_for,
    side_effects,
)
from slackwater.water.solutions import (
    Portion,
    Stock,
    emptied_bottle_dkh,
    saturated_limewater,
    stock_from_recipe,
)

PURE = Fraction(1)
SODA = Jar(formula="Na2CO3", hydrate="anhydrous", purity=PURE)
COLD = Fraction(15)


def stock_of(jar: Jar, grams: Fraction) -> Stock:
    """The stock that a jar makes."""
    portion = Portion(
        formula=jar.formula,
        grams_per_litre=grams,
        purity=jar.purity,
        hydrate=jar.hydrate,
    )
    return stock_from_recipe([portion], coldest_celsius=COLD, where="")


# Written for the oracle with crystal water; equivalents a mole for alkalinity.
@pytest.mark.parametrize(
    ("formula", "hydrate", "whole", "parameter", "part"),
    [
        ("CaCl2", "2H2O", "CaCl2(H2O)2", "calcium", Formula("Ca").mass),
        ("CaCl2", "anhydrous", "CaCl2", "calcium", Formula("Ca").mass),
        ("MgCl2", "6H2O", "MgCl2(H2O)6", "magnesium", Formula("Mg").mass),
        ("MgSO4", "7H2O", "MgSO4(H2O)7", "magnesium", Formula("Mg").mass),
        ("KCl", None, "KCl", "potassium", Formula("K").mass),
        ("SrCl2", "6H2O", "SrCl2(H2O)6", "strontium", Formula("Sr").mass),
        ("KI", None, "KI", "iodine", Formula("I").mass),
        ("NaNO3", None, "NaNO3", "nitrate", Formula("NO3").mass),
        ("KNO3", None, "KNO3", "nitrate", Formula("NO3").mass),
        ("KNO3", None, "KNO3", "potassium", Formula("K").mass),
        ("Ca(NO3)2", "4H2O", "Ca(NO3)2(H2O)4", "nitrate", 2 * Formula("NO3").mass),
        ("Na2HPO4", "anhydrous", "Na2HPO4", "phosphate", Formula("PO4").mass),
        ("KH2PO4", None, "KH2PO4", "phosphate", Formula("PO4").mass),
        ("Na2CO3", "10H2O", "Na2CO3(H2O)10", "alkalinity", 2.0),
        ("NaHCO3", None, "NaHCO3", "alkalinity", 1.0),
        ("NaOH", None, "NaOH", "alkalinity", 1.0),
        ("CH3COOH", None, "CH3COOH", "carbon", 2.0),
    ],
)
def test_a_mass_fraction_is_that_of_the_formula(
    formula: str, hydrate: str | None, whole: str, parameter: str, part: float
) -> None:
    """Oracle: molmass."""
    jar = Jar(formula=formula, hydrate=hydrate, purity=PURE)
    near = pytest.approx(part / Formula(whole).mass, rel=3e-4)
    assert near == float(mass_fraction(jar, parameter))


# As printed in tables of the trade: nitrate and phosphate of common salts.
@pytest.mark.parametrize(
    ("formula", "hydrate", "parameter", "printed"),
    [
        ("NaNO3", None, "nitrate", 0.7295),
        ("KNO3", None, "nitrate", 0.6133),
        ("KNO3", None, "potassium", 0.387),
        ("Ca(NO3)2", "4H2O", "nitrate", 0.5251),
        ("Na2HPO4", "anhydrous", "phosphate", 0.669),
        ("KH2PO4", None, "phosphate", 0.698),
    ],
)
def test_nutrient_salts_hold_what_is_known_of_them(
    formula: str, hydrate: str | None, parameter: str, printed: float
) -> None:
    """Three digits and more."""
    jar = Jar(formula=formula, hydrate=hydrate, purity=PURE)
    assert pytest.approx(printed, abs=5e-4) == float(mass_fraction(jar, parameter))


def test_what_comes_along_is_told() -> None:
    """Potassium nitrate brings 0.63 g of potassium with a gram of nitrate."""
    found = side_effects(Jar(formula="KNO3", purity=PURE), "nitrate")
    near = Formula("K").mass / Formula("NO3").mass
    assert {"potassium": pytest.approx(near, rel=1e-4)} == {
        name: float(share) for name, share in found.items()
    }
    assert {} == side_effects(SODA, "alkalinity")


def test_the_wrong_form_of_a_salt_makes_a_weak_stock() -> None:
    """A quarter of the calcium, nearly two thirds of the soda."""
    wet = Jar(formula="CaCl2", hydrate="2H2O", purity=PURE)
    dry = Jar(formula="CaCl2", hydrate="anhydrous", purity=PURE)
    lost = 1 - mass_fraction(wet, "calcium") / mass_fraction(dry, "calcium")
    assert pytest.approx(0.245, abs=1e-3) == float(lost)
    washing = Jar(formula="Na2CO3", hydrate="10H2O", purity=PURE)
    lost = 1 - mass_fraction(washing, "alkalinity") / mass_fraction(SODA, "alkalinity")
    assert pytest.approx(0.630, abs=1e-3) == float(lost)


@given(grams=st.integers(1, 90), percent=st.integers(50, 100))
def test_grams_and_strength_undo_each_other(grams: int, percent: int) -> None:
    """The stock of a recipe is as strong as was asked for, rounded up by a peq."""
    jar = Jar(formula="Na2CO3", hydrate="anhydrous", purity=Fraction(percent, 100))
    strength = stock_of(jar, Fraction(grams)).effects["alkalinity"]
    back = grams_per_litre_for(jar, "alkalinity", strength)
    assert grams <= back < grams * Fraction(strength + 1, strength)


def test_half_the_purity_wants_twice_the_mass() -> None:
    """Purity is part of the jar."""
    half = Jar(formula="KCl", purity=Fraction(1, 2))
    whole = Jar(formula="KCl", purity=PURE)
    assert 2 * grams_per_litre_for(whole, "potassium", 1000) == (
        grams_per_litre_for(half, "potassium", 1000)
    )


@pytest.mark.parametrize(
    ("formula", "hydrate"),
    [("Na2CO3", "anhydrous"), ("Na2CO3", "10H2O"), ("CaCl2", "2H2O"), ("NaHCO3", None)],
)
def test_the_most_from_a_jar_is_the_most_that_is_accepted(
    formula: str, hydrate: str | None
) -> None:
    """A hair more is refused by the stock itself."""
    jar = Jar(formula=formula, hydrate=hydrate, purity=Fraction(98, 100))
    most = most_from_jar_grams_per_litre(jar, COLD)
    assert most is not None
    assert stock_of(jar, most).effects
    with pytest.raises(InputError, match="of what may be dissolved"):
        stock_of(jar, most * Fraction(1001, 1000))


def test_limewater_is_saturated_and_a_liquid_has_no_limit() -> None:
    """The solid at the bottom of limewater is meant to be there."""
    lime = Jar(formula="Ca(OH)2", purity=PURE)
    most = most_from_jar_grams_per_litre(lime, Fraction(25))
    assert most is not None
    assert pytest.approx(1.63, abs=0.05) == float(most)
    acid = Jar(formula="CH3COOH", purity=PURE)
    assert most_from_jar_grams_per_litre(acid, COLD) is None


def need(amount: int, *, doses: int = 24, smallest: int = 500) -> Need:
    """So much alkalinity a day."""
    return Need(
        parameter="alkalinity",
        amount_pico_per_day=amount,
        doses_per_day=doses,
        smallest_dose_ul=smallest,
    )


def test_a_stock_fits_the_smallest_dose_of_its_pump() -> None:
    """1.5 dKH a day in 250 L, 24 doses, 0.5 mL the smallest: 1 mL doses at first."""
    amount = int(Fraction("1.5") * Fraction("0.35665246") * 250 * 10**9)
    found = recipe_for(need(amount, smallest=2000), SODA, COLD)
    assert not found.limited_by_solubility
    assert 4000 <= found.dose_ul <= 4000 * Fraction(101, 100)
    strength = stock_of(SODA, found.grams_per_litre).effects["alkalinity"]
    assert pytest.approx(strength, rel=1e-6) == float(found.strength_pico_per_ul)


def test_a_small_need_gets_a_weak_stock() -> None:
    """A trace of 75 µg a day: a stock that can be dosed at all."""
    manganese = Jar(formula="MnCl2", hydrate="4H2O", purity=PURE)
    trace = Need(
        parameter="manganese",
        amount_pico_per_day=75 * 10**6,
        doses_per_day=1,
        smallest_dose_ul=500,
    )
    found = recipe_for(trace, manganese, COLD)
    # 75 µg in a millilitre; oracle: molmass.
    share = Formula("Mn").mass / Formula("MnCl2(H2O)4").mass
    assert pytest.approx(0.075 / share, rel=1e-2) == float(found.grams_per_litre)
    assert 1000 <= found.dose_ul <= 1010


def test_a_large_need_is_bounded_by_what_dissolves() -> None:
    """Then a dose is larger than the pump would ask for."""
    bicarbonate = Jar(formula="NaHCO3", purity=PURE)
    found = recipe_for(need(10**13), bicarbonate, COLD)
    most = most_from_jar_grams_per_litre(bicarbonate, COLD)
    assert found.limited_by_solubility
    assert most is not None
    assert found.grams_per_litre <= most
    assert found.dose_ul > 1000


def test_a_liquid_is_bounded_by_the_pump_only() -> None:
    """Vinegar mixes in any proportion."""
    acid = Jar(formula="CH3COOH", purity=PURE)
    carbon = Need(
        parameter="carbon",
        amount_pico_per_day=10**10,
        doses_per_day=10,
        smallest_dose_ul=500,
    )
    found = recipe_for(carbon, acid, COLD)
    assert not found.limited_by_solubility
    assert 1000 <= found.dose_ul <= 1010


@pytest.mark.parametrize(
    ("amount", "strength", "smallest", "days"),
    [(75, 1, 75, 1), (75, 1, 76, 2), (75, 1000, 500, 6667), (75, 1, 10, 1)],
)
def test_a_stock_too_strong_is_dosed_every_few_days(
    amount: int, strength: int, smallest: int, days: int
) -> None:
    """As often as its smallest dose lasts."""
    assert days == days_between(amount, strength, smallest)


@pytest.mark.parametrize(
    ("exact", "shown"),
    [
        ("138.699", "138"),
        ("0.075349", "0.0753"),
        ("1000", "1000"),
        ("1.0", "1"),
        ("99999", "99900"),
    ],
)
def test_grams_are_rounded_down_to_the_scale(exact: str, shown: str) -> None:
    """Three digits, never more than was reckoned."""
    assert Fraction(shown) == readable(Fraction(exact))


def test_a_harmless_bottle_lifts_three_degrees() -> None:
    """142 mL of 100 g/L soda on 250 L; what the bottle figure says of it."""
    stock = stock_of(SODA, Fraction(100))
    bottle = harmless_bottle_ul(stock, 250)
    assert bottle is not None
    assert pytest.approx(142_000, rel=5e-3) == bottle
    assert emptied_bottle_dkh(stock, bottle, 250) <= 3
    assert emptied_bottle_dkh(stock, bottle + 1, 250) > 3


def test_limewater_may_stand_in_a_barrel_and_calcium_anywhere() -> None:
    """The weak stock allows 6 L, the one without alkalinity any bottle."""
    barrel = harmless_bottle_ul(saturated_limewater(Fraction(25)), 250)
    assert barrel is not None
    assert 5_500_000 < barrel < 6_500_000
    chloride = Jar(formula="CaCl2", hydrate="2H2O", purity=PURE)
    assert harmless_bottle_ul(stock_of(chloride, Fraction(100)), 250) is None


def test_a_jar_that_cannot_do_it_is_refused() -> None:
    """Wrong salt, open form, unknown parameter, no purity."""
    with pytest.raises(InputError, match="does not add calcium"):
        mass_fraction(SODA, "calcium")
    with pytest.raises(InputError, match="crystal water"):
        mass_fraction(Jar(formula="CaCl2", purity=PURE), "calcium")
    with pytest.raises(InputError, match="unknown"):
        mass_fraction(SODA, "gold")
    for percent in (0, 101):
        jar = Jar(formula="KCl", purity=Fraction(percent, 100))
        with pytest.raises(OutOfRangeError, match="purity"):
            mass_fraction(jar, "potassium")


def test_numbers_that_are_no_need_are_refused() -> None:
    """Nothing a day, no dose, no strength, no mass, no water."""
    for wrong in (need(0), need(1, doses=0), need(1, smallest=0)):
        with pytest.raises(OutOfRangeError):
            recipe_for(wrong, SODA, COLD)
    with pytest.raises(OutOfRangeError):
        grams_per_litre_for(SODA, "alkalinity", 0)
    with pytest.raises(OutOfRangeError):
        days_between(0, 1, 1)
    with pytest.raises(OutOfRangeError):
        readable(Fraction())
    with pytest.raises(OutOfRangeError):
        harmless_bottle_ul(stock_of(SODA, Fraction(100)), 0)
    with pytest.raises(OutOfRangeError):
        most_from_jar_grams_per_litre(SODA, Fraction(41))
