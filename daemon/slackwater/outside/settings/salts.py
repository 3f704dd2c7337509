"""What one gram of a salt holds, and which solutions must not meet.

Floor 6. One subject: salts that stocks are made of. Laws here: crystal water is part of
what was weighed, so it is asked for wherever a salt is sold in more than one form;
masses are exact decimals.
Source: IUPAC conventional atomic weights; solubility products from the CRC Handbook of
Chemistry and Physics, 25 degC.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import product

from slackwater.outside.settings.quantities import refuse
from slackwater.outside.settings.tables import listed, shown

# Grams per mole.
ATOMS: Mapping[str, Fraction] = {
    "H": Fraction("1.008"),
    "C": Fraction("12.011"),
    "N": Fraction("14.007"),
    "O": Fraction("15.999"),
    "Na": Fraction("22.990"),
    "Mg": Fraction("24.305"),
    "S": Fraction("32.06"),
    "Cl": Fraction("35.45"),
    "K": Fraction("39.098"),
    "Ca": Fraction("40.078"),
    "Sr": Fraction("87.62"),
    "I": Fraction("126.90"),
}
WATER_G_PER_MOL = 2 * ATOMS["H"] + ATOMS["O"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ion:
    """One kind of ion.

    `doses` names the parameter it moves, counted in equivalents when `charge_eq` is
    above 0 and in grams otherwise; empty for an ion that only adds salt.
    """

    atoms: Mapping[str, int]
    doses: str = ""
    charge_eq: int = 0

    @property
    def g_per_mol(self) -> Fraction:
        """Its molar mass."""
        return sum(
            (ATOMS[atom] * count for atom, count in self.atoms.items()), Fraction()
        )


IONS: Mapping[str, Ion] = {
    "CO3": Ion(atoms={"C": 1, "O": 3}, doses="alkalinity", charge_eq=2),
    "HCO3": Ion(atoms={"H": 1, "C": 1, "O": 3}, doses="alkalinity", charge_eq=1),
    "OH": Ion(atoms={"O": 1, "H": 1}, doses="alkalinity", charge_eq=1),
    "Ca": Ion(atoms={"Ca": 1}, doses="calcium"),
    "Mg": Ion(atoms={"Mg": 1}, doses="magnesium"),
    "K": Ion(atoms={"K": 1}, doses="potassium"),
    "Sr": Ion(atoms={"Sr": 1}, doses="strontium"),
    "I": Ion(atoms={"I": 1}, doses="iodine"),
    "NO3": Ion(atoms={"N": 1, "O": 3}, doses="nitrate"),
    "Na": Ion(atoms={"Na": 1}),
    "Cl": Ion(atoms={"Cl": 1}),
    "SO4": Ion(atoms={"S": 1, "O": 4}),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Salt:
    """A salt without its water, and the crystal waters it is sold with."""

    ions: Mapping[str, int]
    waters: tuple[int, ...] = (0,)

    def g_per_mol(self, water: int) -> Fraction:
        """Molar mass with so many crystal waters."""
        dry = sum(
            (IONS[ion].g_per_mol * count for ion, count in self.ions.items()),
            Fraction(),
        )
        return dry + water * WATER_G_PER_MOL


SALTS: Mapping[str, Salt] = {
    "Na2CO3": Salt(ions={"Na": 2, "CO3": 1}, waters=(0, 1, 10)),
    "NaHCO3": Salt(ions={"Na": 1, "HCO3": 1}),
    "NaOH": Salt(ions={"Na": 1, "OH": 1}),
    "Ca(OH)2": Salt(ions={"Ca": 1, "OH": 2}),
    "CaCl2": Salt(ions={"Ca": 1, "Cl": 2}, waters=(0, 2, 6)),
    "Ca(NO3)2": Salt(ions={"Ca": 1, "NO3": 2}, waters=(0, 4)),
    "MgCl2": Salt(ions={"Mg": 1, "Cl": 2}, waters=(0, 6)),
    "MgSO4": Salt(ions={"Mg": 1, "SO4": 1}, waters=(0, 1, 7)),
    "KCl": Salt(ions={"K": 1, "Cl": 1}),
    "KNO3": Salt(ions={"K": 1, "NO3": 1}),
    "KI": Salt(ions={"K": 1, "I": 1}),
    "SrCl2": Salt(ions={"Sr": 1, "Cl": 2}, waters=(0, 6)),
    "NaNO3": Salt(ions={"Na": 1, "NO3": 1}),
    "NaCl": Salt(ions={"Na": 1, "Cl": 1}),
}

# Ions that fall out as a solid when stocks meet: Ca, Sr, Mg with carbonate, Ca and Sr
# with sulfate, Mg with hydroxide (Ksp 3.36e-9, 5.6e-10, 2.38e-6, 3.14e-5, 3.44e-7,
# 5.61e-12). Bicarbonate and hydroxide turn into carbonate in sea water.
_FALL_OUT = frozenset(product(("Ca", "Mg", "Sr"), ("CO3", "HCO3", "OH"))) | frozenset(
    product(("Ca", "Sr"), ("SO4",))
)


def salt_named(formula: str) -> Salt:
    """The salt of a formula.

    Raises: PydanticCustomError when it is not in the table.
    """
    salt = SALTS.get(formula)
    if salt is None:
        refuse(
            f"the formula {shown(formula)} is unknown",
            f"one of {listed(SALTS)}",
            "Write it without water, or describe the solution with per_ml.",
        )
    return salt


def water_of(salt: Salt, hydrate: str | None) -> int:
    """How many crystal waters were weighed with each unit of the salt.

    Raises: PydanticCustomError when the text is none the salt is sold with, or is
    left out where the salt is sold in several forms.
    """
    forms = {_form(count): count for count in salt.waters}
    if hydrate is None and len(forms) == 1:
        return salt.waters[0]
    if hydrate not in forms:
        refuse(
            "the key is missing" if hydrate is None else f"found {shown(hydrate)}",
            f"one of {listed(forms)}",
            "Look at the jar: crystal water makes a quarter of a calcium dose.",
        )
    return forms[hydrate]


def why_apart(one: Collection[str], other: Collection[str]) -> str:
    """The first pair of ions that falls out when two stocks meet, empty for none."""
    pairs = sorted(
        (cation, anion)
        for cation, anion in _FALL_OUT
        if (cation in one and anion in other) or (cation in other and anion in one)
    )
    return "-".join(pairs[0]) if pairs else ""


def _form(count: int) -> str:
    return f"{count}H2O" if count else "anhydrous"
