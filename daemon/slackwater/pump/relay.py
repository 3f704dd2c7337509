"""A timed relay dressed as a pump node: what it is told, and what its state proves.

Floor 3. One subject: one relay. Laws here: a pulse is told once and never again; it is
told only while the relay was seen off within ten seconds; it must be seen off within
two seconds after its time, else it is told to be off, again and again, and latches; a
pulse that nobody saw is charged in full and settled as lost.

The daemon's other parts see a node: beats while its state is known, results for what
was seen. Times are boot-time seconds.
"""

from dataclasses import dataclass, field

from slackwater.facts.messages import (
    Beat,
    Channel,
    ChannelPhase,
    LastRun,
    Phase,
    RelayTrouble,
    Result,
    RunPump,
)
from slackwater.facts.relays import MS_PER_S, PULSES_A_DAY, REST_S, Relay
from slackwater.facts.tank import Node

OFF_FRESH_S = 10.0
# Two seconds after its time it must have been found out: a little less to do it in.
CONFIRM_S = 1.9
BEAT_S = 5.0
# How often its state is asked for at rest, and around the end of a pulse.
ASK_S = 4.0
ASK_AT_END_S = 0.4
OFF_AGAIN_S = 1.0
HARDWARE = "timed-relay"
_HOUR_S = 3_600
_SLOTS_BEFORE = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Post:
    """One message for the relay."""

    topic: str
    payload: bytes
    asks: bool = False


Said = Beat | Result | RelayTrouble | Post


