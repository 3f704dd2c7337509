"""Weighed salts and calcification at their edges."""

from fractions import Fraction

import pytest

from slackwater.errors import InputError
from slackwater.water.stoichiometry import (
    calcified,
    grams_of_salt,
    matched_calcium_chloride_grams_per_litre,
    salt_left_behind_mg,
)


def test_a_salt_without_the_parameter_is_refused() -> None:
    """Soda holds no calcium."""
    with pytest.raises(InputError, match="does not add calcium"):
        grams_of_salt("Na2CO3", "anhydrous", "calcium", 1)


def test_the_form_of_a_weighed_salt_is_asked_for() -> None:
    """Crystal water is never guessed."""
    with pytest.raises(InputError, match="crystal water"):
        grams_of_salt("CaCl2", None, "calcium", 1)
    with pytest.raises(InputError, match="crystal water"):
        matched_calcium_chloride_grams_per_litre(1, "3H2O")


def test_metals_of_a_skeleton_are_half_the_equivalents() -> None:
    """Nothing is lost between the three metals."""
    found = calcified(
        Fraction(2),
        strontium_per_calcium=Fraction("0.009"),
        magnesium_per_calcium=Fraction("0.1"),
    )
    moles = (
        found.calcium / Fraction("40.078"),
        found.strontium / Fraction("87.62"),
        found.magnesium / Fraction("24.305"),
    )
    assert 1 == sum(moles)


def test_an_equivalent_leaves_one_salt() -> None:
    """58.44 g a mole."""
    assert Fraction("58.44") == salt_left_behind_mg(Fraction(1))
