"""The loop on a ledger in memory: what it repeats, and when it must be built anew."""

from dataclasses import replace
from datetime import timedelta
from functools import partial
from itertools import pairwise

import pytest

from slackwater.facts.events import (
    AnyEvent,
    DoseIntended,
    DoseMissed,
    DoseVoided,
    HoldRaised,
)
from slackwater.facts.messages import Request
from slackwater.facts.now import Now
from slackwater.facts.plan import Approval
from slackwater.facts.reasons import Code, because
from slackwater.facts.sight import Inbox, see
from slackwater.facts.state import State
from slackwater.facts.tank import Machine, Node
from slackwater.pump.outcome import Stamp
from slackwater.service import loop
from slackwater.service.wiring import Rig
from slackwater.turn import deciding, step
from slackwater.turn.setup import Setup, Turn
from tests.properties import shell
from tests.properties.people import confirm_clock
from tests.properties.world import World, approved, begin

MINUTE_MS = 60_000
DAY_MS = 1440 * MINUTE_MS


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


def test_h37_a_pass_ends_after_each_part_of_a_very_long_absence(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Between two parts the watchdog is fed: the next pass comes at once."""
    passes: list[list[Turn]] = []

    def one_pass(rig: Rig, timeout_s: float) -> None:
        passes.append([])
        loop.one_pass(rig, timeout_s)

    def turn(now: Now, state: State, inbox: Inbox, setup: Setup) -> Turn:
        passes[-1].append(step.turn(now, state, inbox, setup))
        return passes[-1][-1]

    world = calm_world()
    world.kill(10 * DAY_MS)
    monkeypatch.setattr(deciding, "LOOKED_AT_ONCE", 5)
    monkeypatch.setattr(shell, "one_pass", one_pass)
    monkeypatch.setattr(loop, "turn", turn)
    world.run(world.times.t_ms + 10 * DAY_MS + MINUTE_MS)
    parts = [turns for turns in passes if any(one.unfinished for one in turns)]
    assert len(parts) > 2
    for turns in parts:
        assert [turns[-1]] == [one for one in turns if one.unfinished]


def test_h38_a_living_daemon_goes_on_when_a_person_puts_the_clock_right() -> None:
    """Its probe, which has no clock of its own, had spoken from ten days ahead."""
    world = calm_world()
    world.kill(MINUTE_MS)
    world.times.shift_ms += 10 * DAY_MS
    world.run(world.times.t_ms + 10 * MINUTE_MS)
    assert world.daemon is not None
    rig, sent = world.daemon.rig, len(world.book.sent)
    ahead = world.times.now().utc
    for probe, series in rig.sight.readings.items():
        see(rig.sight, replace(series[-1], at=ahead))
        rig.kept_until[probe] = ahead
    world.times.shift_ms -= 10 * DAY_MS
    world.run(world.times.t_ms + MINUTE_MS)
    confirm_clock(world)
    world.run(world.times.t_ms + 5_000)
    # Before anything is decided anew: readings from now on are to be kept again.
    assert max(rig.kept_until.values()) <= world.times.now().utc
    world.run(world.times.t_ms + DAY_MS)
    assert len(world.book.sent) > sent
    # What that clock had decided has other names now, and is as approved under these.
    assert Code.NOT_AS_APPROVED not in world.book.folded().holds
    intents = [e for e in world.book.events() if isinstance(e, DoseIntended)]
    assert intents[-1].dose.id.endswith(".2")
    utc = world.times.now().utc
    assert rig is world.daemon.rig
    assert rig.sight.readings
    for probe, series in rig.sight.readings.items():
        assert utc - series[-1].at < timedelta(hours=2)
        assert rig.kept_until[probe] <= utc


def test_h38_a_dose_that_a_clock_ahead_had_given_is_missed_and_told() -> None:
    """The state has forgotten its name, as it does after days; the ledger has not."""
    world = calm_world()
    world.run(4 * MINUTE_MS)
    assert world.daemon is not None
    rig, begun = world.daemon.rig, len(world.book.entries)
    intents = [e for e in world.book.events() if isinstance(e, DoseIntended)]
    given = {intent.dose.id: intent.planned_effects for intent in intents}
    assert given
    rig.memory.state.used.clear()
    rig.sight.scanned_until = None
    world.run(60 * MINUTE_MS)
    after = [one.event for one in world.book.entries[begun:]]
    # What was planned and not given is what an alarm looks at.
    told = {
        event.dose.id: event.effects
        for event in after
        if isinstance(event, DoseMissed)
        and [Code.GIVEN_BEFORE] == [reason.code for reason in event.reasons]
    }
    assert told
    assert told == {name: given[name] for name in told}
    again = [e.dose.id for e in after if isinstance(e, DoseIntended)]
    assert again
    assert not given.keys() & set(again)
    assert rig is world.daemon.rig


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
        # The rig that takes its place knows what this one was told.
        world.daemon.rig.closing = False


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


def test_i3_nothing_leaves_before_its_entry_is_durable() -> None:
    """Each command went when its intent already stood in the book."""
    world = calm_world()
    for durable, command in world.book.sent:
        written = [one.event for one in world.book.entries[:durable]]
        assert command in [e.command for e in written if isinstance(e, DoseIntended)]


def test_h02_a_start_sends_nothing_of_the_life_before() -> None:
    """Killed with an open intent whose command was lost: the next life waits."""
    world = calm_world()
    sent = len(world.book.sent)
    while len(world.book.sent) == sent:
        assert world.times.t_ms < 9 * MINUTE_MS
        world.run(world.times.t_ms + 1)
    world.bus.outbound.clear()
    world.kill(100)
    world.run(world.times.t_ms + 50_000)
    attempts = [command.attempt for _, command in world.book.sent]
    assert len(attempts) == len(set(attempts))
    assert attempts[sent] in [
        written.event.attempt
        for written in world.book.entries
        if isinstance(written.event, DoseVoided)
    ]


def test_h09_a_swap_to_the_same_doses_gives_none_twice() -> None:
    """A person approves the plan that runs once more, at once, in mid-minute."""
    world = calm_world()
    for _ in range(3):
        world.book.sign(partial(approved_now, world))
        world.run(world.times.t_ms + 40_000)
    written = [one.event for one in world.book.entries]
    doses = [event.dose.id for event in written if isinstance(event, DoseIntended)]
    assert len(doses) > 1
    assert len(doses) == len(set(doses))
    # Nor was it the ledger alone that stood between.
    missed = [event for event in written if isinstance(event, DoseMissed)]
    assert Code.GIVEN_BEFORE not in [r.code for event in missed for r in event.reasons]


def approved_now(world: World, state: State, stamp: Stamp) -> AnyEvent:
    """The scenario's plan with a new serial, taking over at this moment."""
    approval = Approval(
        serial=state.last_serial + 1,
        digest="3" * 64,
        takes_over_at=stamp["at"],
        expires_at=stamp["at"] + timedelta(days=2),
        by="keeper",
        highest_daily_ul=0,
    )
    return approved(approval, (world.home.machine, world.home.plan), stamp)


def test_i6_a_withdrawal_from_afar_counts_at_once() -> None:
    """The loop reads its setup anew after its own entry, and sends nothing more."""
    world = calm_world()
    assert world.daemon is not None
    serial = world.book.folded().last_serial
    gone = Request(tank="reef", id="gone", act="withdraw", serial=serial)
    world.bus.to_daemon(gone, world.times.t_ms)
    world.run(world.times.t_ms + 5_000)
    assert () == world.daemon.rig.setup.forces
    sent = len(world.book.sent)
    world.run(world.times.t_ms + 5 * MINUTE_MS)
    assert sent == len(world.book.sent)
