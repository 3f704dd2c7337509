"""Switches of a rehearsal, and the faults that trip them."""

from dataclasses import replace

import pytest

from slackwater.facts.limits import Switch
from slackwater.facts.sight import Sight
from slackwater.facts.tank import Machine
from slackwater.rehearsal.faults.case import Tried
from slackwater.rehearsal.faults.running import run_cases
from slackwater.rehearsal.faults.switch_cases import SWITCH_CASES
from slackwater.rehearsal.rehearsal import rehearse
from slackwater.rehearsal.virtual_switch import show_switches
from tests.rehearsal.houses import FIRST, sample


def switched() -> Machine:
    """The smallest sample with a return pump that is watched and a leak detector."""
    machine, _plan = sample("smallest")
    switches = (
        Switch(id="pump", tank="reef", role="return-pump", normal_on=True),
        Switch(id="floor", tank="reef", role="leak", normal_on=False),
    )
    return replace(machine, switches={one.id: one for one in switches})


def test_a_plan_with_switches_is_given_whole() -> None:
    """All is well, all the time."""
    _machine, plan = sample("smallest")
    done = rehearse(switched(), plan, FIRST, 2)
    assert {"granted"} == {each.verdict for each in done.doses}


def test_a_tripped_switch_says_the_opposite_since_then() -> None:
    """On is off, and it remembers since when; mended, it has been well since then."""
    machine, sight = switched(), Sight(started_boot_s=0.0)
    show_switches(machine, sight, 10.0)
    assert (True, False) == tuple(
        sight.switches[name].is_on for name in ("pump", "floor")
    )
    for boot_s in (20.0, 30.0):
        show_switches(machine, sight, boot_s, {"pump"})
    seen = sight.switches["pump"]
    assert (False, 20.0, 30.0) == (seen.is_on, seen.since_boot_s, seen.heard_boot_s)


def tried(case: str, machine: Machine) -> Tried:
    """What one fault of the switches did."""
    _machine, plan = sample("smallest")
    run = run_cases(machine, plan, plan.starts, SWITCH_CASES)
    assert () == run.not_tried
    return next(one for one in run.tried if one.case == case)


@pytest.mark.parametrize(
    ("case", "answer"), [("switch-trips", "stops"), ("switch-silent", "shortens")]
)
def test_a_wrong_switch_stops_and_a_silent_one_shortens(case: str, answer: str) -> None:
    """Excess stops, ignorance shortens; nothing is carried over."""
    machine = switched()
    leak = replace(machine, switches={"floor": machine.switches["floor"]})
    found = tried(case, leak)
    assert found.is_sound
    assert {answer} == set(found.answers.values())


def test_every_switch_that_trips_is_a_reason_to_stop() -> None:
    """A return pump that stands and a leak at once."""
    found = tried("switch-trips", switched())
    assert found.is_sound
    assert {"stops"} == set(found.answers.values())


def test_a_return_pump_that_falls_silent_stops_everything() -> None:
    """Nobody knows that the water moves: no dose goes into it."""
    machine = switched()
    only = replace(machine, switches={"pump": machine.switches["pump"]})
    assert {"stops"} == set(tried("switch-silent", only).answers.values())


def test_a_button_is_never_missed_and_that_is_said() -> None:
    """It speaks only when it is pressed."""
    machine, plan = sample("smallest")
    button = Switch(
        id="feed", tank="reef", role="feeding", normal_on=False, period_s=0.0
    )
    machine = replace(machine, switches={"feed": button})
    run = run_cases(machine, plan, plan.starts, SWITCH_CASES)
    (left,) = run.not_tried
    assert ("switch-silent", True) == (left.case, "within a day" in left.why)
    assert all(one.is_sound for one in run.tried)


def test_a_tank_without_switches_says_so() -> None:
    """It is not tried, and the reason names what there could be."""
    machine, plan = sample("smallest")
    run = run_cases(machine, plan, plan.starts, SWITCH_CASES)
    assert {"reef has no switch for return pump, level, leak, feeding or hands"} == {
        one.why for one in run.not_tried
    }
