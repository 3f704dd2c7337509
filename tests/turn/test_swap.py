"""From one approved plan to the next: each with its own machine, none by surprise."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from slackwater.facts.events import DoseIntended, DoseMissed, HoldRaised
from slackwater.facts.plan import Approval, Window
from slackwater.facts.reasons import Code, because
from slackwater.facts.tank import Machine, Solution
from slackwater.gate.watches import BY_NAME, WATCHES
from slackwater.turn.setup import make_setup
from tests.gate.scene import APPROVAL, machine, plan
from tests.turn.test_step import START, Bench, roomy

MIDNIGHT = START + timedelta(hours=24)


def approval(serial: int, takes_over_at: datetime) -> Approval:
    """An approval like the scene's."""
    return replace(APPROVAL, serial=serial, takes_over_at=takes_over_at)


def without_carbonate() -> Machine:
    """The scene after its carbonate pump was sold."""
    whole = roomy(machine())
    pumps = {name: pump for name, pump in whole.pumps.items() if name == "calcium"}
    return replace(whole, pumps=pumps)


def test_a_later_approval_takes_the_place_of_one_that_was_still_to_come() -> None:
    """Approved for midnight, then another at once: midnight brings nothing back."""
    setup = make_setup(
        machine(),
        {
            1: (APPROVAL, plan()),
            2: (approval(2, MIDNIGHT), plan()),
            3: (approval(3, START), plan()),
        },
    )
    assert [1, 3] == [force.approval.serial for force in setup.forces]


def test_i9_a_plan_keeps_the_machine_it_was_approved_with() -> None:
    """A wider gap approved for midnight moves no dose of today."""
    wider = replace(
        roomy(machine()), timing=replace(machine().timing, apart_gap_s=1500.0)
    )
    alone = make_setup(roomy(machine()), {1: (APPROVAL, plan())})
    both = make_setup(
        wider,
        {1: (APPROVAL, plan()), 2: (approval(2, MIDNIGHT), plan())},
        {1: roomy(machine()), 2: wider},
    )
    today = [
        setup.forces[0].timetable.between(START, MIDNIGHT) for setup in (alone, both)
    ]
    assert today[0] == today[1]
    assert today[0] != both.forces[1].timetable.between(START, MIDNIGHT)


def test_a_waiting_dose_whose_pump_goes_with_its_plan_is_missed() -> None:
    """Held at the swap, and afterwards nobody has that pump: said so, no fault."""
    bench = Bench(machine())
    bench.state.holds["pause/1"] = hold("tank/reef")
    bench.run_until(START + timedelta(minutes=2))
    swap = START + timedelta(minutes=2)
    calcium = replace(plan(), lines=plan().lines[1:])
    bench.setup = make_setup(
        without_carbonate(),
        {1: (APPROVAL, plan()), 2: (approval(2, swap), calcium)},
        {1: roomy(machine())},
    )
    bench.run_until(START + timedelta(minutes=3))
    missed = [event for event in bench.events if isinstance(event, DoseMissed)]
    assert [("carbonate", Code.PUMP_CHANGED)] == [
        (event.dose.pump, event.reasons[0].code) for event in missed
    ]


def test_a_hold_is_judged_although_the_mate_of_a_waiting_dose_is_gone() -> None:
    """The old plan's pair, of which the new plan has one line."""
    bench = Bench(machine())
    bench.state.holds["elsewhere"] = hold("pump/other")
    swap = START + timedelta(seconds=30)
    alone = replace(plan(), lines=plan().lines[1:], groups={})
    bench.setup = make_setup(
        roomy(machine()), {1: (APPROVAL, plan()), 2: (approval(2, swap), alone)}
    )
    bench.utc = START + timedelta(minutes=1)
    bench.run_until(START + timedelta(minutes=2))
    assert ["carbonate"] == [intent.dose.pump for intent in bench.intents()]


