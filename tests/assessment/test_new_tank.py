"""What a tank gets to which nothing was dosed yet.

Common practice, no source: no dose begins before two tests show that it is used up.
"""

from dataclasses import replace

import pytest

from slackwater.facts.proposal import Evidence, Ground
from slackwater.facts.tank import Outside
from tests.assessment.reefs import (
    NIGHT,
    SETTLED,
    TOMORROW,
    change,
    grounds,
    known,
    lines,
    machine,
    per_day,
    proposed,
)

# 1 mL a day of carbonate is 0.01 meq/L a day.
UL_PER_MEQ_PER_L = 100_000


def test_a_new_tank_gets_nothing_until_two_tests_show_a_fall() -> None:
    """No plan and no fall: no line."""
    found = proposed(
        machine(("carbonate",)), None, known("alkalinity", 0.2, 0.01, falls=False)
    )
    assert () == found.plan.lines
    assert Ground.NEW_TANK in grounds(found, "carbonate")


def test_a_new_tank_gets_no_correction_either() -> None:
    """A level below its target, by one test or by a stated uptake, begins no dose.

    Neither of what was tested low, nor of a carbon source: a correction is a dose too.
    """
    low = known("calcium", 0.0, 1.0, level=364.0, target=425.0, falls=False)
    high = Evidence(
        parameter="nitrate", target=5.0, level=20.0, level_sd=0.5, fresh=True
    )
    phosphate = replace(high, parameter="phosphate", target=0.05, level=0.09)
    made = machine(("calcium", "vinegar"), targets={"calcium": 425.0})
    found = proposed(made, None, low, high, phosphate)
    assert () == found.plan.lines
    assert found.is_none
    told = {one.pump: [each.ground for each in one.grounds] for one in found.changes}
    assert {"calcium": [Ground.NEW_TANK], "vinegar": [Ground.NEW_TANK]} == told

    fallen = proposed(made, None, low, high, phosphate, SETTLED)
    assert {"calcium", "vinegar"} == {line.pump for line in fallen.plan.lines}
    assert Ground.NO_FALL in grounds(fallen, "calcium")
    assert Ground.NO_TARGET not in grounds(fallen, "vinegar")


def test_a_declared_source_makes_a_tank_no_new_one() -> None:
    """Something flows already, though nothing of ours: a correction may be proposed."""
    low = known("calcium", 0.0, 1.0, level=405.0, target=425.0, falls=False)
    old = Outside(
        id="reactor",
        tank="reef",
        parameter="calcium",
        per_day=per_day("calcium", 1.0),
    )
    made = machine(("calcium",), targets={"calcium": 425.0}, outside=(old,))
    assert lines(proposed(made, None, low), "calcium")


def test_a_first_plan_starts_at_what_is_surely_taken_up() -> None:
    """From nothing to the lower bound at once, which raises nothing; then in steps."""
    found = proposed(machine(("carbonate",)), None, known("alkalinity", 0.42, 0.05))
    steps = lines(found, "carbonate")
    low_ul = (0.42 - 1.645 * 0.05) * UL_PER_MEQ_PER_L
    assert steps[0].per_day_ul == pytest.approx(low_ul, abs=100)
    assert TOMORROW == steps[0].first_day
    assert steps[-1].last_day is None
    assert 42_000 == steps[-1].per_day_ul
    assert NIGHT == steps[-1].windows
    assert "new" == change(found, "carbonate").kind
