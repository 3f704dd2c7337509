"""What can befall a household: the world's side.

Each fault takes the world, breaks one thing by the scenario's own chance, and mends it
later where it mends by itself.
"""

from collections.abc import Callable
from datetime import timedelta
from functools import partial

from demo.node.node import canonical
from slackwater.facts.messages import LinkChanged, RetainedCommand
from tests.properties.bus import Habits
from tests.properties.outpost import Outpost
from tests.properties.shell import trap
from tests.properties.world import World
from tests.service.launch import Wish

SECOND_MS, MINUTE_MS, HOUR_MS = 1_000, 60_000, 3_600_000
DAY_MS = 24 * HOUR_MS
CRASH_POINTS = (
    "heard:Beat",
    "decided:dose_intended",
    "before_append:dose_intended",
    "appended:dose_intended",
    "before_send",
    "sent",
    "heard:Result",
    "before_append:dose_taken",
    "appended:dose_taken",
    "before_append:dose_ended",
    "appended:dose_ended",
    "appended:dose_missed",
    "appended:started",
)
Fault = Callable[[World], None]


def post_of(world: World) -> Outpost:
    """One node by chance, more often the one that matters."""
    return world.posts[world.chance.choice(("shelf", "shelf", "rack"))]


def crash_at_point(world: World) -> None:
    """The daemon dies at its next visit of a named point."""
    trap().wish = Wish(world.chance.choice(CRASH_POINTS))
    world.down_for_ms = world.chance.choice((100, 2 * SECOND_MS, MINUTE_MS))


def kill(world: World) -> None:
    """The daemon dies at any moment."""
    world.kill(world.chance.choice((100, 5 * SECOND_MS, 3 * MINUTE_MS)))


def crash_loop(world: World) -> None:
    """It dies again and again, right after each start."""
    for number in range(4):
        world.after(number * 3 * SECOND_MS, partial(world.kill, SECOND_MS))


def stall(world: World) -> None:
    """The daemon stands still and hears everything late."""
    span_ms = world.chance.choice((5 * SECOND_MS, 40 * SECOND_MS, 2 * HOUR_MS))
    world.frozen_until_ms = world.times.t_ms + span_ms
    if span_ms > MINUTE_MS:
        world.leap(span_ms - SECOND_MS)


def sleep(world: World) -> None:
    """Nobody is there for hours."""
    span_ms = world.chance.choice((2 * HOUR_MS, 13 * HOUR_MS, 24 * HOUR_MS))
    world.kill(span_ms)
    world.leap(span_ms)


def box_reboot(world: World) -> None:
    """The machine loses power; its clock comes back right, late or from the past."""
    times, chance = world.times, world.chance
    down_ms = chance.choice((20 * SECOND_MS, 3 * MINUTE_MS))
    world.kill(down_ms)
    times.boots += 1
    times.booted_ms = times.t_ms + down_ms - 10 * SECOND_MS
    kind = chance.choice(("right", "saved", "ancient", "behind"))
    if kind in ("saved", "ancient"):
        lost_ms = down_ms if kind == "saved" else 20_000 * DAY_MS
        times.synchronised = False
        times.shift_ms -= lost_ms
        world.after(down_ms + 30 * SECOND_MS, partial(_synchronise, world, lost_ms))
    elif kind == "behind":
        times.shift_ms -= down_ms + 30 * SECOND_MS


def _synchronise(world: World, lost_ms: int) -> None:
    world.times.shift_ms += lost_ms
    world.times.synchronised = True


def clock_step(world: World) -> None:
    """The wall clock jumps while everything runs."""
    spans_ms = (1_500, 3 * SECOND_MS, 50 * MINUTE_MS, HOUR_MS, DAY_MS)
    sign = world.chance.choice((-1, 1))
    world.times.shift_ms += sign * world.chance.choice(spans_ms)


def clock_adrift(world: World) -> None:
    """No time service vouches for the clock for a while."""
    world.times.synchronised = False
    world.after(2 * MINUTE_MS, partial(_synchronise, world, 0))


