"""One virtual node where it stands: its clock, its hoses, its link.

Outside every floor; never imports Slackwater. One subject: what surrounds the node's
rules. Laws here: no clock of its own, `now_ms` is an argument; what flowed is taken
from the outputs before the node is asked anything; a hung node neither looks nor
talks, and its hardware still drops the outputs.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from demo.node.node import Node, canonical
from demo.reef.faults import Kind, OnceRecord
from demo.reef.reef_file import NodeRecord
from demo.reef.water import Water

# How a node publishes: (QoS, retained).
_SENT = {"beat": (0, False), "result": (1, False), "state": (1, True)}
OFFLINE = b'{"state":"offline","v":1}'


class Wire(Protocol):
    """What a station needs of its link."""

    def publish(self, topic: str, payload: bytes, *, qos: int, retain: bool) -> None:
        """Send one message."""

    def lose(self, for_s: float, *, forget: bool) -> None:
        """Break the connection for a time."""


class BootIds(Protocol):
    """A new boot id at each power-up."""

    def __call__(self) -> str:
        """Give 16 hex digits never given before."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """What is written on a node's plate and does not change while it runs."""

    name: str
    record: NodeRecord
    key: bytes
    root: str
    beat_ms: int


@dataclass(slots=True, kw_only=True)
class Station:
    """A node, powered up `powered_ms` on the reef's clock."""

    plate: Plate
    wire: Wire
    boot_ids: BootIds
    powered_ms: int
    drops_results: bool = False
    factors: Mapping[str, float] = field(default_factory=dict)
    _node: Node = field(init=False)
    _seen_ms: int = field(init=False)
    _beat_at_ms: int = field(init=False)
    _hung_until_ms: int = 0
    _armed: list[tuple[int, Kind, OnceRecord]] = field(default_factory=list)
    _pumping_since_ms: int | None = None

    def __post_init__(self) -> None:
        self._power_up(self.powered_ms)

    def advance(self, now_ms: int, water: Water) -> None:
        """Let the hoses flow and the node look, until now.

        A board keeps the times of its outputs by itself, however late this process
        is woken; so each is caught up with at the moment it was due.
        """
        while (due_ms := self._output_due_ms()) is not None and due_ms < now_ms:
            self._look(due_ms, water)
        self._look(now_ms, water)

    def _output_due_ms(self) -> int | None:
        """The next moment that the outputs depend on, if not passed yet."""
        if self._is_absent(self._seen_ms):
            return None
        moments = self._armed_ms()
        if (next_ms := self._node.next_ms()) is not None:
            moments.append(self.powered_ms + next_ms)
        return min((each for each in moments if each > self._seen_ms), default=None)

    def _armed_ms(self) -> list[int]:
        """When the faults come that wait for the middle of this run."""
        since_ms = self._pumping_since_ms
        return [] if since_ms is None else [since_ms + into for into, *_ in self._armed]

    def _look(self, now_ms: int, water: Water) -> None:
        self._flow(now_ms, water)
        if self._is_absent(now_ms):
            return
        self._tell(self._node.tick(self._up_ms(now_ms)), now_ms)
        self._note_pumping(now_ms)
        self._strike_in_mid_run(now_ms)
        if now_ms >= self._beat_at_ms and not self._is_absent(now_ms):
            self._tell([self._node.beat()], now_ms)

    def hear(self, suffix: str, payload: bytes, now_ms: int, *, retained: bool) -> None:
        """Take one message from the broker; an absent node hears nothing."""
        if self._is_absent(now_ms):
            return
        up_ms = self._up_ms(now_ms)
        if suffix == "command":
            told = self._node.command(payload, up_ms, retained=retained)
            self._tell(told, now_ms)
            self._note_pumping(now_ms)
        elif suffix == "hold":
            self._tell(self._node.hold(payload, up_ms), now_ms)

    def greet(self, now_ms: int) -> None:
        """Show itself after its link came up."""
        if not self._is_absent(now_ms):
            self._tell([("state", self._node.display()), self._node.beat()], now_ms)

    def strike(self, kind: Kind, once: OnceRecord, now_ms: int) -> None:
        """Let a fault happen, now or in the middle of the next run."""
        if once.mid_run_ms is None:
            self._happen(kind, once, now_ms)
        else:
            self._armed.append((once.mid_run_ms, kind, once))

    def wake_ms(self, now_ms: int) -> int:
        """The next moment on the reef's clock at which something is due."""
        if self._is_absent(now_ms):
            return max(self._hung_until_ms, self.powered_ms)
        moments = [self._beat_at_ms]
        if (due_ms := self._node.next_ms()) is not None:
            moments.append(self.powered_ms + due_ms)
        return min(moments + self._armed_ms())

    def _flow(self, now_ms: int, water: Water) -> None:
        for chan, record in self.plate.record.channels.items():
            run = self._node.heads[chan].run
            if run is None:
                continue
            until_ms = self.powered_ms + run.started_ms + run.cut_ms
            on_ms = min(now_ms, until_ms) - self._seen_ms
            if on_ms > 0:
                factor = self.factors.get(record.pump, 1.0)
                flowed_ul = water.flow(record.pump, on_ms, factor)
                run.metered_nl += round(flowed_ul * 1000)
        self._seen_ms = now_ms

    def _tell(self, told: list[tuple[str, dict[str, object]]], now_ms: int) -> None:
        for suffix, payload in told:
            if suffix == "result" and self.drops_results:
                continue
            if suffix == "beat":
                self._beat_at_ms = now_ms + self.plate.beat_ms
            qos, retain = _SENT[suffix]
            topic = f"{self.plate.root}/node/{self.plate.name}/{suffix}"
            self.wire.publish(
                topic, canonical(payload).encode(), qos=qos, retain=retain
            )

    def _note_pumping(self, now_ms: int) -> None:
        up_ms = self._up_ms(now_ms)
        runs = [head.run for head in self._node.heads.values()]
        cuts_ms = [run.started_ms + run.cut_ms for run in runs if run is not None]
        if not any(up_ms < cut_ms for cut_ms in cuts_ms):
            self._pumping_since_ms = None
        elif self._pumping_since_ms is None:
            self._pumping_since_ms = now_ms

    def _strike_in_mid_run(self, now_ms: int) -> None:
        since_ms = self._pumping_since_ms
        if since_ms is None:
            return
        due = [armed for armed in self._armed if now_ms >= since_ms + armed[0]]
        self._armed = [armed for armed in self._armed if armed not in due]
        for _, kind, once in due:
            self._happen(kind, once, now_ms)

    def _happen(self, kind: Kind, once: OnceRecord, now_ms: int) -> None:
        if kind == "hang":
            self._hung_until_ms = now_ms + round(once.for_s * 1000)
            return
        self.wire.lose(once.for_s, forget=kind == "reboot")
        if kind == "reboot":
            self._power_up(now_ms + round(once.for_s * 1000))

    def _power_up(self, powered_ms: int) -> None:
        record = self.plate.record
        limits = {chan: head.limits() for chan, head in record.channels.items()}
        self._node = Node(
            record.hardware,
            self.boot_ids(),
            limits,
            self.plate.key,
            round(record.self_test_s * 1000),
        )
        self.powered_ms = powered_ms
        self._seen_ms = powered_ms
        self._beat_at_ms = powered_ms
        self._hung_until_ms = 0
        self._pumping_since_ms = None

    def _up_ms(self, now_ms: int) -> int:
        return now_ms - self.powered_ms

    def _is_absent(self, now_ms: int) -> bool:
        return now_ms < max(self.powered_ms, self._hung_until_ms)
