"""Everything of one scenario that moves: box, ledger, wire, nodes, water.

The order of one step is that of the world: hoses flow, nodes speak, messages travel,
the daemon hears and decides; whoever is away misses it.
"""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from heapq import heappop, heappush
from random import Random

from slackwater.facts.events import (
    AnyEvent,
    Calibrated,
    DoseMissed,
    LedgerMade,
    PlanApproved,
    PumpsEnabled,
    ReadingKept,
)
from slackwater.facts.messages import Reading
from slackwater.facts.plan import Approval, Plan
from slackwater.facts.reasons import Code, because
from slackwater.facts.tank import Machine
from slackwater.outside.approved import machine_text, plan_text
from slackwater.planning.timetable import Timetable
from slackwater.pump.outcome import Stamp
from tests.properties.bus import Bus
from tests.properties.households import HEADS, MEQ_PER_DKH, Home, draw_home
from tests.properties.outpost import HOUR_MS, Outpost, Told
from tests.properties.shell import (
    Book,
    CrashError,
    Daemon,
    Times,
    live_until_crash,
    trap,
)

MINUTE_MS = 60_000
READING_MS = MINUTE_MS
UP_HOURS = 30
SLOW = "510ca110"


@dataclass(slots=True, kw_only=True)
class Swim:
    """The alkalinity the probes see, in dKH, and how it moves."""

    dkh: float = 8.0
    per_reading_dkh: float = 0.0
    frozen: bool = False
    apart_dkh: float = 0.0
    silent: bool = False