def test_i2_an_identity_of_both_plans_is_decided_once() -> None:
    """#01 waits past its latest start; by then the new plan's #01 is due as well."""
    alone = replace(plan().lines[0], group="")
    later = replace(alone, windows=(Window(start_minute=15, end_minute=1440),))
    old, new = (replace(plan(), lines=(line,), groups={}) for line in (alone, later))
    bench = Bench(machine())
    bench.setup = make_setup(roomy(machine()), {1: (APPROVAL, old)})
    bench.state.holds["pause/1"] = hold("tank/reef")
    bench.run_until(START + timedelta(minutes=15))
    swap = approval(2, START + timedelta(minutes=14))
    bench.setup = make_setup(roomy(machine()), {1: (APPROVAL, old), 2: (swap, new)})
    bench.utc = START + timedelta(minutes=15, seconds=1)
    del bench.state.holds["pause/1"]
    bench.run_until(START + timedelta(minutes=40))
    decided = [e for e in bench.events if isinstance(e, DoseIntended | DoseMissed)]
    assert ["dose_missed"] == [event.kind for event in decided]


def test_h46_the_gap_follows_what_flowed_not_what_the_pump_gives_now() -> None:
    """Carbonate flowed from a pump that is approved with another bottle since."""
    bench = Bench(machine())
    bench.run_until(START + timedelta(minutes=1))
    assert ["carbonate"] == [intent.dose.pump for intent in bench.intents()]
    exchanged = with_inert_bottle()
    soon = (Window(start_minute=5, end_minute=1440),)
    line = replace(plan().lines[1], windows=soon, group="")
    calcium = replace(plan(), lines=(line,), groups={})
    swap = bench.utc
    bench.setup = make_setup(exchanged, {2: (approval(2, swap), calcium)})
    bench.run_until(START + timedelta(minutes=30))
    first = next(i for i in bench.intents() if i.dose.pump == "calcium")
    assert first.at - START >= timedelta(seconds=600)


def test_h46_a_run_of_the_new_bottle_does_not_hide_what_the_old_one_gave() -> None:
    """The exchanged bottle runs in between: the carbonate is in the water all the same.

    It is ten minutes (the bench's gap) until calcium may follow, as without that run.
    """
    bench = Bench(machine())
    bench.run_until(START + timedelta(minutes=1))
    given_ms = bench.state.flows["carbonate"].end_ms
    two, five = (
        replace(line, windows=(Window(start_minute=begins, end_minute=1440),), group="")
        for line, begins in zip(plan().lines, (2, 5), strict=True)
    )
    inert = replace(two, id="inert", solution="inert")
    both = replace(plan(), lines=(inert, five), groups={})
    bench.setup = make_setup(with_inert_bottle(), {2: (approval(2, bench.utc), both)})
    bench.run_until(START + timedelta(minutes=30))
    intents = [i for i in bench.intents() if i.at > START + timedelta(minutes=1)]
    assert ["inert", "calcium"] == [intent.solution for intent in intents[:2]]
    assert given_ms == bench.state.flows["carbonate/reef/carbonate"].end_ms
    assert intents[1].proven_ms - given_ms >= 600_000


def with_inert_bottle() -> Machine:
    """The scene after its carbonate pump was given a solution without effects."""
    whole = roomy(machine())
    pump = replace(whole.pumps["carbonate"], solution="inert")
    solutions = {**whole.solutions, "inert": Solution(id="inert", name="inert")}
    return replace(whole, solutions=solutions, pumps={**whole.pumps, "carbonate": pump})


def hold(scope: str) -> HoldRaised:
    """A latched hold."""
    return HoldRaised(
        at=START,
        boot_s=0.0,
        proven_ms=10**9,
        hold_id=scope,
        scope=scope,
        reason=because(Code.MANUAL_HOLD),
        latched=True,
    )


def test_intents_name_the_approval_in_force() -> None:
    """What was decided after the swap carries the new serial."""
    bench = Bench(machine())
    setup = make_setup(
        roomy(machine()),
        {1: (APPROVAL, plan()), 2: (approval(2, START + timedelta(hours=2)), plan())},
    )
    bench.setup = setup
    bench.run_until(START + timedelta(hours=4))
    serials = [
        event.serial for event in bench.events if isinstance(event, DoseIntended)
    ]
    assert [1, 2] == sorted(set(serials))


@pytest.mark.parametrize("name", [row.name for row in WATCHES if row.clears])
def test_a_hold_of_a_tank_that_was_taken_away_stops_no_other(name: str) -> None:
    """Whoever takes a tank down may leave its probe dry, and a hold that stands."""
    bench = Bench(machine())
    scope = f"{BY_NAME[name].scope}/pond"
    bench.state.holds[f"{name}/pond"] = replace(hold(scope), hold_id=f"{name}/pond")
    bench.run_until(START + timedelta(hours=1))

    assert {"carbonate", "calcium"} == {one.dose.pump for one in bench.intents()}
