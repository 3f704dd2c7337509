"""Nothing is written or sent that nobody approved, whatever the turn asks for.

The daemon of a scenario is given another plan than the ledger holds, as a fault of the
program might: what it asks for departs, and everything is held.
"""

from collections.abc import Callable
from dataclasses import replace

import pytest

from slackwater.facts.events import DoseIntended, HoldRaised
from slackwater.facts.plan import Plan
from slackwater.facts.reasons import Code
from slackwater.facts.tank import Machine
from slackwater.turn.setup import make_setup
from tests.properties.world import World
from tests.service.test_loop import MINUTE_MS, calm_world

Slip = Callable[[Machine, Plan], tuple[Machine, Plan]]


def a_microlitre_more(machine: Machine, plan: Plan) -> tuple[Machine, Plan]:
    """Each dose is larger by one."""
    lines = [
        replace(line, per_day_ul=line.per_day_ul + line.count) for line in plan.lines
    ]
    return machine, replace(plan, lines=tuple(lines))


def more_doses(machine: Machine, plan: Plan) -> tuple[Machine, Plan]:
    """Twice as many doses in the same time, of the same volume."""
    lines = [
        replace(line, per_day_ul=2 * line.per_day_ul, count=2 * line.count)
        for line in plan.lines
    ]
    return machine, replace(plan, lines=tuple(lines))


def half_the_rate(machine: Machine, plan: Plan) -> tuple[Machine, Plan]:
    """Pumps that are thought to be slower run twice as long."""
    pumps = {
        name: replace(pump, rate_nl_per_s=pump.rate_nl_per_s // 2)
        for name, pump in machine.pumps.items()
    }
    return replace(machine, pumps=pumps), plan


def changed_channels(machine: Machine, plan: Plan) -> tuple[Machine, Plan]:
    """The channels of a node are mistaken for each other."""
    other = {"a": "b", "b": "a"}
    pumps = {
        name: replace(pump, channel=other[pump.channel])
        if pump.node == "shelf"
        else pump
        for name, pump in machine.pumps.items()
    }
    return replace(machine, pumps=pumps), plan


def mistaken(world: World, slip: Slip) -> None:
    """Let the running daemon decide by another machine and plan than approved."""
    assert world.daemon is not None
    machine, plan = slip(world.home.machine, world.home.plan)
    (force,) = world.daemon.rig.setup.forces
    world.daemon.rig.setup = make_setup(machine, {1: (force.approval, plan)})


@pytest.mark.parametrize(
    "slip",
    [a_microlitre_more, more_doses, half_the_rate, changed_channels],
    ids=lambda slip: slip.__name__,
)
def test_d7_what_nobody_approved_is_neither_written_nor_sent(slip: Slip) -> None:
    """Instead a latched hold on everything, which names dose and departure, once."""
    world = calm_world()
    mistaken(world, slip)
    written, sent = len(world.book.entries), len(world.book.sent)
    world.run(9 * MINUTE_MS)
    entries = [one.event for one in world.book.entries[written:]]
    assert [] == [event for event in entries if isinstance(event, DoseIntended)]
    assert sent == len(world.book.sent)
    holds = [event for event in entries if isinstance(event, HoldRaised)]
    assert [(Code.NOT_AS_APPROVED, "all", True)] == [
        (hold.reason.code, hold.scope, hold.latched) for hold in holds
    ]
    figures = holds[0].reason.figures
    assert str(figures["dose"]).startswith("reef/")
    assert figures["wrong"] in ("extra", "altered")


def test_as_approved_it_goes_on() -> None:
    """The same machine and plan, set up anew: doses go on and nothing is held."""
    world = calm_world()
    mistaken(world, lambda machine, plan: (machine, plan))
    sent = len(world.book.sent)
    world.run(9 * MINUTE_MS)
    assert sent < len(world.book.sent)
    assert Code.NOT_AS_APPROVED not in {
        one.event.reason.code
        for one in world.book.entries
        if isinstance(one.event, HoldRaised)
    }
