"""What the net-rise cap of a proposal counts as used up.

The rule is this program's own: an addition less the lower bound of uptake, by the file
or by tests, whichever is the more careful.
"""

import pytest

from slackwater.facts.proposal import Ground, Proposal
from tests.assessment.reefs import (
    DKH,
    change,
    grounds,
    known,
    line,
    machine,
    plan,
    proposed,
)


def cap_of(found: Proposal, name: str) -> str:
    """The cap that held a pump, in words."""
    told = change(found, name).grounds
    capped = next(one for one in told if one.ground is Ground.CAPPED)
    return str(capped.figures["cap"])


def test_a_rise_is_held_to_the_uptake_that_tests_show() -> None:
    """Stated 2 dKH a day at least, shown 0.36 meq/L: that and 0.5 dKH, less a dose."""
    present = plan(line("carbonate", 30_000))
    found = proposed(
        machine(), present, known("alkalinity", 0.6, 0.05, uptake_low=0.36)
    )
    most_ul = (0.36 + 0.5 * DKH) * 100_000 * 12 / 13
    assert change(found, "carbonate").after_ul == pytest.approx(most_ul, abs=100)
    assert cap_of(found, "carbonate").endswith(
        "net_rise beside the least uptake that tests show"
    )


def test_less_shown_uptake_makes_no_lower_dose_by_itself() -> None:
    """What is given already stays, where more was wanted and the cap lies below it."""
    present = plan(line("carbonate", 60_000))
    found = proposed(machine(), present, known("alkalinity", 0.7, 0.05, uptake_low=0.3))
    assert 60_000 == change(found, "carbonate").after_ul


def test_the_stated_bound_counts_where_it_is_the_more_careful() -> None:
    """Shown more than the 0.713 meq/L of the file: that of the file counts."""
    present = plan(line("carbonate", 70_000))
    found = proposed(machine(), present, known("alkalinity", 1.06, 0.02))
    most_ul = (2.5 * DKH) * 100_000 * 12 / 13
    assert change(found, "carbonate").after_ul == pytest.approx(most_ul, abs=100)
    assert cap_of(found, "carbonate").endswith(
        "net_rise beside the lower bound that the file states"
    )


def test_an_uptake_that_is_not_well_known_lowers_no_cap() -> None:
    """A wide interval reaches to nothing: the stated bound counts."""
    wide = known("alkalinity", 0.62, 0.05, uptake_low=0.0, enough=False, wide=True)
    found = proposed(machine(), plan(line("carbonate", 42_000)), wide)
    assert Ground.CAPPED not in grounds(found, "carbonate")
    assert "more" == change(found, "carbonate").kind


def test_a_correction_without_room_names_what_it_was_counted_with() -> None:
    """1.2 dKH a day given, 0.5 used at least by tests: no climb of 0.5 is left."""
    low = known("alkalinity", 0.42, 0.15, level=7.0 * DKH, uptake_low=0.18)
    present = plan(line("carbonate", 42_000))
    found = proposed(machine(), present, low)
    assert cap_of(found, "carbonate") == (
        "net_rise beside the least uptake that tests show"
    )
    assert 0 == change(found, "carbonate").correction_ul
