"""What takes metals and phosphate out of water, how much of it, and published limits.

Floor 1. One subject: resins, adsorbents and criteria. Laws here: a contaminant is never
treated by dosing, a person acts and the daemon only says how; a capacity is an input
with a range, not a fact; carbon is never credited for free copper or zinc.
Units: traces in µg/L, phosphate in mg/L as PO4, volumes in litres.
Source: mass balance; capacities and criteria name their own, all from memory where they
say so.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from slackwater.water.masses import molar_mass
from slackwater.water.parameters import parameter_named
from slackwater.water.ranges import above_zero, refused, within

# Usable capacity of an iminodiacetate or thiol resin in sea water, mmol per mL, where
# calcium and magnesium compete (from memory); nominal 0.5 to 1.
RESIN_MMOL_PER_ML = (0.1, 0.3)
# What phosphate adsorbents hold at the pH and the levels of a reef, mg P per gram (from
# memory); Langmuir maxima at pH 5 to 7 are 10 to 25 (Genz et al. 2004, from memory).
ADSORBENT_MG_P_PER_GRAM = (1.0, 5.0)
# Metals that such a resin binds (from memory). It takes wanted ones along.
RESIN_METALS = frozenset({"copper", "zinc", "nickel", "cobalt", "iron", "manganese"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Criterion:
    """Published limits for life in salt water, µg/L; None where there is none."""

    chronic: float | None
    acute: float | None
    source: str


_CRITERIA_SOURCE = "US EPA criteria for aquatic life in salt water, from memory"
_ALUMINIUM_SOURCE = "a guideline value for aluminium in sea water, from memory"
CRITERIA: Mapping[str, Criterion] = {
    **{
        parameter: Criterion(chronic=chronic, acute=acute, source=_CRITERIA_SOURCE)
        for parameter, chronic, acute in (
            ("copper", 3.1, 4.8),
            ("zinc", 81.0, 90.0),
            ("nickel", 8.2, 74.0),
            ("lead", 8.1, None),
            ("cadmium", 7.9, None),
            ("silver", None, 1.9),
            ("mercury", 0.94, None),
            # For Cr(VI), which is most of it in sea water.
            ("chromium", 50.0, None),
            ("selenium", 71.0, None),
            ("arsenic", 36.0, None),
        )
    },
    "aluminium": Criterion(chronic=24.0, acute=None, source=_ALUMINIUM_SOURCE),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Removed:
    """An amount to be taken out, and how much of a medium that takes at least."""

    milligrams: float
    medium: float


def resin_ml(
    identity: str,
    fall_ug_per_litre: float,
    litres: float,
    capacity_mmol_per_ml: float = RESIN_MMOL_PER_ML[0],
) -> Removed:
    """Metal-binding resin for a fall, in millilitres at least.

    Shape: the figure is small; flow and contact are what limits, not the capacity.
    Range: a metal of `RESIN_METALS`, all numbers above 0.
    Raises: InputError for an unknown parameter, OutOfRangeError outside the range.
    Source: (dC V / M) / q.
    """
    item = parameter_named(identity, where="")
    if item.id not in RESIN_METALS:
        raise refused(
            what=f"found {item.name}",
            expected=f"one of {', '.join(sorted(RESIN_METALS))}",
            advice="Change water, and find where it comes from.",
        )
    above_zero("the fall", fall_ug_per_litre, "ug/L")
    above_zero("the capacity", capacity_mmol_per_ml, "mmol/mL")
    milligrams = fall_ug_per_litre * above_zero("the volume", litres, "L") / 1000
    millimoles = milligrams / float(molar_mass(item.symbol))
    return Removed(milligrams=milligrams, medium=millimoles / capacity_mmol_per_ml)


def adsorbent_grams(
    phosphate_fall: float,
    litres: float,
    capacity_mg_p_per_gram: float = ADSORBENT_MG_P_PER_GRAM[0],
) -> Removed:
    """Phosphate adsorbent for a fall, in grams; the milligrams are of phosphorus.

    Shape: rock and sand give phosphate back for weeks, so that it is repeated; a fall
    is limited to 30 percent a week.
    Range: all above 0. Raises: OutOfRangeError outside it.
    Source: g = dPO4 V (P / PO4) / q.
    """
    above_zero("the fall", phosphate_fall, "mg/L")
    above_zero("the capacity", capacity_mg_p_per_gram, "mg P/g")
    phosphate = phosphate_fall * above_zero("the volume", litres, "L")
    milligrams = phosphate * float(molar_mass("P") / molar_mass("PO4"))
    return Removed(milligrams=milligrams, medium=milligrams / capacity_mg_p_per_gram)


def weekly_steps(level: float, target: float, largest_share: float) -> int:
    """Weeks of a fall that takes at most a share of what is there each week.

    Shape: 0 at or below the target. Range: levels above 0, share above 0 and below 1.
    Raises: OutOfRangeError outside it.
    """
    above_zero("the level", level)
    above_zero("the target", target)
    above_zero("the share", largest_share)
    kept = 1 - within("the share", largest_share, (0.0, 0.9))
    weeks = 0
    while level > target * (1 + 1e-9):
        level, weeks = level * kept, weeks + 1
    return weeks
