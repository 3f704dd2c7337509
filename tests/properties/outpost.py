"""A pump node with its hoses under a virtual clock: the truth nobody is told.

The node's rules are the demo's own; what flows is integrated here from the time its
outputs were on, whatever the node knows or says of it.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

from demo.node.node import Node

Told = list[tuple[str, dict[str, object]]]

HOUR_MS = 3_600_000
BEAT_MS = 12_000
SELF_TEST_MS = 2_000
# One microlitre a millisecond: amounts and run times read alike.
NOMINAL_UL_PER_MIN = 60_000


@dataclass(slots=True, kw_only=True)
class Burst:
    """One stretch of flow out of one hose; true milliseconds and microlitres."""

    pump: str
    attempt: str
    begin_ms: int
    end_ms: int
    metered: bool
    boot: str = ""
    volume_ul: float = 0.0
    factor: float = 0.0


@dataclass(slots=True, kw_only=True)
class Outpost:
    """A node, its power, its hoses; `pumps` maps a channel to the pump it is."""

    name: str
    pumps: Mapping[str, str]
    day_ul: int
    powered_ms: int
    boot_ids: Iterator[str]
    metered: bool = True
    hardware: str = "virtual-1"
    factors: dict[str, float] = field(default_factory=dict)
    bursts: list[Burst] = field(default_factory=list)
    node: Node = field(init=False)
    beat_at_ms: int = 0
    absent_until_ms: int = 0
    strikes_into_ms: int | None = None
    strike: Callable[[int], None] | None = None
    _under_way: dict[str, Burst] = field(default_factory=dict)
    _seen_ms: int = 0

    def __post_init__(self) -> None:
        self.power_up(self.powered_ms)

    def power_up(self, at_ms: int) -> None:
        """Begin anew at a moment: new boot id, number nought, output off."""
        limits = {
            "nominal_ul_per_min": NOMINAL_UL_PER_MIN,
            "max_ul": 10_000,
            "max_ms": 20_000,
            "max_cut_ms": 25_000,
            "day_ul": self.day_ul,
            "metered": int(self.metered),
        }
        boot = next(self.boot_ids)
        heads = {chan: dict(limits) for chan in self.pumps}
        self.node = Node(self.hardware, boot, heads, self_test_ms=SELF_TEST_MS)
        self.powered_ms = self._seen_ms = at_ms
        self.beat_at_ms = self.absent_until_ms = at_ms
        self.strikes_into_ms = None
        self._under_way = {}

    def advance(self, now_ms: int) -> Told:
        """Let the hoses flow until now, then let the node look and speak."""
        self._flow(now_ms)
        strike_ms = self._strike_ms()
        if self.strike is not None and strike_ms is not None and now_ms >= strike_ms:
            self.strikes_into_ms = None
            self.strike(now_ms)
        if now_ms < self.absent_until_ms:
            return []
        told = self.node.tick(now_ms - self.powered_ms)
        if now_ms >= self.beat_at_ms:
            told.append(self.node.beat())
        self._note_beat(told, now_ms)
        return told

    def command(self, payload: bytes, now_ms: int) -> Told:
        """Take one message of the command topic; an absent node hears nothing."""
        if now_ms < self.absent_until_ms:
            return []
        told = self.node.command(payload, now_ms - self.powered_ms)
        self._note_beat(told, now_ms)
        return told

    def up_ms(self, now_ms: int) -> int:
        """The node's own uptime."""
        return now_ms - self.powered_ms

    def in_mid_run(self, into_ms: int, strike: Callable[[int], None]) -> None:
        """Let something happen so long into the next run, or the one under way."""
        self.strikes_into_ms, self.strike = into_ms, strike

    def hang(self, until_ms: int) -> None:
        """Neither look nor speak for a time; the hardware still drops outputs."""
        self.absent_until_ms = max(self.absent_until_ms, until_ms)

    def wake_ms(self) -> int:
        """When time alone changes something next."""
        if self.absent_until_ms > self._seen_ms:
            return self.absent_until_ms
        moments = [self.beat_at_ms]
        if (due_ms := self.node.next_ms()) is not None:
            moments.append(self.powered_ms + due_ms)
        if (strike_ms := self._strike_ms()) is not None:
            moments.append(strike_ms)
        return min(moments)

    def _strike_ms(self) -> int | None:
        runs = [head.run for head in self.node.heads.values() if head.run is not None]
        if self.strikes_into_ms is None or not runs:
            return None
        first_ms = min(run.started_ms for run in runs)
        return self.powered_ms + first_ms + self.strikes_into_ms

    def _note_beat(self, told: Told, now_ms: int) -> None:
        if any(suffix == "beat" for suffix, _ in told):
            self.beat_at_ms = now_ms + BEAT_MS

    def _flow(self, now_ms: int) -> None:
        for chan, head in self.node.heads.items():
            run = head.run
            if run is None:
                continue
            begin_ms = max(self._seen_ms, self.powered_ms + run.started_ms)
            end_ms = min(now_ms, self.powered_ms + run.started_ms + run.cut_ms)
            if end_ms > begin_ms:
                poured_ul = self._pour(chan, run.id, (begin_ms, end_ms))
                run.metered_nl += round(poured_ul * 1000)
        self._seen_ms = max(self._seen_ms, now_ms)

    def _pour(self, chan: str, attempt: str, span: tuple[int, int]) -> float:
        """Add a stretch to the burst under way, or begin one; gives microlitres."""
        factor = self.factors.get(chan, 1.0)
        volume_ul = (span[1] - span[0]) * factor
        burst = self._under_way.get(chan)
        if burst is None or burst.attempt != attempt:
            burst = self._under_way[chan] = Burst(
                pump=self.pumps[chan],
                attempt=attempt,
                begin_ms=span[0],
                end_ms=span[1],
                metered=self.metered,
                boot=self.node.boot,
            )
            self.bursts.append(burst)
        burst.end_ms = span[1]
        burst.volume_ul += volume_ul
        burst.factor = max(burst.factor, factor)
        return volume_ul
