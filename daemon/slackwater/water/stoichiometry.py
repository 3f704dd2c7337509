"""How parameters hang together: calcification, the salt left behind, weighed salts.

Floor 1. One subject: stoichiometry. Laws here: exact fractions; one equivalent of
alkalinity goes with half a mole of calcium.
Source: Ca2+ + 2 HCO3- = CaCO3 + CO2 + H2O; molar masses from `masses`.
"""

from dataclasses import dataclass
from fractions import Fraction

from slackwater.water.ions import IONS
from slackwater.water.masses import molar_mass
from slackwater.water.salts import salt_named, water_in
from slackwater.water.texts import Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Calcified:
    """What goes into a skeleton, in mg/L of tank water."""

    calcium: Fraction
    strontium: Fraction
    magnesium: Fraction


def calcified(
    alkalinity_meq_per_litre: Fraction,
    *,
    strontium_per_calcium: Fraction = Fraction(),
    magnesium_per_calcium: Fraction = Fraction(),
) -> Calcified:
    """What goes into a skeleton with so much alkalinity.

    Units: mole ratios as parts of 1; coral aragonite takes up 0.0085..0.0095 strontium
    and 0.003..0.006 magnesium (from memory) for each calcium.
    Source: (Ca + Sr + Mg) in moles is half the equivalents.
    """
    metals = alkalinity_meq_per_litre / 2
    calcium = metals / (1 + strontium_per_calcium + magnesium_per_calcium)
    return Calcified(
        calcium=calcium * molar_mass("Ca"),
        strontium=calcium * strontium_per_calcium * molar_mass("Sr"),
        magnesium=calcium * magnesium_per_calcium * molar_mass("Mg"),
    )


def salt_left_behind_mg(alkalinity_meq: Fraction) -> Fraction:
    """Sodium chloride that a matched pair leaves when its carbonate has calcified.

    Units: milligrams, for so many milli-equivalents; the pair is calcium chloride with
    sodium carbonate or bicarbonate.
    Source: CaCl2 + 2 NaHCO3 = CaCO3 + 2 NaCl + CO2 + H2O, one NaCl an equivalent.
    """
    return alkalinity_meq * molar_mass("NaCl")


def grams_of_salt(
    formula: str, hydrate: str | None, identity: str, amount_pico: int
) -> Fraction:
    """Pure salt to weigh for an amount of one parameter.

    Units: pico-units; grams, exact; divide by the purity of the jar.
    Raises: InputError for an unknown salt or form, or one that does not hold it.
    """
    salt = salt_named(formula, where="")
    grams_per_mol = salt.grams_per_mol(water_in(salt, hydrate, where=""))
    per_mol = sum(
        (
            IONS[ion].moves.get(identity, Fraction()) * count
            for ion, count in salt.ions.items()
        ),
        Fraction(),
    )
    if not per_mol:
        place = Place(where="", expected="a salt that holds the parameter")
        place.refuse(f"{formula} does not add {identity}", "Choose another salt.")
    return Fraction(amount_pico, 10**12) / per_mol * grams_per_mol


def matched_calcium_chloride_grams_per_litre(
    alkalinity_peq_per_ul: int, hydrate: str
) -> Fraction:
    """Calcium chloride for a stock dosed in equal volumes with an alkalinity stock.

    Units: pico-equivalents per microlitre; grams per litre of finished solution.
    Raises: InputError for an unknown form.
    """
    salt = salt_named("CaCl2", where="")
    mol_per_litre = Fraction(alkalinity_peq_per_ul, 2 * 10**6)
    return mol_per_litre * salt.grams_per_mol(water_in(salt, hydrate, where=""))
