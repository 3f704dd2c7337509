"""Calcium held beside alkalinity.

Source of the ratio: Ca2+ + 2 HCO3- = CaCO3 + CO2 + H2O, 20.04 mg/L of calcium an
meq/L (IUPAC atomic weights), less strontium and magnesium beside it.
"""

import pytest

from slackwater.facts.proposal import Evidence, Ground
from tests.assessment.reefs import (
    SOLUTIONS,
    change,
    grounds,
    known,
    line,
    machine,
    plan,
    proposed,
)

ALL = tuple(SOLUTIONS)
MG_PER_MEQ = 40.078 / 2 / 1.0135
UL_PER_MG_PER_L = 5_000
PRESENT = plan(line("carbonate", 42_000), line("calcium", 40_000))


def alkaline() -> Evidence:
    """Alkalinity of which 0.42 meq/L are used, not known well enough to follow."""
    return known("alkalinity", 0.42, 0.03, enough=False)


def test_calcium_is_not_cut_below_what_alkalinity_implies() -> None:
    """Its own tests say 1 mg/L a day, alkalinity at least 0.37 meq/L: 6.7 mg/L."""
    own = known("calcium", 1.0, 0.3, level=420.0)
    found = proposed(machine(ALL), PRESENT, alkaline(), own)
    least_mg = (0.42 - 1.645 * 0.03) * MG_PER_MEQ * (1 - 1.645 * 0.05)
    least_ul = least_mg * UL_PER_MG_PER_L
    assert change(found, "calcium").after_ul == pytest.approx(least_ul, abs=100)
    assert Ground.RATIO_HOLDS in grounds(found, "calcium")


def test_calcium_stays_where_alkalinity_implies_as_much_as_is_given() -> None:
    """What it gets already is below that least: nothing is cut, and that is said."""
    own = known("calcium", 1.0, 0.3, level=420.0)
    present = plan(line("carbonate", 42_000), line("calcium", 20_000))
    found = proposed(machine(ALL), present, alkaline(), own)
    assert 20_000 == change(found, "calcium").after_ul
    assert [Ground.RATIO_HOLDS] == grounds(found, "calcium")[:1]


def test_without_tests_of_alkalinity_the_stated_bound_implies() -> None:
    """2 dKH a day stated, at least: calcium is held above what goes with it."""
    own = known("calcium", 1.0, 0.3, level=420.0)
    found = proposed(machine(ALL), PRESENT, own)
    assert 40_000 == change(found, "calcium").after_ul
    assert Ground.RATIO_HOLDS in grounds(found, "calcium")


def test_a_cut_above_the_least_is_a_cut_like_any_other() -> None:
    """7.5 mg/L of use lie above what alkalinity implies at least."""
    own = known("calcium", 7.5, 0.2, level=420.0)
    found = proposed(
        machine(ALL), plan(PRESENT.lines[0], line("calcium", 50_000)), own, alkaline()
    )
    assert 37_500 == change(found, "calcium").after_ul
    assert Ground.RATIO_HOLDS not in grounds(found, "calcium")


@pytest.mark.parametrize(("own", "is_told"), [(2.0, True), (8.0, False)])
def test_tests_that_disagree_with_the_ratio_are_told(
    own: float, *, is_told: bool
) -> None:
    """Alkalinity implies 8.3 mg/L a day: 2 is another use, 8 is the same."""
    found = proposed(
        machine(ALL),
        PRESENT,
        known("alkalinity", 0.42, 0.01),
        known("calcium", own, 0.4, level=420.0),
    )
    assert is_told == (Ground.RATIO_DISAGREES in grounds(found, "calcium"))


def test_calcium_does_not_follow_soda_that_is_held_where_it_is() -> None:
    """0.6 meq/L are used and 0.42 given, because the newest test was too high.

    Calcium gets the 12 mg/L that its own tests show; by the soda it would be 8.3.
    """
    held = known("alkalinity", 0.6, 0.01, no_rise=(Ground.ABOVE_BOUND,))
    present = plan(line("carbonate", 42_000), line("calcium", 60_000))
    found = proposed(machine(ALL), present, held, known("calcium", 12.0, 0.3))

    assert 42_000 == change(found, "carbonate").after_ul
    assert "same" == change(found, "calcium").kind
