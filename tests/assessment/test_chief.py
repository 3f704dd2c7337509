"""For which of its elements a solution is dosed.

Mass fractions of the salts by IUPAC atomic weights; strontium beside calcium as corals
build it in, 9.5 mmol/mol (Swart et al. 2002), and as the sea has it, 8.1 and 422 mg/L
(Millero et al. 2008). The levels from which something is too much are common practice,
no source.
"""

from dataclasses import replace
from fractions import Fraction

import pytest

from slackwater.assessment.chief import chief_effect
from slackwater.facts.proposal import Ground
from slackwater.facts.tank import EffectCap, Solution
from slackwater.water.solutions import Portion, stock_from_label, stock_from_recipe
from tests.assessment.reefs import (
    DKH,
    change,
    grounds,
    known,
    line,
    machine,
    per_day,
    plan,
    proposed,
)


def recipe(*salts: tuple[str, str, str | None]) -> Solution:
    """A solution of formulas, grams in a litre and crystal water."""
    portions = [
        Portion(
            formula=formula,
            grams_per_litre=Fraction(grams),
            purity=Fraction(1),
            hydrate=hydrate,
        )
        for formula, grams, hydrate in salts
    ]
    stock = stock_from_recipe(portions, coldest_celsius=Fraction(20), where="")
    return Solution(id="made", name="", effects=stock.effects, ions=stock.ions)


def label(**strengths: str) -> Solution:
    """A solution known by what a millilitre holds."""
    stock = stock_from_label(strengths, where="")
    return Solution(id="made", name="", effects=stock.effects)


CALCIUM = ("CaCl2", "147", "2H2O")


@pytest.mark.parametrize(
    ("solution", "chief"),
    [
        # 2.4 g/L of SrCl2.6H2O are 9 mmol of strontium beside 1 mol of calcium.
        (recipe(CALCIUM, ("SrCl2", "2.4", "6H2O")), "calcium"),
        (recipe(CALCIUM, ("MnCl2", "0.01", "4H2O")), "calcium"),
        (
            recipe(CALCIUM, ("SrCl2", "2.4", "6H2O"), ("BaCl2", "0.02", "2H2O")),
            "calcium",
        ),
        (recipe(("MgCl2", "300", "6H2O"), ("KCl", "10", None)), "magnesium"),
        (label(magnesium="25 mg/mL", sulfate="98 mg/mL"), "magnesium"),
        (label(alkalinity="2 meq/mL", sodium="46 mg/mL"), "alkalinity"),
        (label(potassium="50 mg/mL", boron="1 mg/mL"), "potassium"),
        # What is bought for its smaller part.
        (recipe(("KI", "1", None)), "iodine"),
        (recipe(("KBr", "50", None)), "bromide"),
        (recipe(("KNO3", "20", None)), "nitrate"),
        (recipe(("Ca(NO3)2", "20", "4H2O")), "nitrate"),
        (recipe(("KH2PO4", "1", None)), "phosphate"),
        (recipe(("Na2HPO4", "1", "2H2O")), "phosphate"),
        (recipe(("Na2B4O7", "10", "10H2O")), "boron"),
        (recipe(("Ca(OH)2", "1.5", None)), "alkalinity"),
        (recipe(("SrCl2", "50", "6H2O"), ("CaCl2", "10", "2H2O")), "strontium"),
        (label(sulfate="10 mg/mL"), "sulfate"),
        (label(carbon="1 mmol/mL", nitrate="0.1 mg/mL"), "carbon"),
    ],
)
def test_a_solution_is_dosed_for_what_would_first_be_too_much(
    solution: Solution, chief: str
) -> None:
    """Moved to where that ought to be, nothing beside it has gone too far."""
    assert chief == chief_effect(solution)


def test_calcium_is_not_raised_for_the_strontium_beside_it() -> None:
    """3 mg/L of strontium would bring 144 mg/L of calcium with them."""
    made = machine(
        ("carbonate", "calcium"),
        targets={"alkalinity": 8 * DKH, "calcium": 420.0, "strontium": 8.0},
    )
    both = replace(
        made.solutions["calcium"],
        effects={"calcium": 40_000_000, "strontium": 832_000},
    )
    tank = made.tanks["reef"]
    strontium = EffectCap(
        gross=per_day("strontium", 1.0), net_rise=per_day("strontium", 0.3)
    )
    caps = {**tank.caps, "strontium": strontium}
    made = replace(
        made,
        tanks={"reef": replace(tank, caps=caps)},
        solutions={**made.solutions, "calcium": both},
    )
    present = plan(line("carbonate", 42_000), line("calcium", 41_500))
    found = proposed(
        made,
        present,
        known("alkalinity", 0.42, 0.01),
        known("calcium", 8.3, 0.2, level=420.0, target=420.0),
        known("strontium", 0.17, 0.02, level=5.0, target=8.0),
    )
    assert found.is_none
    assert "calcium" == change(found, "calcium").parameter
    assert Ground.NEAR_TARGET in grounds(found, "calcium")
    assert ["strontium"] == [one.parameter for one in found.withheld]
