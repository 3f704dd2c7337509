"""Salts, their forms and how much of them dissolves."""

from fractions import Fraction

import pytest

from slackwater.errors import InputError, OutOfRangeError
from slackwater.water.cautions import CAUTIONS, cautions_of
from slackwater.water.salts import (
    SALTS,
    limewater_grams_per_litre,
    most_grams_per_litre,
    salt_named,
    water_in,
)


@pytest.mark.parametrize("formula", ["NaCO3", "CaCl2.2H2O", "", None, 7])
def test_an_unknown_formula_lists_the_known_ones(formula: object) -> None:
    """Every salt of the table stands in the finding."""
    with pytest.raises(InputError) as refused:
        salt_named(formula, where="here")
    finding = refused.value.findings[0]
    assert "here" == finding.where
    assert all(known in finding.expected for known in SALTS)


def test_a_near_formula_is_asked_about() -> None:
    """A slip in case is the usual one."""
    with pytest.raises(InputError, match='Did you mean "NaHCO3"'):
        salt_named("NaHCo3", where="")


@pytest.mark.parametrize(
    ("formula", "hydrate", "water"),
    [
        ("CaCl2", "anhydrous", 0),
        ("CaCl2", "2H2O", 2),
        ("Na2CO3", "10H2O", 10),
        ("NaHCO3", None, 0),
        ("NaHCO3", "anhydrous", 0),
        ("FeSO4", None, 7),
        ("FeSO4", "7H2O", 7),
    ],
)
def test_a_form_gives_its_crystal_water(
    formula: str, hydrate: str | None, water: int
) -> None:
    """Spelled out, or the only one there is."""
    assert water == water_in(SALTS[formula], hydrate, where="")


@pytest.mark.parametrize("hydrate", [None, "", "3H2O", "2h2o", "2 H2O", "dihydrate", 2])
def test_an_open_or_unknown_form_is_refused(hydrate: object) -> None:
    """A quarter of the dose hangs on it, so it is never guessed."""
    with pytest.raises(InputError) as refused:
        water_in(SALTS["CaCl2"], hydrate, where="")
    assert "one of anhydrous, 2H2O, 6H2O" == refused.value.findings[0].expected


# PHREEQC 3.8.6, database pitzer, 25 degC, grams per litre.
@pytest.mark.parametrize(("formula", "computed"), [("NaHCO3", 102), ("Na2CO3", 278)])
def test_limits_are_a_little_below_the_computed_ones(
    formula: str, computed: int
) -> None:
    """Within a tenth, and on the safe side."""
    limit = most_grams_per_litre(SALTS[formula], Fraction(25))
    assert limit is not None
    assert 0.9 * computed < limit < computed


@pytest.mark.parametrize(
    "formula", [name for name, salt in SALTS.items() if not salt.used_saturated]
)
def test_less_dissolves_in_the_cold(formula: str) -> None:
    """A colder shelf never allows more, but for what settles on purpose."""
    limits = [
        most_grams_per_litre(SALTS[formula], Fraction(celsius)) for celsius in range(31)
    ]
    known = [limit for limit in limits if limit is not None]
    assert known == sorted(known)
    assert len(known) in (0, len(limits))


def test_liquids_mix_in_any_proportion() -> None:
    """There is no limit for vinegar and alcohol."""
    assert most_grams_per_litre(SALTS["C2H5OH"], Fraction(20)) is None


def test_the_limit_of_limewater_is_its_saturation() -> None:
    """The coldest is the strongest, and no other salt is used saturated."""
    at_20_celsius = limewater_grams_per_litre(Fraction(20))
    assert at_20_celsius == most_grams_per_litre(SALTS["Ca(OH)2"], Fraction(20))
    saturated = [name for name, salt in SALTS.items() if salt.used_saturated]
    assert ["Ca(OH)2"] == saturated


def test_warm_limewater_is_weaker() -> None:
    """Handbook fact: calcium hydroxide dissolves less in warm water."""
    grams = [limewater_grams_per_litre(Fraction(celsius)) for celsius in (0, 25, 40)]
    assert grams == sorted(grams, reverse=True)
    assert Fraction("1.6275") == grams[1]


@pytest.mark.parametrize("celsius", [Fraction(-1), Fraction(41)])
def test_temperatures_outside_the_tables_are_refused(celsius: Fraction) -> None:
    """Nothing is extrapolated."""
    with pytest.raises(OutOfRangeError, match="0 to 40 degC"):
        limewater_grams_per_litre(celsius)
    with pytest.raises(OutOfRangeError):
        most_grams_per_litre(SALTS["KCl"], celsius)


@pytest.mark.parametrize("formula", SALTS)
def test_every_salt_has_a_caution(formula: str) -> None:
    """Each says which salt it is about and asks for eye protection."""
    caution = cautions_of(formula)
    assert caution.startswith(f"{formula}: ")
    assert caution.endswith("safety sheet")
    assert "eye protection" in caution


def test_every_caution_belongs_to_a_salt() -> None:
    """No row is left over."""
    assert set(CAUTIONS) <= set(SALTS)


# Read in safety data sheets: these two are not marked as from memory.
@pytest.mark.parametrize(
    ("formula", "statement"),
    [("NaOH", "H314"), ("Ca(OH)2", "H318"), ("Na2CO3", "H319 (from memory)")],
)
def test_statements_from_memory_say_so(formula: str, statement: str) -> None:
    """A person can tell what was looked up."""
    assert statement in cautions_of(formula)
    assert f"{statement} (from memory)" not in cautions_of(formula)


def test_a_salt_nobody_described_says_that() -> None:
    """Silence is not safety."""
    assert "no statement known here" in cautions_of("Na2MoO4")
