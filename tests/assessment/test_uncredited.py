"""What came in since a test, where nobody knows how much of it was used up.

An element is not there twice: mass balance, C = C0 + D - U t, with U between 0 and all
that came in. Rates and dead-bands are common practice, no source; the levels are near
those of sea water (Millero et al. 2008).
"""

from dataclasses import replace

import pytest

from slackwater.assessment.assess import assess
from slackwater.assessment.carrying import Consumption, uncredited
from slackwater.assessment.evidence import evidence_of
from slackwater.assessment.inflow import Inflow
from slackwater.assessment.proposal import Asked, propose
from slackwater.facts.history import History
from slackwater.facts.plan import Plan, PlanLine, Window
from slackwater.facts.proposal import Change, Ground
from slackwater.facts.tank import EffectCap, Machine
from tests.assessment.past import (
    DKH,
    NOW,
    ago,
    deliveries,
    history,
    machine,
    measured,
    pico,
)

DAYS = 14
NIGHT = Window(start_minute=0, end_minute=480)


def reef(parameter: str, target: float) -> Machine:
    """Soda is dosed; the element has a target, a pump and no known uptake."""
    made = machine(targets={parameter: target}, dosed=("alkalinity", parameter))
    caps = {
        "alkalinity": EffectCap(gross=pico("alkalinity", 3 * DKH)),
        parameter: EffectCap(gross=pico(parameter, target)),
    }
    # A millilitre brings a thousandth of the target.
    element = replace(
        made.solutions[parameter], effects={parameter: pico(parameter, target) // 10**6}
    )
    return replace(
        made,
        tanks={"reef": replace(made.tanks["reef"], caps=caps)},
        solutions={**made.solutions, parameter: element},
        pumps={
            name: replace(pump, per_dose_ul=10**6, per_day_ul=10**8)
            for name, pump in made.pumps.items()
        },
    )


def proposed(past: History, made: Machine, parameter: str) -> Change:
    """What is proposed for the element while soda flows."""
    tank = made.tanks["reef"]
    soda = PlanLine(
        id="soda",
        tank="reef",
        solution="alkalinity",
        pump="alkalinity",
        per_day_ul=10_000,
        count=2,
        windows=(NIGHT,),
    )
    found = propose(
        Asked(
            machine=made,
            tank="reef",
            plan=Plan(name="invented", starts=ago(60).date(), lines=(soda,)),
            evidence=evidence_of(assess(past, made, "reef", NOW), tank),
            today=NOW.date(),
        )
    )
    return next(one for one in found.changes if one.parameter == parameter)


LOW = [
    ("potassium", 370.0, 410.0),
    ("strontium", 5.0, 8.0),
    ("iodine", 30.0, 60.0),
    ("boron", 2.6, 4.6),
    ("fluoride", 0.7, 1.3),
    ("magnesium", 1150.0, 1300.0),
]


@pytest.mark.parametrize(("parameter", "level", "target"), LOW)
def test_what_was_made_good_is_not_made_good_again(
    parameter: str, level: float, target: float
) -> None:
    """One sample, and all that was missing has come in since: test again."""
    made = reef(parameter, target)
    before = history(measured(parameter, level, DAYS, "lab"))
    first = proposed(before, made, parameter)
    assert Ground.CORRECTION_UP in [one.ground for one in first.grounds]
    came = deliveries({parameter: (target - level) / DAYS}, DAYS)
    again = proposed(replace(before, deliveries=came), made, parameter)
    assert (0, 0) == (again.correction_ul, again.correction_days)
    told = next(one for one in again.grounds if one.ground is Ground.CAME_SINCE)
    assert target - level == pytest.approx(told.figures["came_since"])


def test_a_part_that_came_leaves_the_rest() -> None:
    """Of 40 mg/L of potassium 4 have come: 36 are still to be made good."""
    made = reef("potassium", 410.0)
    past = history(
        measured("potassium", 370.0, 2, "lab"),
        deliveries=deliveries({"potassium": 2.0}, 2),
    )
    found = proposed(past, made, "potassium")
    # 1 mL brings 0.41 mg/L; the pump's amounts are rounded down.
    total = found.correction_ul * found.correction_days * 0.00041
    assert 34.0 < total <= 36.0


def test_a_test_since_counts_anew() -> None:
    """Whatever came before it is in it."""
    made = reef("potassium", 410.0)
    past = history(
        measured("potassium", 370.0, 0, "lab"),
        deliveries=deliveries({"potassium": 3.0}, DAYS),
    )
    assert proposed(past, made, "potassium").correction_days


def test_only_what_is_unknown_is_uncredited() -> None:
    """Where the uptake is known the level moves instead."""
    came = Inflow(parameter="potassium", outside_per_day=2.0)
    assert 12.0 == pytest.approx(uncredited(100.0, 106.0, came, Consumption()))
    assert 0.0 == uncredited(100.0, 106.0, came, Consumption(per_day=0.0))


@pytest.mark.parametrize(
    ("parameter", "level"),
    [("potassium", 406.0), ("strontium", 8.1), ("iodine", 61.0), ("boron", 4.6)],
)
def test_two_tests_of_two_days_empty_no_tank_on_paper(
    parameter: str, level: float
) -> None:
    """What may be used up before any test is known is no uptake that tests show."""
    made = machine(targets={parameter: level}, dosed=("alkalinity", parameter))
    past = history(
        measured(parameter, level * 0.99, 24), measured(parameter, level, 23)
    )
    found = assess(past, made, "reef", NOW)
    stands = found.standings[parameter]
    assert level == pytest.approx(stands.level)
    assert "in band" == stands.word
    assert [] == [one for one in found.notices if one.parameter == parameter]


def test_what_tests_show_moves_the_level() -> None:
    """A tank that uses up 2 mg/L of potassium a day, by a sample a week."""
    made = machine(dosed=("alkalinity", "potassium"))
    past = history(
        *(
            measured("potassium", 400.0 - 2 * (38 - days), days, "lab", sd=3.0)
            for days in (38, 31, 24, 17, 10)
        )
    )
    stands = assess(past, made, "reef", NOW).standings["potassium"]
    assert 324.0 == pytest.approx(stands.level, abs=3.0)


def test_what_the_file_states_goes_before_a_thought() -> None:
    """0.5 mg/L of potassium a day for 23 days."""
    made = machine(dosed=("alkalinity", "potassium"), uptake={"potassium": (0.5, 0.4)})
    past = history(measured("potassium", 402.0, 24), measured("potassium", 406.0, 23))
    stands = assess(past, made, "reef", NOW).standings["potassium"]
    assert 406.0 - 0.5 * 23 == pytest.approx(stands.level)