@dataclass(slots=True, kw_only=True)
class World:
    """One scenario under way; `foreign` are runs that another daemon commanded.

    `beguiled` are moments at which a beat set the clock of a node ahead of the truth:
    the node, when, and by how many milliseconds.
    """

    home: Home
    chance: Random
    times: Times
    book: Book
    bus: Bus
    posts: dict[str, Outpost]
    daemon: Daemon | None = None
    starts_at_ms: int | None = 0
    down_for_ms: int = 1_000
    frozen_until_ms: int = 0
    swim: Swim = field(default_factory=Swim)
    reading_at_ms: int = 0
    later: list[tuple[int, int, Callable[[], None]]] = field(default_factory=list)
    foreign: set[str] = field(default_factory=set)
    beguiled: list[tuple[str, int, int]] = field(default_factory=list)
    _count: int = 0

    def after(self, span_ms: int, call: Callable[[], None]) -> None:
        """Let something happen when the time has come."""
        self._count += 1
        heappush(self.later, (self.times.t_ms + span_ms, self._count, call))

    def run(self, end_ms: int) -> None:
        """Let time pass until the end."""
        while self.times.t_ms < end_ms:
            self.times.t_ms = max(self.times.t_ms, min(self._wake_ms(), end_ms))
            while self.later and self.later[0][0] <= self.times.t_ms:
                heappop(self.later)[2]()
            self.step()

    def step(self) -> None:
        """Everything that is due at this moment."""
        now_ms = self.times.t_ms
        for post in self.everyone():
            self._tell(post, post.advance(now_ms))
        for node, payload in self.bus.commands(now_ms):
            for post in self.everyone():
                if post.name == node:
                    self._tell(post, post.command(payload, now_ms))
        self._read()
        if self.daemon is None and self.starts_at_ms is not None:
            if now_ms >= self.starts_at_ms:
                self._start()
        elif now_ms >= self.frozen_until_ms:
            self._live()

    def everyone(self) -> Sequence[Outpost]:
        """Every node there is, whatever name it answers to."""
        return tuple(self.posts.values())

    def kill(self, down_for_ms: int) -> None:
        """End the daemon at once; it is started anew after a time."""
        self.daemon = None
        trap().wish = None
        self.starts_at_ms = self.times.t_ms + down_for_ms

    def leap(self, span_ms: int) -> None:
        """Nobody speaks for a long time; nodes go on, their beats reach nobody."""
        for post in self.everyone():
            post.beat_at_ms = max(post.beat_at_ms, self.times.t_ms + span_ms)
        self.reading_at_ms = self.times.t_ms + span_ms

    def _start(self) -> None:
        self.starts_at_ms = None
        self.bus.arrived(self.times.t_ms)
        try:
            self.daemon = Daemon(self.book, self.bus)
        except CrashError:
            self.kill(self.down_for_ms)

    def _live(self) -> None:
        daemon = self.daemon
        if daemon is None:
            return
        parcels = self.bus.arrived(self.times.t_ms)
        if not parcels and self.times.t_ms < daemon.wake_ms:
            return
        daemon.hear(parcels)
        done = live_until_crash(daemon)
        if done is None or done:
            # In shadow this daemon has nothing to do: it would end at once again.
            shadow = daemon.rig.memory.state.stage == "shadow"
            self.kill(HOUR_MS if shadow else self.down_for_ms)

    def _wake_ms(self) -> int:
        moments = [post.wake_ms() for post in self.everyone()]
        moments.append(self.reading_at_ms)
        moments += [heap[0][0] for heap in (self.bus.outbound, self.later) if heap]
        if self.daemon is not None:
            hears_ms = [parcel[0] for parcel in self.bus.inbound[:1]]
            soonest_ms = min([self.daemon.wake_ms, *hears_ms])
            moments.append(max(soonest_ms, self.frozen_until_ms))
        elif self.starts_at_ms is not None:
            moments.append(self.starts_at_ms)
        return max(min(moments), self.times.t_ms + 1)

    def _tell(self, post: Outpost, told: Told) -> None:
        now_ms = self.times.t_ms
        for suffix, payload in told:
            if suffix == "state":
                continue
            if suffix in self.bus.deaf:
                self.bus.spoiled["lost"] += 1
                continue
            place = f"node/{post.name}/{suffix}"
            self.bus.to_daemon((place, spoken(payload)), now_ms)

    def _read(self) -> None:
        """Let the probes speak; their clocks are right whatever the box's says."""
        now_ms, swim = self.times.t_ms, self.swim
        if now_ms < self.reading_at_ms:
            return
        self.reading_at_ms = now_ms + READING_MS
        swim.dkh = min(max(swim.dkh + swim.per_reading_dkh, 4.0), 13.0)
        if swim.silent:
            return
        for number, probe in enumerate(self.home.machine.probes):
            noise = 0.0 if swim.frozen else self.chance.gauss(0.0, 0.03)
            dkh = swim.dkh + number * swim.apart_dkh + noise
            self.bus.to_daemon(self.reading(probe, dkh, now_ms), now_ms)

    def reading(self, probe: str, dkh: float, at_ms: int) -> Reading:
        """A reading of a probe at a true moment."""
        return Reading(
            tank="reef",
            probe=probe,
            parameter="alkalinity",
            value=round(dkh, 2) * MEQ_PER_DKH,
            at=self.times.begin + timedelta(milliseconds=at_ms),
        )


def begin(seed: int) -> World:
    """A household with a plan in force, its past, and a daemon about to start."""
    trap().wish = None
    chance = Random(seed)  # noqa: S311 -- to be repeated, not to be secret
    home = draw_home(chance)
    times = Times(begin=home.begin)
    boots = boot_ids(seed)
    metered = chance.random() < 0.7
    up_ms = chance.choice((UP_HOURS, UP_HOURS, UP_HOURS, 1)) * HOUR_MS
    posts = {
        name: Outpost(
            name=name,
            pumps={chan: pump for pump, node, chan in HEADS if node == name},
            day_ul=home.machine.nodes[name].day_limit_ul,
            powered_ms=-up_ms,
            boot_ids=boots,
            metered=metered,
        )
        for name in ("shelf", "rack")
    }
    for post in posts.values():
        post.beat_at_ms = 0
    if home.narrow == "limit":
        # Measured as slow, and so it is.
        posts["shelf"].factors["a"] = 0.8
    world = World(
        home=home,
        chance=chance,
        times=times,
        book=Book(times=times),
        bus=Bus(chance=chance),
        posts=posts,
    )
    world.swim.silent = chance.random() < 0.05
    world.book.append(list(past(world)))
    return world