@dataclass(slots=True, kw_only=True)
class _Pulse:
    """A pulse from the moment it was told."""

    command: RunPump
    begun_s: float
    seen_on: bool = False
    stopped: bool = False
    troubled: bool = False

    @property
    def over_s(self) -> float:
        return self.begun_s + self.command.ms / MS_PER_S

    def flowed_ul(self, on_s: float) -> int:
        """What flows in a time, rounded up."""
        return -(-self.command.ul * round(on_s * MS_PER_S) // self.command.ms)


@dataclass(slots=True, kw_only=True)
class RelayHead:
    """One relay since the daemon took charge; `boot` is 16 hex, new each time.

    `before_ul` and `before_pulses` are what it gave in the day before, by the ledger:
    they count for a whole day from here on, which is longer than they must.
    """

    node: Node
    relay: Relay
    channel: str
    boot: str
    begun_s: float
    before_ul: int
    before_pulses: int
    n: int = 0
    fence: int = 0
    _seq: int = 0
    _told_up: int = 0
    _odo_ul: int = 0
    _odo_ms: int = 0
    _is_on: bool | None = None
    _seen_s: float = 0.0
    _beat_s: float = 0.0
    _ask_s: float = 0.0
    _off_s: float = 0.0
    _rest_until_s: float = 0.0
    _stray_since_s: float | None = None
    _pulse: _Pulse | None = None
    _last: LastRun | None = None
    _before: _Pulse | None = None
    _given: list[tuple[int, int]] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Count what was given in the day before."""
        self._given = [(0, 0)] * max(0, self.before_pulses - 1)
        if self.before_ul:
            self._given.append((0, self.before_ul))

    def take(self, command: RunPump, now_s: float) -> str:
        """Accept a pulse, or say with one word why not; nothing is told to it here."""
        flaws = (
            (command.boot != self.boot, "boot"),
            (command.n != self.n, "number"),
            (self._up_ms(now_s) > command.until_up, "late"),
            (self._pulse is not None, "busy"),
            (self._state(now_s) != "idle" or not self._is_known(now_s), "held"),
            (not self._fits(command), "limit"),
            (command.ul > self._room_ul(now_s), "budget"),
        )
        word = next((word for wrong, word in flaws if wrong), "")
        if not word:
            self.n += 1
            self.fence = command.fence
            self._given.append((self._hour(now_s), command.ul))
            self._pulse = _Pulse(command=command, begun_s=now_s)
            self._rest_until_s = now_s + self.node.cut_limit_ms / MS_PER_S + REST_S
        return word

    def undo(self) -> None:
        """Take back what was surely not told to it."""
        self.n -= 1
        self._given.pop()
        self._pulse = None

    def pulse(self, command: RunPump) -> Post:
        """What switches it on."""
        payload = self.relay.pulse(command.ms)
        return Post(topic=self.relay.on_topic, payload=payload)

    def stop(self) -> Post:
        """What switches it off; safe to repeat."""
        if self._pulse is not None:
            self._pulse.stopped = True
        return Post(topic=self.relay.off_topic, payload=self.relay.off_payload.encode())

    def refused(self, command: RunPump, word: str, now_s: float) -> Result:
        """The answer to a pulse that was not taken."""
        return self._result(command, "refused", word, now_s)

    def hear(self, *, is_on: bool, now_s: float) -> list[Said]:
        """Take in what it told of its state."""
        self._is_on, self._seen_s = is_on, now_s
        if self._pulse is None:
            return self._idle(now_s, is_on=is_on)
        pulse, said = self._pulse, list[Said]()
        if is_on and not pulse.seen_on:
            pulse.seen_on = True
            said.append(self._result(pulse.command, "taken", "", now_s))
        elif not is_on and (pulse.seen_on or pulse.stopped or now_s >= pulse.over_s):
            said += self._end(pulse, now_s)
        return [*said, self._beat(now_s)]

    def due(self, now_s: float) -> list[Said]:
        """What time alone leads to: asking, beats, and finding out what is stuck."""
        said: list[Said] = []
        pulse = self._pulse
        if pulse is not None and now_s >= pulse.over_s + CONFIRM_S:
            if not pulse.troubled:
                pulse.troubled = True
                what = "it is still on" if self._is_on else "its state is not told"
                said += self._trouble(f"{what} after its time")
            said += self._off_again(now_s)
        elif self._stray_since_s is not None:
            said += self._off_again(now_s)
        if now_s >= self._next_ask_s():
            self._ask_s = now_s
            if self.relay.ask_topic:
                payload = self.relay.ask_payload.encode()
                post = Post(topic=self.relay.ask_topic, payload=payload, asks=True)
                said.append(post)
        if now_s >= self._beat_s + BEAT_S:
            self._beat_s = now_s
            said += [self._beat(now_s)] if self._is_known(now_s) else []
        return said

    def next_s(self) -> float:
        """When `due` has something to do at the earliest."""
        moments = [self._beat_s + BEAT_S, self._next_ask_s()]
        pulse = self._pulse
        if pulse is not None and not pulse.troubled:
            moments.append(pulse.over_s + CONFIRM_S)
        elif pulse is not None or self._stray_since_s is not None:
            moments.append(self._off_s + OFF_AGAIN_S)
        return min(moments)

    def _idle(self, now_s: float, *, is_on: bool) -> list[Said]:
        """Nothing was told to it: on is wrong, and what then flowed is counted."""
        said: list[Said] = []
        if is_on and self._stray_since_s is None:
            self._stray_since_s = now_s
            said += self._trouble("it is on without a pulse")
            said += self._off_again(now_s)
        elif not is_on and self._stray_since_s is not None:
            said += self._counted(now_s - self._stray_since_s, now_s)
            self._stray_since_s = None
        return [*said, self._beat(now_s)]

    def _counted(self, stray_s: float, now_s: float) -> list[Said]:
        """A second execution raises what the last pulse is known to have given."""
        pulse = self._before
        if pulse is None:
            return []
        last = self._last_of(pulse)
        more_ul = pulse.flowed_ul(stray_s)
        more_ms = round(stray_s * MS_PER_S)
        self._odo_ul += more_ul
        self._odo_ms += more_ms
        self._last = LastRun(
            id=last.id,
            ul=last.ul + more_ul,
            ran_ms=last.ran_ms + more_ms,
            reason="fault",
            cal=last.cal,
        )
        return [self._ended(pulse, self._last, now_s)]

    def _last_of(self, pulse: _Pulse) -> LastRun:
        """What that pulse gave as far as it is known: as asked where nobody saw it."""
        asked, known = pulse.command, self._last
        if known is not None and known.id == asked.attempt:
            return known
        return LastRun(
            id=asked.attempt, ul=asked.ul, ran_ms=asked.ms, reason="", cal=asked.cal
        )

    def _end(self, pulse: _Pulse, now_s: float) -> list[Said]:
        """It was seen off: what flowed, and how it ended, or that nobody saw it."""
        on_s, asked = now_s - pulse.begun_s, pulse.command
        reason, ul, ran_ms = "complete", asked.ul, asked.ms
        if pulse.troubled:
            reason, ul = "fault", max(asked.ul, pulse.flowed_ul(on_s))
        elif pulse.stopped and now_s < pulse.over_s:
            reason, ul = "stopped", min(asked.ul, pulse.flowed_ul(on_s))
        if reason != "complete":
            ran_ms = round(on_s * MS_PER_S)
        self._odo_ul += ul
        self._odo_ms += ran_ms
        self._pulse, self._before = None, pulse
        if not pulse.seen_on and not pulse.troubled:
            return []
        self._last = LastRun(
            id=asked.attempt, ul=ul, ran_ms=ran_ms, reason=reason, cal=asked.cal
        )
        return [self._ended(pulse, self._last, now_s)]

    def _trouble(self, said: str) -> list[Said]:
        pulse = self._pulse or self._before
        attempt = "" if pulse is None else pulse.command.attempt
        return [RelayTrouble(node=self.node.id, attempt=attempt, said=said)]

    def _off_again(self, now_s: float) -> list[Said]:
        if now_s < self._off_s + OFF_AGAIN_S:
            return []
        self._off_s = now_s
        payload = self.relay.off_payload.encode()
        return [Post(topic=self.relay.off_topic, payload=payload)]

    def _next_ask_s(self) -> float:
        pulse = self._pulse
        if pulse is None or self._ask_s < pulse.over_s - ASK_S:
            return self._ask_s + ASK_S
        return max(pulse.over_s, self._ask_s + ASK_AT_END_S)

    def _fits(self, command: RunPump) -> bool:
        always_ms = self.relay.always_ms
        return command.ms == always_ms if always_ms else self._is_short(command)

    def _is_short(self, command: RunPump) -> bool:
        return 0 < command.ms <= self.node.cut_limit_ms

    def _is_known(self, now_s: float) -> bool:
        """Whether it told its state within the last ten seconds."""
        return self._is_on is not None and now_s - self._seen_s <= OFF_FRESH_S

    def _state(self, now_s: float) -> ChannelPhase:
        if self._stray_since_s is not None:
            return "fault"
        # Also when it is stuck: a pulse whose end was not seen has not ended.
        if self._pulse is not None:
            return "running"
        return "starting" if now_s < self._rest_until_s else "idle"

    def _room_ul(self, now_s: float) -> int:
        first = self._hour(now_s) - _SLOTS_BEFORE
        self._given = [given for given in self._given if given[0] >= first]
        if len(self._given) >= PULSES_A_DAY:
            return 0
        return max(0, self.node.day_limit_ul - sum(ul for _, ul in self._given))

    def _hour(self, now_s: float) -> int:
        return int(now_s - self.begun_s) // _HOUR_S

    def _up_ms(self, now_s: float) -> int:
        return round((now_s - self.begun_s) * MS_PER_S)

    def _beat(self, now_s: float) -> Beat:
        self._beat_s = now_s
        self._seq += 1
        # What was heard may be older than the beat before, told as time passed; it
        # knows more all the same, and a node whose time goes back is not believed.
        self._told_up = max(self._up_ms(now_s), self._told_up + 1)
        shown = Channel(
            n=self.n,
            state=self._state(now_s),
            odo_ul=self._odo_ul,
            odo_ms=self._odo_ms,
            budget_ul=self._room_ul(now_s),
            last=self._last,
        )
        return Beat(
            node=self.node.id,
            boot=self.boot,
            up=self._told_up,
            seq=self._seq,
            hold=False,
            fence=self.fence,
            hw=HARDWARE,
            cfg=self.relay.digest,
            channels={self.channel: shown},
            heard_boot_s=now_s,
        )

    def _ended(self, pulse: _Pulse, last: LastRun, now_s: float) -> Result:
        result = self._result(pulse.command, "ended", last.reason, now_s)
        return Result(
            node=result.node,
            id=result.id,
            boot=result.boot,
            channel=result.channel,
            n=result.n,
            phase="ended",
            ran_ms=last.ran_ms,
            ul=last.ul,
            reason=last.reason,
            cal=result.cal,
            up=result.up,
        )

    def _result(
        self, command: RunPump, phase: Phase, reason: str, now_s: float
    ) -> Result:
        return Result(
            node=self.node.id,
            id=command.attempt,
            boot=self.boot,
            channel=self.channel,
            n=command.n,
            phase=phase,
            ran_ms=0,
            ul=0,
            reason=reason,
            cal="" if phase == "refused" else command.cal,
            up=self._up_ms(now_s),
        )
