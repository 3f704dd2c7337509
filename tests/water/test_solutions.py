"""Stock solutions: what one microlitre adds."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.errors import InputError, OutOfRangeError
from slackwater.water.ions import IONS
from slackwater.water.salts import SALTS, form_of
from slackwater.water.solutions import (
    BOTTLE_WARNING_DKH,
    Portion,
    Stock,
    emptied_bottle_dkh,
    saturated_limewater,
    stock_from_label,
    stock_from_recipe,
)


def portion(
    formula: str,
    grams: float | Fraction,
    hydrate: str | None = None,
    purity: str = "1",
) -> Portion:
    """One salt, pure when nothing else is said."""
    return Portion(
        formula=formula,
        hydrate=hydrate,
        grams_per_litre=Fraction(grams),
        purity=Fraction(purity),
    )


def made(*portions: Portion, celsius: int = 20) -> Stock:
    """A stock kept at 20 degC when nothing else is said."""
    return stock_from_recipe(portions, coldest_celsius=Fraction(celsius), where="here")


def test_a_recipe_gives_effects_salt_ions_and_cautions() -> None:
    """100 g/L of soda: 1.887 meq/mL and 43.38 mg/mL of sodium."""
    stock = made(portion("Na2CO3", 100, "anhydrous"))
    assert {"alkalinity": 1_887_007} == stock.effects
    assert {"sodium": 43_382_270} == stock.counter_ions
    assert ("CO3", "Na") == stock.ions
    assert (False, True) == (stock.hydroxide, stock.fully_declared)
    assert stock.cautions[0].startswith("Na2CO3: H319 (from memory)")


@pytest.mark.parametrize(
    ("salt", "effects", "rest"),
    [
        (portion("KNO3", 50), {"potassium", "nitrate"}, set()),
        (portion("MgSO4", 100, "7H2O"), {"magnesium"}, {"sulfate"}),
        (portion("Ca(NO3)2", 50, "4H2O"), {"calcium", "nitrate"}, set()),
        (portion("NaNO3", 50), {"nitrate"}, {"sodium"}),
        (portion("KH2PO4", 1), {"potassium", "phosphate"}, set()),
        (portion("Na2HPO4", 1, "2H2O"), {"phosphate", "alkalinity"}, {"sodium"}),
        (portion("KBr", 1), {"potassium", "bromide"}, set()),
        (portion("H3BO3", 10), {"boron"}, set()),
        (portion("Na2B4O7", 10, "10H2O"), {"boron", "alkalinity"}, {"sodium"}),
        (portion("NaF", 1), {"fluoride"}, {"sodium"}),
        (portion("CH3COOH", 50), {"carbon"}, set()),
        (portion("Na2MoO4", 1, "2H2O"), {"molybdenum"}, {"sodium"}),
        (portion("NaCl", 100), set(), {"sodium", "chloride"}),
        (portion("Ca(OH)2", 1), {"calcium", "alkalinity"}, set()),
    ],
)
def test_every_side_effect_counts(
    salt: Portion, effects: set[str], rest: set[str]
) -> None:
    """What a salt moves besides its purpose is an effect, plain salt is not."""
    stock = made(salt)
    assert (effects, rest) == (set(stock.effects), set(stock.counter_ions))


# Mass fractions: from IUPAC conventional atomic weights, to four figures.
@pytest.mark.parametrize(
    ("salt", "parameter", "fraction"),
    [
        (portion("NaNO3", 100), "nitrate", 0.7295),
        (portion("KNO3", 100), "nitrate", 0.6133),
        (portion("KNO3", 100), "potassium", 0.3867),
        (portion("Ca(NO3)2", 100, "4H2O"), "nitrate", 0.5251),
        (portion("Na2HPO4", 10, "anhydrous"), "phosphate", 0.6690),
        (portion("KH2PO4", 10), "phosphate", 0.6979),
        (portion("CaCl2", 100, "anhydrous"), "calcium", 0.361135),
    ],
)
def test_mass_fractions_are_those_of_the_formula(
    salt: Portion, parameter: str, fraction: float
) -> None:
    """Picograms per microlitre over micrograms of salt per microlitre."""
    found = made(salt).effects[parameter] / float(salt.grams_per_litre * 10**6)
    assert pytest.approx(fraction, rel=2e-4) == found


def test_vinegar_is_counted_in_moles_of_carbon() -> None:
    """50 g/L of acetic acid is 0.8326 mol/L, two carbons each."""
    assert 1_665_224 == made(portion("CH3COOH", 50)).effects["carbon"]


def test_purity_weakens_a_stock() -> None:
    """Nine tenths pure is nine tenths as strong."""
    full, weak = (
        made(portion("KCl", 100, purity=text)).effects["potassium"]
        for text in ("1", "0.9")
    )
    assert pytest.approx(0.9 * full, abs=1) == weak


def test_a_hydroxide_is_flagged() -> None:
    """Caustic soda and limewater want the longer gap."""
    assert made(portion("NaOH", 40)).hydroxide
    assert saturated_limewater(Fraction(25)).hydroxide


@given(
    formula=st.sampled_from(list(SALTS)),
    milligrams=st.integers(1, 1000),
    percent=st.integers(1, 100),
)
def test_effects_never_shrink_and_never_grow_by_more_than_one(
    formula: str, milligrams: int, percent: int
) -> None:
    """Whole pico-units, rounded up from the exact figure."""
    salt = SALTS[formula]
    pure = Fraction(milligrams, 1000) * Fraction(percent, 100)
    moles = pure / salt.grams_per_mol(salt.waters[-1])
    stock = made(
        Portion(
            formula=formula,
            hydrate=form_of(salt.waters[-1]),
            grams_per_litre=Fraction(milligrams, 1000),
            purity=Fraction(percent, 100),
        )
    )
    for identity, effect in stock.effects.items():
        exact = sum(
            moles * 10**6 * count * IONS[ion].moves.get(identity, 0)
            for ion, count in salt.ions.items()
        )
        assert exact <= effect < exact + 1


@pytest.mark.parametrize(
    ("salt", "expected"),
    [
        (portion("NaCO3", 100), "one of Na2CO3"),
        (portion("CaCl2", 100), "one of anhydrous, 2H2O, 6H2O"),
        (portion("KCl", 0), "a mass above 0 g"),
        (portion("KCl", -1), "a mass above 0 g"),
        (portion("KCl", 100, purity="0"), "a purity above 0 %"),
        (portion("KCl", 100, purity="1.01"), "at most 100 %"),
    ],
)
def test_a_wrong_portion_is_refused_with_its_place(
    salt: Portion, expected: str
) -> None:
    """One finding, with the number of the salt."""
    with pytest.raises(InputError) as refused:
        made(portion("KCl", 1), salt)
    (finding,) = refused.value.findings
    assert "here salt 2" == finding.where
    assert expected in finding.expected


def test_all_wrong_portions_are_named_at_once() -> None:
    """Nobody mends one error to meet the next."""
    with pytest.raises(InputError) as refused:
        made(portion("X", 1), portion("KCl", 0), portion("CaCl2", 1))
    assert 3 == len(refused.value.findings)


def test_an_empty_recipe_is_refused() -> None:
    """A solution of nothing is a slip."""
    with pytest.raises(InputError, match="nothing says"):
        made()


# NaHCO3: 9.6 g per 100 g of water at 20 degC and 6.9 at 0 degC, from memory.
@pytest.mark.parametrize(("grams", "celsius"), [(83, 20), (61, 0), (150, 20)])
def test_more_than_nine_tenths_of_what_dissolves_is_refused(
    grams: int, celsius: int
) -> None:
    """A cold shelf lets a stock fall out."""
    with pytest.raises(InputError, match="of what may be dissolved at"):
        made(portion("NaHCO3", grams), celsius=celsius)


@pytest.mark.parametrize(("grams", "celsius"), [(82, 20), (59, 0)])
def test_nine_tenths_of_what_dissolves_is_allowed(grams: int, celsius: int) -> None:
    """The same salt, a little less."""
    assert made(portion("NaHCO3", grams), celsius=celsius).effects


def test_salts_of_one_bottle_share_the_water() -> None:
    """Two salts that dissolve alone may not dissolve together."""
    one, other = portion("MgCl2", 600, "6H2O"), portion("MgSO4", 200, "7H2O")
    assert made(one).effects
    assert made(other).effects
    with pytest.raises(InputError, match="of what may be dissolved"):
        made(one, other)


def test_crystal_water_counts_as_water() -> None:
    """250 g/L of washing soda holds 93 g/L of salt."""
    with pytest.raises(InputError, match="of what may be dissolved"):
        made(portion("Na2CO3", 250, "anhydrous"))
    assert made(portion("Na2CO3", 250, "10H2O")).effects


# Ca(OH)2 at 20 degC: 0.165 and 0.173 g in 100 g of water, two handbook tabulations.
def test_limewater_may_be_saturated() -> None:
    """It stands over its own solid: all that dissolves is allowed, and no more."""
    strongest = made(portion("Ca(OH)2", Fraction("1.69"))).effects["alkalinity"]
    assert pytest.approx(2 * 1.69e6 / 74.092, rel=1e-4) == strongest
    with pytest.raises(InputError, match=r"100\.6% of what may be dissolved"):
        made(portion("Ca(OH)2", Fraction("1.70")))


def test_a_storage_temperature_outside_the_tables_is_refused() -> None:
    """Nothing is extrapolated below freezing."""
    with pytest.raises(OutOfRangeError):
        made(portion("KCl", 1), celsius=-1)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (portion("CaCl2", 10, "2H2O"), portion("MgSO4", 10, "7H2O")),
        (portion("CaCl2", 10, "2H2O"), portion("NaHCO3", 10)),
        (portion("Ca(NO3)2", 10, "4H2O"), portion("KH2PO4", 1)),
        (portion("FeCl3", 1, "6H2O"), portion("KI", 1)),
    ],
)
def test_salts_that_fall_out_together_are_refused(one: Portion, other: Portion) -> None:
    """Not even in one bottle."""
    with pytest.raises(InputError, match=r"in one bottle: .*fall out"):
        made(one, other)


def test_a_label_gives_the_same_numbers_as_a_recipe() -> None:
    """What a millilitre does, or what it holds."""
    recipe = made(portion("CaCl2", 500, "2H2O")).effects["calcium"]
    label = stock_from_label({"calcium": "136.312310 mg/mL"}, where="")
    assert pytest.approx(recipe, abs=1) == label.effects["calcium"]


def test_a_label_declares_nothing_else() -> None:
    """Ions unknown, salt unknown, hydroxide only when somebody says so."""
    stock = stock_from_label(
        {"alkalinity": "0.05 dKH per mL in 100 L", "boron": "1 mg/mL"},
        where="",
        hydroxide=True,
    )
    assert {"alkalinity": 1_783_263, "boron": 10**6} == stock.effects
    assert ({}, (), True) == (stock.counter_ions, stock.ions, stock.hydroxide)
    assert not stock.fully_declared


def test_every_error_of_a_label_is_named() -> None:
    """Unknown parameter and unknown unit, each with its place."""
    with pytest.raises(InputError) as refused:
        stock_from_label({"calcum": "1 mg/mL", "calcium": "1 dKH"}, where="jar")
    places = [finding.where for finding in refused.value.findings]
    assert ["jar calcium", "jar calcum"] == places


def test_an_empty_label_is_refused() -> None:
    """A bottle without effect is not a stock."""
    with pytest.raises(InputError, match="nothing says"):
        stock_from_label({}, where="")


def test_an_emptied_bottle_is_told_in_degrees() -> None:
    """One litre of 100 g/L soda in 250 L is 21 degrees: far above the warning."""
    stock = made(portion("Na2CO3", 100, "anhydrous"))
    rise = emptied_bottle_dkh(stock, 10**6, 250)
    assert pytest.approx(1887.006 / 250 / 0.35665246, rel=1e-5) == float(rise)
    assert rise > BOTTLE_WARNING_DKH


def test_a_bottle_without_alkalinity_lifts_none() -> None:
    """Calcium chloride moves calcium alone."""
    assert 0 == emptied_bottle_dkh(made(portion("CaCl2", 100, "2H2O")), 10**6, 250)


def test_a_bottle_needs_a_tank() -> None:
    """No water, no rise."""
    with pytest.raises(OutOfRangeError):
        emptied_bottle_dkh(made(portion("NaOH", 40)), 1, 0)