def node_reboot(world: World) -> None:
    """A node loses power, at once or in the middle of its next run."""
    post = post_of(world)
    off_ms = world.chance.choice((300, 20 * SECOND_MS))
    _now_or_mid_run(world, post, lambda now_ms: post.power_up(now_ms + off_ms))


def node_hangs(world: World) -> None:
    """A node neither listens nor speaks for a while, perhaps while it runs."""
    post = post_of(world)
    span_ms = world.chance.choice((4 * SECOND_MS, 30 * SECOND_MS, 2 * MINUTE_MS))
    _now_or_mid_run(world, post, lambda now_ms: post.hang(now_ms + span_ms))


def node_breaks(world: World) -> None:
    """A pump head finds itself broken, perhaps while it runs."""
    post = post_of(world)
    _now_or_mid_run(
        world, post, lambda now_ms: _void(post.node.fail("a", post.up_ms(now_ms)))
    )


def _void(_told: object) -> None:
    """What a broken head says at that moment is lost."""


def _now_or_mid_run(world: World, post: Outpost, strike: Callable[[int], None]) -> None:
    if world.chance.random() < 0.7:
        post.in_mid_run(world.chance.randrange(1, 600), strike)
    else:
        strike(world.times.t_ms)


def node_held(world: World) -> None:
    """Somebody puts the hold flag on a node, and takes it away later."""
    post = post_of(world)
    post.node.hold(b'{"v":1}', post.up_ms(world.times.t_ms))
    world.after(MINUTE_MS, partial(_let_go, world, post))


def _let_go(world: World, post: Outpost) -> None:
    post.node.hold(b"", post.up_ms(world.times.t_ms))


def node_exchanged(world: World) -> None:
    """Another device stands there under the same name."""
    post = post_of(world)
    post.hardware = "virtual-2"
    post.power_up(world.times.t_ms)


def node_lies(world: World) -> None:
    """A node says what cannot be: an unknown run, or numbers that went back.

    A number that stands at nought cannot go back: that lie nobody could ever see.
    """
    post, now_ms = post_of(world), world.times.t_ms
    _, beat = post.node.beat()
    if world.chance.random() < 0.5 and post.node.heads["a"].n:
        chan = beat["chan"]
        if isinstance(chan, dict):
            chan["a"] = {**chan["a"], "n": 0}
        beat["up"] = post.up_ms(now_ms) + MINUTE_MS
        world.bus.surely_said(f"node/{post.name}/beat", canonical(beat), now_ms)
        world.beguiled.append((post.name, now_ms, MINUTE_MS))
        return
    said = {
        "v": 1,
        "id": f"{now_ms:032x}",
        "boot": post.node.boot,
        "chan": "a",
        "n": 1,
        "phase": "ended",
        "ran_ms": 10,
        "ul": 10,
        "reason": "complete",
        "cal": "00000000",
        "up": post.up_ms(now_ms),
    }
    world.bus.surely_said(f"node/{post.name}/result", canonical(said), now_ms)


def hose_off(world: World) -> None:
    """A hose gives more or less than its node believes, or than it was asked for."""
    post = post_of(world)
    factors = (0.0, 0.5, 0.85, 1.08, 1.5, 3.0) if post.metered else (0.3, 0.9, 1.05)
    post.factors["a"] = world.chance.choice(factors)


def wire_spoiled(world: World) -> None:
    """The wire loses, doubles, delays and reorders for a while."""
    chance = world.chance
    world.bus.habits = Habits(
        loss=chance.choice((0.0, 0.2, 0.5)),
        double=chance.choice((0.0, 0.5)),
        slow=chance.choice((0.0, 0.3, 0.8)),
        slowest_ms=chance.choice((2 * SECOND_MS, 40 * SECOND_MS)),
    )
    world.after(4 * MINUTE_MS, partial(_wire_mended, world))


def _wire_mended(world: World) -> None:
    world.bus.habits = Habits()


