"""Nutrients and a carbon source; all figures are common practice, no source."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.proposal import Evidence, Ground, Proposal
from tests.assessment.reefs import (
    SETTLED,
    STARTS,
    TODAY,
    change,
    grounds,
    known,
    line,
    lines,
    machine,
    plan,
    proposed,
)

# 1 mL of vinegar brings 0.005 mmol/L to 200 L.
UL_PER_STEP = 3_000
NITRATE = Evidence(
    parameter="nitrate", target=5.0, level=20.0, level_sd=0.5, fresh=True
)
PHOSPHATE = Evidence(
    parameter="phosphate", target=0.05, level=0.08, level_sd=0.005, fresh=True
)


def with_carbon(dosed_ul: int, *evidence: Evidence) -> Proposal:
    """What is proposed for a tank that has got so much vinegar since its plan began."""
    present = plan(line("vinegar", dosed_ul)) if dosed_ul else None
    return proposed(machine(("vinegar",), targets={}), present, *evidence, SETTLED)


def test_carbon_begins_with_one_small_step() -> None:
    """0.015 mmol C/L a day, by day."""
    found = with_carbon(0, NITRATE, PHOSPHATE)
    assert UL_PER_STEP == change(found, "vinegar").after_ul
    assert [600] == [
        one.windows[0].start_minute for one in lines(found, "vinegar")[-1:]
    ]
    assert Ground.CARBON_STEP in grounds(found, "vinegar")


def test_what_light_spoils_is_given_in_the_dark() -> None:
    """From midnight, whatever the habit of its parameter is."""
    used = machine(("vinegar",), targets={})
    dark = replace(used.solutions["vinegar"], light_sensitive=True)
    used = replace(used, solutions={**used.solutions, "vinegar": dark})
    found = proposed(used, None, NITRATE, PHOSPHATE, SETTLED)
    windows = lines(found, "vinegar")[-1].windows
    assert [(0, 360)] == [(one.start_minute, one.end_minute) for one in windows]


def test_carbon_goes_up_a_step_after_a_week() -> None:
    """Nineteen days since the plan began."""
    assert timedelta(days=19) == TODAY - STARTS
    found = with_carbon(UL_PER_STEP, NITRATE, PHOSPHATE)
    assert 2 * UL_PER_STEP == change(found, "vinegar").after_ul


def test_carbon_waits_within_the_week() -> None:
    """Three days after the last step."""
    present = plan(line("vinegar", UL_PER_STEP, first_day=TODAY - timedelta(days=3)))
    found = proposed(machine(("vinegar",), targets={}), present, NITRATE, PHOSPHATE)
    assert found.is_none
    assert Ground.CARBON_WAITS in grounds(found, "vinegar")


def test_carbon_has_a_most() -> None:
    """0.15 mmol C/L a day is where it ends."""
    found = with_carbon(10 * UL_PER_STEP, NITRATE, PHOSPHATE)
    assert found.is_none


@pytest.mark.parametrize(
    "low",
    [
        replace(NITRATE, level=0.8),
        replace(PHOSPHATE, level=0.015),
        Evidence(parameter="temperature", level=29.4, fresh=True),
    ],
    ids=["nitrate", "phosphate", "warm"],
)
def test_carbon_ends_at_once_when_nutrients_are_low_or_water_warm(
    low: Evidence,
) -> None:
    """Whatever the other figures say."""
    found = with_carbon(2 * UL_PER_STEP, NITRATE, PHOSPHATE, low)
    assert () == found.plan.lines
    assert "ends" == change(found, "vinegar").kind
    assert Ground.CARBON_STOPS in grounds(found, "vinegar")


def test_carbon_stays_where_nutrients_are_unknown_or_near_target() -> None:
    """No rise without both, none without need."""
    old = replace(PHOSPHATE, fresh=False)
    assert with_carbon(UL_PER_STEP, NITRATE, old).is_none
    assert with_carbon(UL_PER_STEP, NITRATE).is_none
    near = with_carbon(
        UL_PER_STEP, replace(NITRATE, level=5.2), replace(PHOSPHATE, target=None)
    )
    assert near.is_none
    assert Ground.NEAR_TARGET in grounds(near, "vinegar")


def test_low_nitrate_is_made_good_and_its_potassium_counts() -> None:
    """Four mg/L in seven days; six tenths of it come as potassium too."""
    made = machine(("nitre", "potash"), targets={"nitrate": 5.0})
    found = proposed(made, None, replace(NITRATE, level=1.0), SETTLED)
    asked = change(found, "nitre")
    assert asked.correction_days >= 7
    assert asked.correction_ul * asked.correction_days * 0.00005 == pytest.approx(
        4.0, rel=0.05
    )


def test_phosphate_that_rock_binds_is_not_answered_with_more() -> None:
    """An apparent uptake raises nothing; less is believed."""
    made = machine(("phosphate",), targets={})
    present = plan(line("phosphate", 2_000))
    more = proposed(made, present, known("phosphate", 0.03, 0.001))
    assert more.is_none
    assert Ground.REPEATS_NO_RISE in grounds(more, "phosphate")
    less = proposed(made, present, known("phosphate", 0.005, 0.0001))
    assert change(less, "phosphate").after_ul < 2_000
