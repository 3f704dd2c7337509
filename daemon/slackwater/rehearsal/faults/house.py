"""A house under a virtual clock: boxes' clocks, a wire, nodes, and the daemon's loop.

Floor 6. One subject: what happens when. Laws here: decisions are those of `turn`; an
entry is folded before its effect is carried out, as the loop of the daemon does it; a
daemon that dies forgets what was not folded; nothing here is left to chance.
Units: true time in milliseconds since the house began.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from heapq import heappop, heappush

from slackwater.facts.events import AnyEvent, Started
from slackwater.facts.fold import fold, fold_all
from slackwater.facts.messages import (
    Effect,
    LinkChanged,
    Message,
    Reading,
    Result,
    RunPump,
    StopPump,
)
from slackwater.facts.now import Now, proven_ms
from slackwater.facts.sight import Inbox, Sight, recall, remember, see
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.pump.outcome import Stamp
from slackwater.rehearsal.exchanges import looked_after
from slackwater.rehearsal.faults.node import Node
from slackwater.rehearsal.virtual_probe import VirtualProbes
from slackwater.rehearsal.virtual_switch import show_switches
from slackwater.rehearsal.virtual_tank import VirtualTank
from slackwater.turn.setup import Setup
from slackwater.turn.starting import storm_hold
from slackwater.turn.step import TICK, turn

SECOND_MS, MINUTE_MS, HOUR_MS = 1_000, 60_000, 3_600_000
BEAT_MS = 5 * SECOND_MS
WIRE_MS = 50
# How often a waiting dose is looked at while nobody watches closely.
PATIENCE_MS = MINUTE_MS
TURNS_AT_MOST = 1_000
BOOT = "box"
PLENTY_BYTES = 10**10

# What a probe shows instead of the true level; None for nothing.
Distort = Callable[[Reading], Reading | None]


@dataclass(slots=True, kw_only=True)
class Times:
    """True time, and what the box makes of it."""

    begin: datetime
    t_ms: int = 0
    shift_ms: int = 0
    booted_ms: int = -30 * HOUR_MS
    boots: int = 1
    synchronised: bool = True

    def now(self) -> Now:
        """What the clocks of the box say."""
        return Now(
            utc=self.begin + timedelta(milliseconds=self.t_ms + self.shift_ms),
            boot_s=(self.t_ms - self.booted_ms) / 1000,
            boot_id=f"{BOOT}-{self.boots}",
            synchronised=self.synchronised,
        )

    def true_utc(self) -> datetime:
        """What a clock that nobody touched would say."""
        return self.begin + timedelta(milliseconds=self.t_ms)

    def true_ms(self, utc: datetime) -> int:
        """When the box's wall clock will say this, as things stand."""
        return (utc - self.begin) // timedelta(milliseconds=1) - self.shift_ms


@dataclass(slots=True, kw_only=True)
class Wire:
    """Both directions; `deaf` names what is lost: `beat`, `result`, `stop`.

    `late_ms` delays results; a command arrives after each of `copies_ms`.
    """

    up: bool = True
    deaf: set[str] = field(default_factory=set)
    late_ms: int = 0
    copies_ms: tuple[int, ...] = (WIRE_MS,)
    inbound: list[tuple[int, int, Message]] = field(default_factory=list)
    outbound: list[tuple[int, int, RunPump | StopPump]] = field(default_factory=list)
    count: int = 0

    def to_daemon(self, message: Message, at_ms: int) -> None:
        """Let a message arrive then."""
        self.count += 1
        heappush(self.inbound, (at_ms, self.count, message))

    def to_node(self, command: RunPump | StopPump, at_ms: int) -> None:
        """Let a command arrive then."""
        self.count += 1
        heappush(self.outbound, (at_ms, self.count, command))


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """An entry with the true time and the daemon's wall clock."""

    t_ms: int
    event: AnyEvent