def results_lost(world: World) -> None:
    """No result, or no beat, arrives for a while."""
    word = world.chance.choice(("result", "result", "beat"))
    world.bus.deaf.add(word)
    world.after(3 * MINUTE_MS, partial(world.bus.deaf.discard, word))


def broker_away(world: World) -> None:
    """The broker is gone; whether the daemon notices at once is chance."""
    now_ms = world.times.t_ms
    span_ms = world.chance.choice((3 * SECOND_MS, 30 * SECOND_MS, 4 * MINUTE_MS))
    world.bus.down_until_ms = now_ms + span_ms
    noticed_ms = now_ms + world.chance.choice((5, 15 * SECOND_MS))
    for link in ("observe", "actuate"):
        world.bus.surely(LinkChanged(link=link, up=False), noticed_ms)
        back_ms = max(noticed_ms + 1, now_ms + span_ms + 100)
        world.bus.surely(LinkChanged(link=link, up=True), back_ms)


def taken_over(world: World) -> None:
    """Another client took the daemon's connection."""
    lost = LinkChanged(link="actuate", up=False, taken_over=True)
    world.bus.surely(lost, world.times.t_ms)
    world.bus.surely(LinkChanged(link="actuate", up=True), world.times.t_ms + 500)


def retained_command(world: World) -> None:
    """A retained command lies on the broker."""
    world.bus.surely(RetainedCommand(node="shelf"), world.times.t_ms)


def second_daemon(world: World) -> None:
    """A daemon with a higher fence commands the same node."""
    post, now_ms = world.posts["shelf"], world.times.t_ms
    attempt = f"f{now_ms:031x}"
    world.foreign.add(attempt)
    minutes = world.times.now().utc + timedelta(days=30)
    command = {
        "v": 1,
        "act": "run",
        "id": attempt,
        "chan": "a",
        "boot": post.node.boot,
        "n": post.node.heads["a"].n,
        "fence": int(minutes.timestamp() / 60),
        "ul": 4_000,
        "ms": 4_000,
        "cut_ms": 5_000,
        "until_up": post.up_ms(now_ms) + 8_000,
        "cal": "00000000",
    }
    world.bus.to_node("shelf", canonical(command).encode(), now_ms)


def node_stolen(world: World) -> None:
    """Nothing is heard for a while, in which another daemon uses the node."""
    for word in ("result", "beat"):
        world.bus.deaf.add(word)
        world.after(50 * SECOND_MS, partial(world.bus.deaf.discard, word))
    world.after(
        world.chance.randrange(20, 45) * SECOND_MS, partial(second_daemon, world)
    )


def disk_fills(world: World) -> None:
    """Hardly any room is left for the ledger."""
    if world.daemon is not None:
        world.daemon.rig.sight.free_bytes = 1_000


def water_swings(world: World) -> None:
    """Alkalinity runs up or down."""
    world.swim.per_reading_dkh = world.chance.choice((-1.0, -0.4, 0.4, 1.0))


def probe_fails(world: World) -> None:
    """A probe falls silent, freezes, or leaves the other."""
    kind = world.chance.choice(("silent", "frozen", "frozen", "apart"))
    if kind == "apart":
        world.swim.apart_dkh = 0.9
    else:
        setattr(world.swim, kind, True)


FAULTS: tuple[Fault, ...] = (
    crash_at_point,
    kill,
    crash_loop,
    stall,
    sleep,
    box_reboot,
    clock_step,
    clock_adrift,
    node_reboot,
    node_hangs,
    node_breaks,
    node_held,
    node_exchanged,
    node_lies,
    hose_off,
    wire_spoiled,
    results_lost,
    broker_away,
    taken_over,
    retained_command,
    second_daemon,
    node_stolen,
    disk_fills,
    water_swings,
    probe_fails,
)
# What happens often in a house happens often here.
OFTEN: tuple[Fault, ...] = (
    *(crash_at_point,) * 4,
    *(wire_spoiled,) * 3,
    node_reboot,
    node_hangs,
    node_breaks,
    results_lost,
    hose_off,
    probe_fails,
    node_stolen,
)