def spoken(payload: Mapping[str, object]) -> bytes:
    """A payload as it travels: whole numbers and ASCII have one canonical form."""
    return json.dumps(payload, sort_keys=True, separators=(",", ":")).encode()


def boot_ids(seed: int) -> Iterator[str]:
    """Boot ids that never come twice."""
    number = 0
    while True:
        number += 1
        yield f"{seed % 2**32:08x}{number:08x}"


def past(world: World) -> Iterator[AnyEvent]:
    """The ledger so far: made, approved, enabled, and what happened since."""
    chance, home = world.chance, world.home
    made_s = -chance.choice((26, 26, 3)) * 3600
    answered = chance.random() < 0.9
    yield LedgerMade(
        **stamp(world, made_s),
        ledger_id="scenario",
        boot_id="boot-1",
        answered=answered,
        dosed_ul={"carbonate": chance.randrange(home.dose_ul)} if answered else {},
        by="keeper",
    )
    lasts = timedelta(minutes=chance.choice((5, *(600_000,) * 9)))
    approval = Approval(
        serial=1,
        digest="1" * 64,
        takes_over_at=home.begin + timedelta(seconds=made_s),
        expires_at=home.begin + lasts,
        by="keeper",
        highest_daily_ul=0,
        calibrations={"carbonate": SLOW} if home.narrow == "limit" else {},
        hardware={
            name: (post.hardware, post.node.config)
            for name, post in world.posts.items()
            if chance.random() < 0.5
        },
    )
    if home.narrow == "limit":
        yield calibrated(SLOW, 800_000, stamp(world, made_s))
    yield approved(approval, (home.machine, home.plan), stamp(world, made_s))
    yield PumpsEnabled(**stamp(world, made_s), by="keeper", serial=1)
    if chance.random() < 0.1:
        yield from lacking(world)
    if chance.random() < 0.8:
        yield from readings(world)


def calibrated(cal: str, rate_nl_per_s: int, signed: Stamp) -> Calibrated:
    """A measured flow of the carbonate pump."""
    return Calibrated(
        **signed,
        pump="carbonate",
        rate_nl_per_s=rate_nl_per_s,
        cal=cal,
        shots=3,
        spread_percent=1.0,
        proofs=("shot-1", "shot-2", "shot-3"),
        by="keeper",
    )


def lacking(world: World) -> Iterator[AnyEvent]:
    """A day on which nothing of the plan was given."""
    home = world.home
    timetable = Timetable(home.plan, home.machine)
    yesterday = home.begin - timedelta(hours=20)
    for dose in timetable.between(yesterday, home.begin):
        pump = home.machine.pumps[dose.pump]
        effects = home.machine.solutions[pump.solution].effects
        yield DoseMissed(
            **stamp(world, -60),
            dose=dose,
            reasons=(because(Code.NOT_RUNNING),),
            effects={name: per_ul * dose.volume_ul for name, per_ul in effects.items()},
        )


def readings(world: World) -> Iterator[AnyEvent]:
    """What the probes showed in the last day, each half hour."""
    slope_dkh = world.chance.choice((0.0, 0.0, 0.05, -0.05))
    for probe in world.home.machine.probes:
        for number in range(46, 0, -1):
            kept = world.reading(probe, 8.0 - slope_dkh * number, -number * 1_800_000)
            yield ReadingKept(
                **stamp(world, -30),
                tank=kept.tank,
                probe=kept.probe,
                parameter=kept.parameter,
                value=kept.value + world.chance.gauss(0.0, 0.01),
                taken_at=kept.at,
            )


def approved(
    approval: Approval, what: tuple[Machine, Plan], signed: Stamp
) -> PlanApproved:
    """The entry of an approval with the approved texts."""
    return PlanApproved(
        **signed,
        approval=approval,
        machine=machine_text(what[0]),
        plan=plan_text(what[1]),
        files={},
    )


def stamp(world: World, at_s: int) -> Stamp:
    """The clocks at a moment before the beginning."""
    return {
        "at": world.home.begin + timedelta(seconds=at_s),
        "boot_s": UP_HOURS * 3600.0 + at_s,
        "proven_ms": (UP_HOURS * 3600 + at_s) * 1000,
    }
