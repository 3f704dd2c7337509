"""Water changes as a remedy."""

from dataclasses import replace

import pytest

from slackwater.assessment.changing import changing
from tests.assessment.past import DKH, change, history, machine
from tests.assessment.pictures import picture


def test_the_worked_example_of_counting_is_met() -> None:
    """25 to below 5 with 15 % changes and 0.3 in the new water: 11, leaving 4.4."""
    past = history(changes=(change(9, 30, {"copper": 0.3}),))
    found = changing("copper", 25.0, 5.0, picture(past=past))
    assert (11, 0.15) == (found.count, found.fraction)
    assert 45 == pytest.approx(found.litres)
    assert 4.433378 == pytest.approx(found.reached)
    assert found.new_is_tested
    assert "11 water changes of 15 % (45 L), 2 days apart" == found.words


def test_new_water_that_is_too_high_reaches_nothing() -> None:
    """3 in the new water and a limit of 2: said, not counted."""
    past = history(changes=(change(9, 30, {"copper": 3.0}),))
    found = changing("copper", 25.0, 2.0, picture(past=past))
    assert (None, None) == (found.count, found.reached)
    assert "do not get there" in found.words


def test_more_changes_than_anyone_makes_are_none() -> None:
    """A limit a hair above the new water."""
    past = history(changes=(change(9, 30, {"copper": 1.999}),))
    assert None is changing("copper", 25.0, 2.0, picture(past=past)).count


def test_untested_new_water_is_taken_as_natural_and_said() -> None:
    """0.26 ug/L of copper."""
    found = changing("copper", 2.0, 2.0, picture())
    assert (1, 0.26, False) == (found.count, found.new_level, found.new_is_tested)
    assert "1 water change of 15 %" in found.words
    assert "taken as natural" in found.words


def test_what_else_moves_is_named() -> None:
    """Where both the tank and the new water are known."""
    water = {"alkalinity": 9.2 * DKH, "calcium": 405.0, "salinity": 35.0}
    past = history(changes=(change(20, 30), change(9, 30, water), change(2, 30)))
    found = changing("nitrate", 50.0, 10.0, picture(past=past))
    assert {"alkalinity", "calcium", "salinity"} == set(found.moves)
    assert -3.0 == pytest.approx(found.moves["calcium"])
    assert "each also moves alkalinity by +0.15 dKH, calcium by -3 mg/L" in found.words


@pytest.mark.parametrize(
    ("new_dkh", "fraction"), [(8.2, 0.15), (9.2, 0.15), (11.2, 0.1), (20.0, 0.05)]
)
def test_a_change_never_jolts_alkalinity(new_dkh: float, fraction: float) -> None:
    """At most 0.3 dKH at once, and 5 % at least; common practice."""
    past = history(changes=(change(9, 30, {"alkalinity": new_dkh * DKH}),))
    found = changing("nitrate", 50.0, 10.0, picture(past=past))
    assert fraction == found.fraction


def test_an_unknown_alkalinity_limits_nothing() -> None:
    """The usual part is proposed."""
    past = history(changes=(change(9, 30, {"alkalinity": 20 * DKH}),))
    found = changing("nitrate", 50.0, 10.0, picture({"alkalinity": None}, past=past))
    assert 0.15 == found.fraction
    assert {} == found.moves


def test_a_small_tank_is_never_told_to_change_nothing() -> None:
    """15 % of a jar of 2 L are 0.3 L, not 0."""
    made = machine()
    jar = replace(made, tanks={"reef": replace(made.tanks["reef"], net_ul=2_000_000)})
    found = changing("copper", 2.0, 2.0, picture(made=jar))
    assert "1 water change of 15 % (0.3 L)" in found.words
