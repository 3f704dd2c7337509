"""A pump node that can break, and the water that really flows out of it.

Floor 6. One subject: the device beyond the wire as the contract demands it, with the
faults a device can have. Laws here: rules are asked in the order of the contract and
the first that fails answers; number and budget move before the output; a run ends by
itself, at its cut even when nobody looks; power-up begins with a new boot, number 0
and a used-up budget; what flowed is reckoned from the time an output was on.
Units: true time in milliseconds since the house began; volumes in microlitres.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

from slackwater.facts.making import maker
from slackwater.facts.messages import Beat, Channel, LastRun, Result, RunPump

Phase = Literal["taken", "ended", "refused"]
HOUR_MS = 3_600_000
PAST_HOURS = 24
SELF_TEST_MS = 10_000
HARDWARE, CONFIGURATION = "virtual", "00000000"

# Nodes beat at almost every look, and show each of their channels.
_beat, _channel = maker(Beat), maker(Channel)


@dataclass(frozen=True, slots=True, kw_only=True)
class Flow:
    """What one run really brought, and when its output went on."""

    pump: str
    attempt: str
    began_ms: int
    volume_ul: int


@dataclass(slots=True)
class Run:
    """A run under way."""

    command: RunPump
    began_ms: int
    factor: float

    def flowed_ul(self, on_ms: int) -> int:
        """What came out while it was on for so long, rounded up."""
        on_ms = min(on_ms, self.command.cut_ms)
        return -int(-self.command.ul * self.factor * on_ms // self.command.ms)


@dataclass(slots=True)
class Head:
    """One channel; `factor` is what the hose gives of what it should."""

    pump: str
    day_limit_ul: int
    n: int = 0
    odo_ul: int = 0
    odo_ms: int = 0
    factor: float = 1.0
    run: Run | None = None
    last: LastRun | None = None
    accepted: dict[str, Result] = field(default_factory=dict)
    slots: dict[int, int] = field(default_factory=dict)

    def room_ul(self, hour: int) -> int:
        """What the budget of 25 hours has left."""
        oldest = hour - PAST_HOURS
        taken_ul = sum([ul for slot, ul in self.slots.items() if slot >= oldest])
        return max(self.day_limit_ul - taken_ul, 0)


class Node:
    """One node from power-up on; `heads` maps a channel to its head."""

    def __init__(self, name: str, heads: Mapping[str, Head], up_ms: int) -> None:
        """Begin as one that has been up for so long already, budget free."""
        self.name = name
        self.heads = dict(heads)
        self.flows: list[Flow] = []
        self.hold = False
        self.cfg = CONFIGURATION
        self.fence = 0
        self.absent_until_ms = 0
        self.on_start: Callable[[Run], None] | None = None
        self._powered_ms = -up_ms
        self._boots = 1
        self._seq = 0

    @property
    def boot(self) -> str:
        """The id of this power-up."""
        return f"{self._boots:016x}"

    def up_ms(self, now_ms: int) -> int:
        """Its own uptime."""
        return now_ms - self._powered_ms

    def is_here(self, now_ms: int) -> bool:
        """Whether it listens and speaks."""
        return now_ms >= self.absent_until_ms

    def flowing(self, now_ms: int) -> Iterator[str]:
        """The pumps whose output is on."""
        for head in self.heads.values():
            run = head.run
            if run is not None and now_ms < run.began_ms + run.command.cut_ms:
                yield head.pump

    def next_ms(self) -> int | None:
        """When a run ends next."""
        ends = [
            head.run.began_ms + head.run.command.ms
            for head in self.heads.values()
            if head.run is not None
        ]
        return max(min(ends), self.absent_until_ms) if ends else None

    def tick(self, now_ms: int) -> list[Result]:
        """End what is over; an absent node sees it when it is back."""
        if not self.is_here(now_ms):
            return []
        told = []
        for channel, head in self.heads.items():
            run = head.run
            if run is not None and now_ms >= run.began_ms + run.command.ms:
                on_ms = now_ms - run.began_ms
                late = on_ms >= run.command.cut_ms > run.command.ms
                why = "cut" if late else "complete"
                told.append(self._end(channel, run, now_ms, why))
        return told

    def command(self, command: RunPump, now_ms: int) -> list[Result]:
        """Judge a command; an absent node hears nothing."""
        if not self.is_here(now_ms):
            return []
        head = self.heads[command.channel]
        if command.attempt in head.accepted:
            return [head.accepted[command.attempt]]
        word = self._refusal(command, head, now_ms)
        if word:
            return [self._result(command, now_ms, "refused", word)]
        head.n += 1
        hour = self.up_ms(now_ms) // HOUR_MS
        head.slots[hour] = head.slots.get(hour, 0) + command.ul
        self.fence = max(self.fence, command.fence)
        head.run = Run(command, now_ms, head.factor)
        taken = self._result(command, now_ms, "taken", "")
        head.accepted = {command.attempt: taken}
        if self.on_start is not None:
            self.on_start(head.run)
        return [taken]

    def stop(self, channel: str, now_ms: int) -> list[Result]:
        """Stop one channel, or all."""
        if not self.is_here(now_ms):
            return []
        return [
            self._end(name, run, now_ms, "stopped")
            for name, head in self.heads.items()
            if channel in ("", name) and (run := head.run) is not None
        ]

    def power_up(self, now_ms: int) -> None:
        """Lose power and come back: outputs off, memory gone, budget used up."""
        for head in self.heads.values():
            if head.run is not None:
                self._flow(head, head.run, now_ms)
            share_ul = -(-head.day_limit_ul // PAST_HOURS)
            head.slots = {-back: share_ul for back in range(1, PAST_HOURS + 1)}
            head.run, head.last, head.accepted = None, None, {}
            head.n = head.odo_ul = head.odo_ms = 0
        self._powered_ms, self._boots = now_ms, self._boots + 1

    def beat(self, now_ms: int, heard_boot_s: float) -> Beat:
        """A sign of life."""
        self._seq += 1
        up = self.up_ms(now_ms)
        return _beat(
            node=self.name,
            boot=self.boot,
            up=up,
            seq=self._seq,
            hold=self.hold,
            fence=self.fence,
            hw=HARDWARE,
            cfg=self.cfg,
            channels={
                name: self._channel(head, up) for name, head in self.heads.items()
            },
            heard_boot_s=heard_boot_s,
        )

    def _channel(self, head: Head, up: int) -> Channel:
        state: Literal["starting", "idle", "running", "held"] = "idle"
        if head.run is not None:
            state = "running"
        elif up < SELF_TEST_MS:
            state = "starting"
        elif self.hold:
            state = "held"
        return _channel(
            n=head.n,
            state=state,
            odo_ul=head.odo_ul,
            odo_ms=head.odo_ms,
            budget_ul=head.room_ul(up // HOUR_MS),
            last=head.last,
        )

    def _refusal(self, command: RunPump, head: Head, now_ms: int) -> str:
        """The first rule that fails, in the words of the contract."""
        up = self.up_ms(now_ms)
        rules = (
            ("boot", command.boot != self.boot),
            ("fence", command.fence < self.fence),
            ("number", command.n != head.n),
            ("late", up > command.until_up),
            ("busy", head.run is not None),
            ("held", self.hold or up < SELF_TEST_MS),
            ("budget", command.ul > head.room_ul(up // HOUR_MS)),
        )
        return next((word for word, fails in rules if fails), "")

    def _end(self, channel: str, run: Run, now_ms: int, reason: str) -> Result:
        head = self.heads[channel]
        flowed_ul = self._flow(head, run, now_ms)
        ran_ms = min(now_ms - run.began_ms, run.command.cut_ms)
        head.run = None
        head.odo_ul += flowed_ul
        head.odo_ms += ran_ms
        head.last = LastRun(
            id=run.command.attempt,
            ul=flowed_ul,
            ran_ms=ran_ms,
            reason=reason,
            cal=run.command.cal,
        )
        result = self._result(run.command, now_ms, "ended", reason)
        head.accepted = {run.command.attempt: result}
        return result

    def _flow(self, head: Head, run: Run, now_ms: int) -> int:
        """Book what one run really brought."""
        on_ms = min(now_ms - run.began_ms, run.command.cut_ms)
        flowed_ul = run.flowed_ul(on_ms)
        self.flows.append(
            Flow(
                pump=head.pump,
                attempt=run.command.attempt,
                began_ms=run.began_ms,
                volume_ul=flowed_ul,
            )
        )
        return flowed_ul

    def _result(
        self, command: RunPump, now_ms: int, phase: Phase, reason: str
    ) -> Result:
        last = self.heads[command.channel].last
        ended = phase == "ended" and last is not None
        return Result(
            node=self.name,
            id=command.attempt,
            boot=self.boot,
            channel=command.channel,
            n=command.n,
            phase=phase,
            ran_ms=last.ran_ms if ended and last is not None else 0,
            ul=last.ul if ended and last is not None else 0,
            reason=reason,
            cal=command.cal,
            up=self.up_ms(now_ms),
        )
