"""Salts that stock solutions are made of, with their forms and how much dissolves.

Floor 1. One subject: salts. Laws here: crystal water is part of what was weighed, so
its count is asked for wherever a salt is sold in more than one form; nothing is
guessed.
Source: molar masses from `masses`. Solubility, in grams of dry salt per 100 g of water,
from memory of handbook tables; for salts with one figure it is the one at 0 degC.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from slackwater.errors import OutOfRangeError
from slackwater.water.masses import molar_mass
from slackwater.water.texts import Place, did_you_mean, shown

# Grams per 100 g of water at 0, 10, 20, 30 and 40 degC, or one figure.
Solubility = tuple[str, ...]

_STEP_CELSIUS = 10
_HIGHEST_CELSIUS = 40
_WARM_STORAGE_CELSIUS = Fraction(30)
_LIME = "Ca(OH)2"
_LIMEWATER_LANGE = ("0.189", "0.182", "0.173", "0.160", "0.141")
# Dissolved salts take up at most the room of 2 kg/L, so the litre of a strong solution
# holds less than a kilogram of water; too much room errs to the low side.
_PACKED_GRAMS_PER_LITRE = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class Salt:
    """A salt without its water, its ions and the crystal waters it is sold with.

    `soluble` is empty for a liquid that mixes with water in any proportion. What is
    `used_saturated` stands over its own solid on purpose.
    """

    formula: str
    ions: Mapping[str, int]
    waters: tuple[int, ...] = (0,)
    soluble: Solubility = ()
    used_saturated: bool = False

    def grams_per_mol(self, water: int) -> Fraction:
        """Molar mass with so many crystal waters."""
        return molar_mass(self.formula) + water * molar_mass("H2O")


def _salt(
    formula: str,
    ions: Mapping[str, int],
    soluble: str,
    waters: tuple[int, ...] = (0,),
) -> Salt:
    return Salt(
        formula=formula,
        ions=ions,
        waters=waters,
        soluble=tuple(soluble.split()),
        used_saturated=formula == _LIME,
    )


SALTS: Mapping[str, Salt] = {
    item.formula: item
    for item in (
        _salt("Na2CO3", {"Na": 2, "CO3": 1}, "7.0 12.5 21.5 39.7 49.0", (0, 1, 10)),
        _salt("NaHCO3", {"Na": 1, "HCO3": 1}, "6.9 8.15 9.6 11.1 12.7"),
        _salt("NaOH", {"Na": 1, "OH": 1}, "42"),
        _salt(_LIME, {"Ca": 1, "OH": 2}, "0.185 0.176 0.165 0.153 0.141"),
        _salt("CaCl2", {"Ca": 1, "Cl": 2}, "59.5 64.7 74 100 128", (0, 2, 6)),
        _salt("MgCl2", {"Mg": 1, "Cl": 2}, "52.9 53.6 54 55.8 57.5", (0, 6)),
        _salt("MgSO4", {"Mg": 1, "SO4": 1}, "22.0 28.2 34 38.9 44.5", (0, 1, 7)),
        _salt("KCl", {"K": 1, "Cl": 1}, "28.0 31.2 34 37.2 40.1"),
        _salt("NaCl", {"Na": 1, "Cl": 1}, "35.6 35.7 35.9 36.1 36.4"),
        _salt("Na2SO4", {"Na": 2, "SO4": 1}, "4.9 9.1 19.5 40.8 48.8", (0, 10)),
        _salt("SrCl2", {"Sr": 1, "Cl": 2}, "43.5 47.7 52.9 58.7 65.3", (0, 6)),
        _salt("KI", {"K": 1, "I": 1}, "128 136 144 153 162"),
        _salt("KBr", {"K": 1, "Br": 1}, "53.5 59.5 65.3 70.7 75.4"),
        _salt("NaF", {"Na": 1, "F": 1}, "3.66 3.8 4.06 4.22 4.40"),
        _salt("NaNO3", {"Na": 1, "NO3": 1}, "73.0 80.8 87.6 94.9 102"),
        _salt("KNO3", {"K": 1, "NO3": 1}, "13.9 21.2 31.6 45.3 61.3"),
        _salt("Ca(NO3)2", {"Ca": 1, "NO3": 2}, "102 115 129 149 189", (0, 4)),
        _salt(
            "Na2HPO4", {"Na": 2, "HPO4": 1}, "1.68 3.53 7.83 22.0 55.3", (0, 2, 7, 12)
        ),
        _salt("KH2PO4", {"K": 1, "H2PO4": 1}, "14.8 18.3 22.6 28.0 35.5"),
        _salt("H3BO3", {"H3BO3": 1}, "2.67 3.73 5.04 6.72 8.72"),
        _salt("Na2B4O7", {"Na": 2, "B4O7": 1}, "1.11 1.60 2.56 3.86 6.67", (0, 5, 10)),
        _salt("CH3COOH", {"CH3COOH": 1}, ""),
        _salt("C2H5OH", {"C2H5OH": 1}, ""),
        _salt("FeCl3", {"Fe": 1, "Cl": 3}, "74.4", (0, 6)),
        _salt("FeSO4", {"Fe": 1, "SO4": 1}, "15.6", (7,)),
        _salt("MnCl2", {"Mn": 1, "Cl": 2}, "63.4", (0, 4)),
        _salt("ZnSO4", {"Zn": 1, "SO4": 1}, "41.6", (1, 7)),
        _salt("CuSO4", {"Cu": 1, "SO4": 1}, "14.3", (0, 5)),
        _salt("CoCl2", {"Co": 1, "Cl": 2}, "43.5", (0, 6)),
        _salt("NiCl2", {"Ni": 1, "Cl": 2}, "53.4", (0, 6)),
        _salt("Na2MoO4", {"Na": 2, "MoO4": 1}, "44.1", (0, 2)),
        _salt("LiCl", {"Li": 1, "Cl": 1}, "69.2", (0, 1)),
        _salt("BaCl2", {"Ba": 1, "Cl": 2}, "31.2", (0, 2)),
    )
}


def salt_named(formula: object, *, where: str) -> Salt:
    """The salt of a formula written without crystal water.

    Raises: InputError when it is not in the table.
    """
    salt = SALTS.get(formula) if isinstance(formula, str) else None
    if salt is None:
        place = Place(where=where, expected=f"one of {', '.join(SALTS)}")
        place.refuse(
            f"the formula {shown(formula)} is unknown",
            f"{did_you_mean(str(formula), SALTS)}Write it without crystal water, or "
            "describe the solution by its label.",
        )
    return salt


def water_in(salt: Salt, hydrate: object, *, where: str) -> int:
    """How many crystal waters were weighed with each unit of the salt.

    Shape: hydrate as "2H2O" or "anhydrous", None where the salt has one form.
    Raises: InputError when the salt has no such form or the form is left open.
    """
    forms = {form_of(count): count for count in salt.waters}
    if hydrate is None and len(forms) == 1:
        return salt.waters[0]
    if not isinstance(hydrate, str) or hydrate not in forms:
        place = Place(where=where, expected=f"one of {', '.join(forms)}")
        found = "found nothing" if hydrate is None else f"found {shown(hydrate)}"
        place.refuse(
            f"{found} for the crystal water of {salt.formula}",
            "Look at the jar: the water of calcium chloride is a quarter of the dose.",
        )
    return forms[hydrate]


def form_of(water: int) -> str:
    """How a count of crystal waters is written."""
    return f"{water}H2O" if water else "anhydrous"


def most_grams_per_litre(salt: Salt, coldest_celsius: Fraction) -> Fraction | None:
    """Dry salt that one litre of finished solution holds at most, None for liquids.

    The bottle stands between the coldest temperature and 30 degC. Calcium hydroxide
    dissolves less when it is warm, but what settles then was meant to: its figure is
    the strongest limewater, at the coldest.
    Range: 0..40 degC. Raises: OutOfRangeError outside it.
    Source: see the file; the volume of a strong solution is a cautious estimate.
    """
    if salt.used_saturated:
        return limewater_grams_per_litre(coldest_celsius)
    coldest = _soluble_at(salt.soluble, coldest_celsius)
    warmest = _soluble_at(salt.soluble, max(coldest_celsius, _WARM_STORAGE_CELSIUS))
    if coldest is None or warmest is None:
        return None
    grams_per_kg_of_water = 10 * min(coldest, warmest)
    return grams_per_kg_of_water / (1 + grams_per_kg_of_water / _PACKED_GRAMS_PER_LITRE)


def limewater_grams_per_litre(celsius: Fraction) -> Fraction:
    """Calcium hydroxide in one litre of its saturated solution, to 5 percent.

    Range: 0..40 degC. Raises: OutOfRangeError outside it.
    Source: mean of two handbook tabulations, the older series in `SALTS` and Lange's
    (from memory), which differ by 4 to 5 percent; one litre weighs 1 kg.
    """
    older = _soluble_at(SALTS[_LIME].soluble, celsius)
    lange = _soluble_at(_LIMEWATER_LANGE, celsius)
    return 10 * ((older or Fraction()) + (lange or Fraction())) / 2


def _soluble_at(figures: Solubility, celsius: Fraction) -> Fraction | None:
    if not 0 <= celsius <= _HIGHEST_CELSIUS:
        place = Place(where="", expected="a storage temperature from 0 to 40 degC")
        finding = place.finding(f"found {float(celsius):g} degC", "Check the figure.")
        raise OutOfRangeError(finding)
    if not figures:
        return None
    if len(figures) == 1:
        return Fraction(figures[0])
    step = min(int(celsius // _STEP_CELSIUS), len(figures) - 2)
    low, high = Fraction(figures[step]), Fraction(figures[step + 1])
    return low + (high - low) * (celsius / _STEP_CELSIUS - step)
