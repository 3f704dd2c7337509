"""Molar masses against a reference library."""

import re

import pytest
from molmass import Formula

from slackwater.errors import InputError
from slackwater.water.ions import IONS
from slackwater.water.masses import ATOMS, atoms_in, molar_mass
from slackwater.water.salts import SALTS, form_of

WRITTEN = [
    f"{salt.formula}.{form_of(water)}" if water else salt.formula
    for salt in SALTS.values()
    for water in salt.waters
]


def as_the_library_writes(formula: str) -> str:
    """A formula with its crystal water in brackets."""
    return re.sub(r"\.([0-9]*)H2O$", r"(H2O)\1", formula)


@pytest.mark.parametrize("formula", [*ATOMS, *IONS, *WRITTEN, "CaO", "CaCO3", "SiO2"])
def test_masses_agree_with_the_library(formula: str) -> None:
    """The library (molmass) averages natural ranges anew: 1 part in 5000 at most."""
    other = Formula(as_the_library_writes(formula)).mass
    assert pytest.approx(other, rel=2e-4) == float(molar_mass(formula))


@pytest.mark.parametrize("salt", SALTS.values(), ids=str)
def test_a_salt_weighs_what_its_ions_weigh(salt: object) -> None:
    """Formula and ions of each row count the same atoms."""
    row = next(item for item in SALTS.values() if item is salt)
    masses = [molar_mass(ion) * count for ion, count in row.ions.items()]
    assert sum(masses) == molar_mass(row.formula)


def test_brackets_and_crystal_water_are_counted() -> None:
    """A group is repeated, a count before the water multiplies it."""
    assert {"Ca": 1, "O": 6, "H": 10} == dict(atoms_in("Ca(OH)2.4H2O"))


@pytest.mark.parametrize("formula", ["", "Xx", "CaCl2.", "ca", "Ca-Cl", "Ca(OH", "2"])
def test_an_unreadable_formula_is_refused(formula: str) -> None:
    """What is no formula of known atoms gives one finding."""
    with pytest.raises(InputError, match="cannot be read"):
        molar_mass(formula)
