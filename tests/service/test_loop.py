"""The loop on a ledger in memory: what it repeats, and when it must be built anew."""

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

from slackwater.facts.events import AnyEvent, HoldRaised
from slackwater.facts.plan import Approval
from slackwater.facts.reasons import Code, because
from slackwater.facts.state import State
from slackwater.facts.tank import Machine, Node
from slackwater.pump.outcome import Stamp
from tests.properties.world import World, approved, begin

MINUTE_MS = 60_000


def calm_world() -> World:
    """The first scenario that doses again and again, after its first minutes."""
    for seed in range(100):
        trial = begin(seed)
        trial.run(5 * MINUTE_MS)
        if len(trial.book.sent) > 3:
            world = begin(seed)
            world.run(2 * MINUTE_MS)
            return world
    message = "no scenario doses at all"
    raise AssertionError(message)


def test_h62_a_stop_is_repeated_by_the_second_not_by_the_beat() -> None:
    """A node answers each stop with a beat, which must not bring the next stop."""
    world = calm_world()
    world.bus.deaf.add("result")
    world.bus.outbound.clear()
    sent = len(world.book.sent)
    while len(world.book.sent) == sent:
        assert world.times.t_ms < 9 * MINUTE_MS
        world.run(world.times.t_ms + 1)
    # The command is lost: nothing proves that it never ran until its deadline passed.
    world.bus.outbound.clear()
    world.book.sign(held)
    world.run(world.times.t_ms + 20_000)
    stops = [at_ms for at_ms, _ in world.book.stops]
    assert len(stops) > 1
    assert all(later - earlier >= 999 for earlier, later in pairwise(stops))


def held(_state: State, stamp: Stamp) -> AnyEvent:
    """A latched hold on everything."""
    return HoldRaised(
        **stamp,
        hold_id="everything",
        scope="all",
        reason=because(Code.MANUAL_HOLD),
        latched=True,
    )


def with_a_third_node(machine: Machine) -> Machine:
    """A machine that also listens to a node nobody has heard of."""
    cellar = Node(id="cellar", day_limit_ul=1000, cut_limit_ms=1000)
    return replace(machine, nodes={**machine.nodes, "cellar": cellar})


def test_an_approved_machine_with_a_new_node_makes_a_new_rig() -> None:
    """The old one would never hear it; one that only lost a node goes on."""
    world = calm_world()
    assert world.daemon is not None
    home = world.home
    for machine, restaged in (
        (home.machine, False),
        (with_a_third_node(home.machine), True),
        (with_a_third_node(home.machine), False),
        (home.machine, False),
    ):
        approve(world, machine)
        assert restaged == world.daemon.live()


def approve(world: World, machine: Machine) -> None:
    """Approve the scenario's plan again, with this machine, from a later day on."""

    def made(state: State, stamp: Stamp) -> AnyEvent:
        approval = Approval(
            serial=state.last_serial + 1,
            digest="2" * 64,
            takes_over_at=stamp["at"] + timedelta(days=1),
            expires_at=stamp["at"] + timedelta(days=2),
            by="keeper",
            highest_daily_ul=0,
        )
        return approved(approval, (machine, world.home.plan), stamp)

    world.book.sign(made)
