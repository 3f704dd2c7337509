"""The balance after a fault sees a dose that was doubled, late, large or made up."""

from collections import Counter
from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.events import DoseIntended
from slackwater.rehearsal.faults.accounts import carried, highest, over_caps
from slackwater.rehearsal.faults.house import House, Noted
from slackwater.rehearsal.faults.node import Flow
from slackwater.rehearsal.faults.running import build, target_of
from tests.rehearsal.houses import sample

HOUR_MS = 3_600_000


def house() -> House:
    """A day in the smallest house without any fault."""
    machine, plan = sample("smallest")
    target = target_of(machine, plan, plan.starts)
    assert target is not None
    made = build(machine, plan, target)
    while made.times.t_ms < 25 * HOUR_MS:
        made.step(25 * HOUR_MS)
    return made


def first_intent(of: House) -> tuple[int, DoseIntended]:
    """The first intent and its place among the entries."""
    return next(
        (place, noted.event)
        for place, noted in enumerate(of.entries)
        if isinstance(noted.event, DoseIntended)
    )


def test_a_quiet_day_carries_nothing_over_and_keeps_every_cap() -> None:
    """Twelve doses of 3 mL of each pump in any 24 h."""
    made = house()
    assert [] == list(carried(made))
    assert [] == list(over_caps(made))
    found = highest(made)
    assert (36_000, 36_000, 50_000) == (found.charged_ul, found.flowed_ul, found.cap_ul)


def test_sees_a_run_that_ran_twice() -> None:
    """The same attempt out of one hose twice."""
    made = house()
    made.nodes["shelf"].flows.append(made.nodes["shelf"].flows[0])
    assert ["ran 2 times"] == [text.partition(" ")[2] for text in carried(made)]


def test_sees_a_dose_that_was_given_twice_and_the_day_that_grew() -> None:
    """Two intents of one identity: told as such, and as more than the plan."""
    made = house()
    place, intent = first_intent(made)
    made.entries.append(made.entries[place])
    told = list(carried(made))
    assert f"{intent.dose.id} was given 2 times" in told


@pytest.mark.parametrize("late", [timedelta(seconds=-1), timedelta(hours=1)])
def test_sees_a_dose_outside_its_time(late: timedelta) -> None:
    """Early and late alike."""
    made = house()
    place, intent = first_intent(made)
    moved = replace(intent, at=intent.dose.due_at + late)
    made.entries[place] = Noted(t_ms=0, event=moved)
    assert [f"{intent.dose.id} began outside its time"] == list(carried(made))


def test_sees_a_dose_that_was_made_larger_and_a_day_that_made_up() -> None:
    """One microlitre more than planned, on a day that was full."""
    made = house()
    places = [
        (place, noted.event)
        for place, noted in enumerate(made.entries)
        if isinstance(noted.event, DoseIntended)
    ]
    place, intent = places[-1]
    larger = replace(intent, command=replace(intent.command, ul=intent.command.ul + 1))
    made.entries[place] = Noted(t_ms=made.entries[place].t_ms, event=larger)
    assert f"{intent.dose.id} gave more than its plan" in list(carried(made))


def test_sees_a_day_that_gave_more_than_its_plan() -> None:
    """A full day of twelve doses, and the last of them once more under a new name."""
    made = house()
    intents = [
        noted.event for noted in made.entries if isinstance(noted.event, DoseIntended)
    ]
    counts = Counter((one.dose.line, one.dose.local_day) for one in intents)
    full = next(key for key, count in counts.items() if count == 12)
    last = [one for one in intents if (one.dose.line, one.dose.local_day) == full][-1]
    dose = replace(last.dose, id=f"{last.dose.id}-again")
    made.entries.append(Noted(t_ms=0, event=replace(last, dose=dose)))
    line, day = full
    assert [f"reef/{line} gave more on {day} than its plan"] == list(carried(made))


def test_sees_more_flow_than_was_charged_and_more_charge_than_the_cap() -> None:
    """A litre out of the hose; a cap that is lowered afterwards."""
    made = house()
    flow = Flow(pump="carbonate", attempt="x", began_ms=HOUR_MS, volume_ul=10**6)
    made.nodes["shelf"].flows.insert(0, flow)
    (told,) = over_caps(made)
    assert "flowed in 24 h" in told
    machine = made.setup.machine
    pump = replace(machine.pumps["calcium"], per_day_ul=1_000)
    lower = replace(machine, pumps={**machine.pumps, "calcium": pump})
    made.setup = replace(made.setup, machine=lower)
    assert any("cap 1 mL" in told for told in over_caps(made))
