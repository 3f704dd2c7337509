"""Molar masses, exact, from one table of atomic weights.

Floor 1. One subject: what a mole weighs. Laws here: weights are exact decimals and stay
fractions; a formula is written without charges, crystal water behind a dot.
Source: conventional atomic weights, IUPAC Commission on Isotopic Abundances and Atomic
Weights, abridged to five figures.
"""

import re
from collections import Counter
from collections.abc import Mapping
from fractions import Fraction

from slackwater.errors import Finding, InputError

# Grams per mole.
ATOMS: Mapping[str, Fraction] = {
    "H": Fraction("1.008"),
    "Li": Fraction("6.94"),
    "B": Fraction("10.81"),
    "C": Fraction("12.011"),
    "N": Fraction("14.007"),
    "O": Fraction("15.999"),
    "F": Fraction("18.998"),
    "Na": Fraction("22.990"),
    "Mg": Fraction("24.305"),
    "Si": Fraction("28.085"),
    "P": Fraction("30.974"),
    "S": Fraction("32.06"),
    "Cl": Fraction("35.45"),
    "K": Fraction("39.098"),
    "Ca": Fraction("40.078"),
    "Mn": Fraction("54.938"),
    "Fe": Fraction("55.845"),
    "Co": Fraction("58.933"),
    "Ni": Fraction("58.693"),
    "Cu": Fraction("63.546"),
    "Zn": Fraction("65.38"),
    "Br": Fraction("79.904"),
    "Sr": Fraction("87.62"),
    "Mo": Fraction("95.95"),
    "I": Fraction("126.90"),
    "Ba": Fraction("137.33"),
}

_GROUP = re.compile(r"\(([A-Za-z0-9]+)\)([0-9]*)")
_ATOM = re.compile(r"([A-Z][a-z]?)([0-9]*)")
_FACTOR = re.compile(r"([0-9]*)((?:[A-Z][a-z]?[0-9]*)+)")


def molar_mass(formula: str) -> Fraction:
    """Molar mass of a formula such as `CaCl2.2H2O` or `Ca(OH)2`.

    Units: grams per mole, exact.
    Raises: InputError when the formula cannot be read or names an unknown atom.
    """
    return sum(
        (ATOMS[atom] * count for atom, count in atoms_in(formula).items()), Fraction()
    )


def atoms_in(formula: str) -> Mapping[str, int]:
    """How many atoms of each kind a formula holds.

    Raises: InputError when the formula cannot be read or names an unknown atom.
    """
    found: Counter[str] = Counter()
    for part in formula.split("."):
        match = _FACTOR.fullmatch(_GROUP.sub(_spread, part))
        if match is None:
            raise _unreadable(formula)
        for atom, count in _ATOM.findall(match[2]):
            if atom not in ATOMS:
                raise _unreadable(formula)
            found[atom] += int(count or 1) * int(match[1] or 1)
    return found


def _spread(match: re.Match[str]) -> str:
    return match[1] * int(match[2] or 1)


def _unreadable(formula: str) -> InputError:
    finding = Finding(
        what=f"the formula {formula[:60]!r} cannot be read",
        where="",
        expected=f"atoms out of {', '.join(ATOMS)}, such as CaCl2.2H2O",
        do="Write atoms and counts only, crystal water behind a dot.",
    )
    return InputError(finding)