@dataclass(slots=True, kw_only=True)
class House:
    """Everything that moves.

    `trap` names the point at which the daemon dies next; `switched` are the switches
    that say that something is wrong, None while all of them are silent.
    """

    setup: Setup
    state: State
    sight: Sight
    times: Times
    nodes: dict[str, Node]
    waters: dict[str, VirtualTank]
    probes: VirtualProbes
    wire: Wire = field(default_factory=Wire)
    distort: dict[str, Distort] = field(default_factory=dict)
    scripts: list[tuple[int, int, Callable[[], None]]] = field(default_factory=list)
    entries: list[Noted] = field(default_factory=list)
    switched: frozenset[str] | None = frozenset()
    free_bytes: int = PLENTY_BYTES
    alive: bool = True
    back_ms: int = 0
    trap: tuple[str, int] = ("", 0)
    frozen_until_ms: int = 0
    close_until_ms: int = 0
    wake: datetime | None = None
    beat_ms: int = -BEAT_MS
    poured: dict[str, int] = field(default_factory=dict)

    @property
    def machine(self) -> Machine:
        """The machine of the house."""
        return self.setup.machine

    def decides(self, t_ms: int) -> bool:
        """Whether the daemon is there and looks."""
        return self.alive and t_ms >= self.frozen_until_ms

    def at(self, t_ms: int, happens: Callable[[], None]) -> None:
        """Let something happen at a true time."""
        heappush(self.scripts, (t_ms, len(self.entries) + len(self.scripts), happens))

    def after(self, span_ms: int, happens: Callable[[], None]) -> None:
        """Let something happen a while from now."""
        self.at(self.times.t_ms + span_ms, happens)

    def look_closely(self, span_ms: int) -> None:
        """Pass each second for a while from now."""
        until_ms = self.times.t_ms + span_ms
        self.close_until_ms = max(self.close_until_ms, until_ms)

    def stamp(self) -> Stamp:
        """The three clocks for an entry of this moment."""
        now, mark = self.times.now(), self.state.mark
        passed_ms = 0 if mark is None else proven_ms(mark, now)
        return {"at": now.utc, "boot_s": now.boot_s, "proven_ms": passed_ms}

    def append(self, events: Sequence[AnyEvent]) -> None:
        """Write down and fold, as whoever decided them would."""
        for event in events:
            fold(self.state, event)
            self.entries.append(Noted(t_ms=self.times.t_ms, event=event))
            if self.machine.exchanges:
                fold_all(self.state, looked_after(self.machine, self.state, event))

    def die(self, down_ms: int) -> None:
        """End the daemon; something starts it again after a while."""
        self.alive, self.back_ms = False, self.times.t_ms + down_ms
        self.trap = ("", 0)

    def start(self) -> None:
        """Take charge as the daemon does: a new fence, and a hold after a storm."""
        now = self.times.now()
        self.alive = True
        self.sight = Sight(started_boot_s=now.boot_s)
        recall(self.sight, self.state.courses)
        for series in self.state.readings.values():
            remember(self.sight, series)
        started = Started(
            **self.stamp(),
            version="rehearsal",
            boot_id=now.boot_id,
            fence=self.state.fence + 1,
            mode="live",
        )
        self.append([started])
        storm = storm_hold(self.state, self.machine.timing, self.stamp())
        self.append([storm] if storm is not None else [])
        if self.wire.up:
            self.links(up=True)
        self.look_closely(3 * MINUTE_MS)

    def links(self, *, up: bool) -> None:
        """Let the daemon notice that both connections came up or went down."""
        for link in ("observe", "actuate"):
            told = LinkChanged(
                link="observe" if link == "observe" else "actuate", up=up
            )
            self.wire.to_daemon(told, self.times.t_ms)

    def step(self, until_ms: int) -> None:
        """Let everything happen that is due now, then go on to the next moment."""
        t_ms = self.times.t_ms
        while self.scripts and self.scripts[0][0] <= t_ms:
            heappop(self.scripts)[2]()
        self._nodes()
        if not self.alive and t_ms >= self.back_ms:
            self.start()
        if not self.alive:
            self._lose()
        elif self.decides(t_ms):
            self._pass()
        self.times.t_ms = max(min(self._moments(until_ms)), t_ms + 1)

    def _lose(self) -> None:
        """What comes in while nobody is there is lost."""
        while self.wire.inbound and self.wire.inbound[0][0] <= self.times.t_ms:
            heappop(self.wire.inbound)

    def _nodes(self) -> None:
        """Nodes hear, run and speak; what flowed reaches the water."""
        t_ms, wire = self.times.t_ms, self.wire
        for node in self.nodes.values():
            self._told(node.tick(t_ms))
        while wire.outbound and wire.outbound[0][0] <= t_ms:
            command = heappop(wire.outbound)[2]
            node = self.nodes[command.node]
            if isinstance(command, RunPump):
                self._told(node.command(command, t_ms))
            else:
                self._told(node.stop(command.channel, t_ms))
        for name, node in self.nodes.items():
            for flow in node.flows[self.poured.get(name, 0) :]:
                self._pour(flow.pump, flow.volume_ul)
            self.poured[name] = len(node.flows)

    def _pour(self, pump_id: str, volume_ul: int) -> None:
        pump = self.machine.pumps[pump_id]
        water = self.waters.get(pump.tank)
        if water is not None:
            effects = self.machine.solutions[pump.solution].effects
            water.advance(self.times.true_utc())
            water.pour({name: per * volume_ul for name, per in effects.items()})

    def _told(self, results: Sequence[Result]) -> None:
        if not self.wire.up or "result" in self.wire.deaf:
            return
        for result in results:
            self.wire.to_daemon(result, self.times.t_ms + WIRE_MS + self.wire.late_ms)

    def _pass(self) -> None:
        """Gather, decide until nothing more happens, act: as `service.loop` does."""
        now = self.times.now()
        messages = tuple(self._heard(now))
        for message in messages:
            see(self.sight, message)
        self.sight.free_bytes = self.free_bytes
        if self.switched is not None:
            show_switches(self.machine, self.sight, now.boot_s, self.switched)
        for _ in range(TURNS_AT_MOST):
            inbox = Inbox(sight=self.sight, messages=messages)
            done = turn(now, self.state, inbox, self.setup)
            kinds: set[str] = {event.kind for event in done.events}
            if self._trapped("before", kinds):
                return
            self.append(done.events)
            if self._trapped("after", kinds):
                return
            self.sight.scanned_until = done.scanned_until
            for effect in done.effects:
                self._act(effect)
            if done.effects and self._trapped("sent", kinds):
                return
            if not done.events and not messages:
                self.wake = done.wake_at
                break
            messages = ()
        self.sight.previous = now

    def _trapped(self, when: str, kinds: set[str]) -> bool:
        """Whether the daemon died at the point that was armed."""
        point, down_ms = self.trap
        armed, _, kind = point.partition(":")
        if armed != when or kind not in kinds:
            return False
        self.die(down_ms)
        return True

    def _act(self, effect: Effect) -> None:
        t_ms, wire = self.times.t_ms, self.wire
        if isinstance(effect, RunPump):
            if self.sight.actuate_up and wire.up:
                for late_ms in wire.copies_ms:
                    wire.to_node(effect, t_ms + late_ms)
        elif isinstance(effect, StopPump) and wire.up and "stop" not in wire.deaf:
            wire.to_node(effect, t_ms + WIRE_MS)

    def _heard(self, now: Now) -> list[Message]:
        t_ms, wire = self.times.t_ms, self.wire
        heard: list[Message] = []
        while wire.inbound and wire.inbound[0][0] <= t_ms:
            heard.append(heappop(wire.inbound)[2])
        readings = self.probes.until(self.times.true_utc())
        if not wire.up:
            return heard
        if "beat" not in wire.deaf and t_ms - self.beat_ms >= BEAT_MS:
            self.beat_ms = t_ms
            heard += [
                node.beat(t_ms, now.boot_s)
                for node in self.nodes.values()
                if node.is_here(t_ms)
            ]
        return [*heard, *self._shown(readings)]

    def _shown(self, readings: Sequence[Reading]) -> list[Message]:
        shown: list[Message] = []
        for reading in readings:
            distort = self.distort.get(reading.probe)
            seen = reading if distort is None else distort(reading)
            if seen is not None:
                shown.append(seen)
        return shown

    def _moments(self, until_ms: int) -> list[int]:
        """When something can be next."""
        t_ms = self.times.t_ms
        moments = [until_ms]
        inbound = self.wire.inbound if self.decides(t_ms) else []
        queues = (self.scripts, self.wire.outbound, inbound)
        moments += [queue[0][0] for queue in queues if queue]
        ends = (node.next_ms() for node in self.nodes.values())
        moments += [end_ms for end_ms in ends if end_ms is not None]
        if not self.alive:
            moments.append(self.back_ms)
        elif t_ms < self.frozen_until_ms:
            moments.append(self.frozen_until_ms)
        elif t_ms < self.close_until_ms:
            moments.append(t_ms + SECOND_MS)
        else:
            moments.append(self._wake_ms())
        return moments

    def _wake_ms(self) -> int:
        t_ms = self.times.t_ms
        if self.wake is None:
            return t_ms + HOUR_MS
        if self.wake <= self.times.now().utc + TICK:
            return t_ms + PATIENCE_MS
        return min(self.times.true_ms(self.wake), t_ms + HOUR_MS)
