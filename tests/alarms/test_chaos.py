"""Invented quarters of an hour with faults, watched for alarms (H63)."""

from functools import partial

import pytest

from slackwater.facts.alarms import AlarmChanged, AlarmRaised, Cause
from slackwater.service.alarming import LOOK_S, look
from tests.properties.play import END_MS, set_up
from tests.properties.shell import CrashError
from tests.properties.world import World

SEEDS, LONG_SEEDS = 80, 1500
# Tell of what hardly any of the others comes to.
RARE = (156, 162)
LOOK_MS, MINUTE_MS = int(LOOK_S * 1000), 60_000


def watch(world: World) -> None:
    """Look as the daemon would, unless it is away or stands still."""
    world.after(LOOK_MS, partial(watch, world))
    if world.daemon is None or world.times.t_ms < world.frozen_until_ms:
        return
    try:
        look(world.daemon.rig)
    except CrashError:
        world.kill(world.down_for_ms)


def told_ms(world: World) -> list[int]:
    """True times of everything that was told."""
    entries = world.book.entries
    return [one.t_ms for one in entries if isinstance(one.event, AlarmRaised)]


def flood(times_ms: list[int]) -> int:
    """The most that was told in any ten minutes."""
    return max(
        (
            sum(at <= later < at + 10 * MINUTE_MS for later in times_ms)
            for at in times_ms
        ),
        default=0,
    )


def unheard_holds(world: World) -> list[str]:
    """Holds that stood for more than a minute at the end and woke nobody."""
    if world.daemon is None:
        return []
    state = world.daemon.rig.memory.state
    standing = [one for one in state.alarms.values() if one.is_standing]
    old_ms = state.mark.proven_ms - 2 * MINUTE_MS if state.mark else 0
    holds = [h for h in state.holds.values() if h.proven_ms < old_ms]
    return [hold.hold_id for hold in holds] if holds and not standing else []


@pytest.mark.timeout(900)
def test_h63_whatever_happens_nobody_is_flooded(pytestconfig: pytest.Config) -> None:
    """At most ten in ten minutes, each alarm once at a time, and no hold unheard."""
    count = LONG_SEEDS if pytestconfig.getoption("--long") else SEEDS
    causes: set[Cause] = set()
    for seed in (*range(count), *(one for one in RARE if one >= count)):
        world, befell = set_up(seed)
        world.after(LOOK_MS, partial(watch, world))
        world.run(END_MS)
        events = [one.event for one in world.book.entries]
        causes |= {one.cause for one in events if isinstance(one, AlarmRaised)}
        assert flood(told_ms(world)) <= 10, (seed, befell)
        assert [] == unheard_holds(world), (seed, befell)
        assert {"daemon"} >= {e.by for e in events if isinstance(e, AlarmChanged)}
    assert {
        Cause.NODE_ABSENT,
        Cause.LINK_DOWN,
        Cause.START_STORM,
        Cause.CLOCK_JUMPED,
        Cause.SECOND_DAEMON,
        Cause.ALKALINITY_CEILING,
        Cause.PROBE_FROZEN,
    } <= causes
