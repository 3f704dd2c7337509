"""The salinity that a test of an element belongs to.

Expected: levels in proportion to salinity, 421.7 mg/L of calcium at 35 (Millero et al.
2008), and half of the water changed for new.
"""

import pytest

from slackwater.assessment.assess import assess
from slackwater.assessment.inflow import Inflow
from slackwater.assessment.records import Standing
from slackwater.assessment.salting import Salt
from slackwater.facts.history import History
from slackwater.facts.waters import MeasurementKept
from slackwater.water.parameters import PARAMETERS
from tests.assessment.past import (
    LITRES,
    NOW,
    change,
    history,
    machine,
    measured,
    report,
    with_report,
)

NATURE = 421.7


def calcium(past: History) -> Standing:
    """Where calcium stands in a tank that nobody doses."""
    return assess(past, machine(dosed=()), "reef", NOW).standings["calcium"]


def at(salinity: float) -> float:
    """Calcium of natural sea water at a salinity."""
    return NATURE * salinity / 35


def test_a_test_is_judged_at_the_salinity_of_its_own_day() -> None:
    """Tested in thin water that is right by now: it lacks nothing at 35."""
    found = calcium(
        history(
            measured("calcium", at(33), 10),
            measured("salinity", 33.0, 10),
            measured("salinity", 35.0, 1),
        )
    )
    assert pytest.approx(NATURE) == found.level_35
    assert "in band" == found.word


def test_a_report_brings_its_own_salinity() -> None:
    """The bottle was filled before the keeper brought salinity down."""
    past = history(measured("salinity", 35.0, 1))
    own = report(10, {"calcium": at(37.5), "salinity": 37.5})
    assert pytest.approx(NATURE) == calcium(with_report(past, own)).level_35


def test_a_change_that_was_tested_moves_both_alike() -> None:
    """Half of the water at 33 for new water at 37: 35, and calcium is natural."""
    new = {"calcium": at(37), "salinity": 37.0}
    found = calcium(
        history(
            measured("calcium", at(33), 10),
            measured("salinity", 33.0, 10),
            measured("salinity", 35.0, 1),
            changes=(change(5, LITRES / 2, new),),
        )
    )
    assert pytest.approx(NATURE) == found.level
    assert pytest.approx(NATURE) == found.level_35


def test_the_newest_test_is_held_to_its_bound_by_its_own_salinity() -> None:
    """510 mg/L at 35 is above 500, though older water at 38 speaks for the level."""
    past = history(
        measured("salinity", 38.0, 9),
        measured("salinity", 35.0, 1),
        measured("calcium", 510.0, 1),
    )
    own = report(9, {"calcium": at(38), "salinity": 38.0})
    assert 510.0 == calcium(with_report(past, own)).above


def test_where_no_test_of_salinity_is_used_none_is_made_up() -> None:
    """Neither beside a test nor for what was carried on from it."""
    blind = Salt(inflow=Inflow(parameter="salinity"))
    assert blind.beside(NOW) is None
    assert blind.of_level(NOW, NOW) is None


def doubted(*tests: MeasurementKept) -> dict[str, bool | None]:
    """What is said of a report of 20 days ago on water of 31, by check."""
    names = ("sodium", "chloride", "magnesium", "sulfate")
    levels = {name: (PARAMETERS[name].natural or 0.0) * 31 / 35 for name in names}
    past = with_report(history(*tests), report(20, levels))
    found = assess(past, machine(dosed=()), "reef", NOW)
    return {one.name: one.holds for one in found.checks}


def test_a_report_is_held_against_the_salinity_of_its_own_water() -> None:
    """Salinity was brought from 31 to 35.2 since: nothing is wrong with it."""
    then = measured("salinity", 31.0, 20)
    found = doubted(then, measured("salinity", 35.2, 1))
    assert {"charge-balance", "salinity-sodium", "salinity-chloride"} == set(found)
    assert all(found.values())
    wrong = doubted(measured("salinity", 35.2, 20), measured("salinity", 31.0, 1))
    assert False is wrong["salinity-sodium"]
    assert False is wrong["salinity-chloride"]


@pytest.mark.parametrize(("days", "count"), [(6.0, 3), (5.9, 1), (34.0, 3), (34.1, 1)])
def test_a_test_of_other_weeks_says_nothing_of_a_report(
    days: float, count: int
) -> None:
    """14 days from the sample of 20 days ago, either way; then only charges."""
    assert count == len(doubted(measured("salinity", 31.0, days)))
