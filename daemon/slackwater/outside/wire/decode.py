"""What arrives, turned into facts or refused.

Floor 6. One subject: (topic, payload, retained, clocks) to one message.
Laws here: nothing raises; a retained beat, result, reading or request is no sign of
life and asks for nothing, and a retained switch can only say that something is wrong;
a reading whose unit, window or scale does not fit is refused and its probe named.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from hashlib import sha256

import rfc8785

from slackwater.facts.limits import Switch
from slackwater.facts.making import maker
from slackwater.facts.messages import (
    Beat,
    Channel,
    LastRun,
    Message,
    Overreach,
    Reading,
    RelaySeen,
    Request,
    Result,
    RetainedCommand,
    SpoiledReading,
)
from slackwater.facts.relays import Relay
from slackwater.facts.tank import Probe
from slackwater.outside.wire.commands import is_signed_by
from slackwater.outside.wire.mapped import (
    Source,
    number_in,
    sources_by_topic,
    state_in,
)
from slackwater.outside.wire.models import (
    BeatPayload,
    ChannelPayload,
    HoldPayload,
    InputPayload,
    ReadingPayload,
    RequestPayload,
    ResultPayload,
)
from slackwater.outside.wire.strict import (
    Read,
    Spoiled,
    read_anything,
    read_strictly,
)
from slackwater.outside.wire.switching import switch_said
from slackwater.outside.wire.tested import told_test
from slackwater.outside.wire.topics import Kind, Root, Topic, parse_topic
from slackwater.outside.wire.view import Heard, MachineView

# A probe's clock may lead ours by the error of two ordinary time services and no
# more; a reading from the future would hide every later one.
FUTURE_ALLOWED = timedelta(seconds=60)
# Between two readings no parameter moves by half, but a changed unit or scale does
# (dKH to meq/L is 2.8, to ppm 17.9).
RATIO_AT_MOST = 1.5
# A button that bounces, or a tool that repeats itself, asks once.
SAME_REQUEST_S = 10.0
_REQUESTS_REMEMBERED = 256

# Every node beats every few seconds, and a beat shows each of its channels.
_beat_of, _channel_of, _last_run = maker(Beat), maker(Channel), maker(LastRun)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ignored:
    """A message that is in order and changes nothing."""

    why: str


Decoded = Message | Spoiled | Ignored
# Verbs of the machine that nobody may ask for from afar.
LOCAL_ONLY = frozenset(
    {"approve", "enable", "release", "bypass", "calibrate", "take-over", "raise"}
)
RETAINED = Ignored(why="retained")


@dataclass(slots=True, kw_only=True)
class Decoder:
    """Turns messages of one site into facts.

    It remembers two things: the last two accepted values of each probe, and the
    requests without an id of the last ten seconds. The one before the last lets the
    readings that follow a single accepted spike back in; a lasting change of scale
    stays refused until the daemon starts anew.
    """

    root: Root
    view: MachineView
    accepted: dict[str, tuple[float, ...]] = field(default_factory=dict)
    _requests: dict[str, float] = field(default_factory=dict)
    _mapped: Mapping[str, tuple[Source, ...]] = field(init=False)

    def __post_init__(self) -> None:
        """Look up once which inputs speak on topics of their own."""
        self._mapped = sources_by_topic(self.view.sources)

    def decode_all(self, heard: Heard) -> tuple[Decoded, ...]:
        """Everything that one message says: several inputs may share a topic."""
        relays = self._relays(heard)
        sources = self._mapped.get(heard.topic, ())
        if not sources:
            return relays or (self.decode(heard),)
        return relays + tuple(
            switch_said(source, heard) or RETAINED
            if isinstance(source, Switch)
            else self._bare(source, heard)
            for source in sources
        )

    def _relays(self, heard: Heard) -> tuple[Decoded, ...]:
        """What a relay tells of its state; what was left lying proves nothing."""
        return tuple(
            _relay_said(node, relay, heard)
            for node, relay in self.view.relays.items()
            if relay.state_topic == heard.topic
        )

    def decode(self, heard: Heard) -> Decoded:
        """One message, or why it is none."""
        topic = parse_topic(heard.topic, self.root)
        if topic is None:
            return Spoiled(why="topic", detail="no topic of this site")
        if not self._is_known(topic):
            return Spoiled(why="stranger", topic=topic.kind)
        decoded = self._route(topic, heard)
        if isinstance(decoded, Spoiled):
            return Spoiled(why=decoded.why, detail=decoded.detail, topic=str(topic))
        return decoded

    def _route(self, topic: Topic, heard: Heard) -> Decoded:
        match topic.kind:
            case Kind.COMMAND:
                return _command(topic, heard)
            case Kind.HOLD:
                return _hold(heard)
            case Kind.INPUT:
                return self._input(topic, heard)
            case Kind.BEAT | Kind.RESULT | Kind.READING | Kind.REQUEST:
                if heard.retained:
                    return RETAINED
                return self._live(topic, heard)
            case _:
                return Ignored(why="our own")

    def _live(self, topic: Topic, heard: Heard) -> Decoded:
        match topic.kind:
            case Kind.BEAT:
                return self._beat(topic, heard)
            case Kind.RESULT:
                return self._result(topic, heard)
            case Kind.READING:
                return self._reading(topic, heard)
            case _:
                return self._request(topic, heard)

    def _is_known(self, topic: Topic) -> bool:
        if topic.kind in {Kind.COMMAND, Kind.BEAT, Kind.RESULT, Kind.HOLD}:
            return topic.owner in self.view.nodes
        if topic.kind is Kind.READING:
            probe = self.view.probes.get(topic.item)
            return probe is not None and _is_here(probe, topic)
        return not topic.owner or topic.owner in self.view.tanks

    def _beat(self, topic: Topic, heard: Heard) -> Beat | Spoiled:
        read = read_strictly(heard.payload, BeatPayload)
        if isinstance(read, Spoiled):
            return read
        if not self._is_genuine(topic, read.plain):
            return Spoiled(why="auth")
        beat = read.model
        return _beat_of(
            node=topic.owner,
            boot=beat.boot,
            up=beat.up,
            seq=beat.seq,
            hold=beat.hold,
            fence=beat.fence,
            hw=beat.hw,
            cfg=beat.cfg,
            channels={name: _channel(shown) for name, shown in beat.chan.items()},
            heard_boot_s=heard.now.boot_s,
        )

    def _result(self, topic: Topic, heard: Heard) -> Result | Spoiled:
        read = read_strictly(heard.payload, ResultPayload)
        if isinstance(read, Spoiled):
            return read
        if not self._is_genuine(topic, read.plain):
            return Spoiled(why="auth")
        result = read.model
        return Result(
            node=topic.owner,
            id=result.id,
            boot=result.boot,
            channel=result.chan,
            n=result.n,
            phase=result.phase,
            ran_ms=result.ran_ms,
            ul=result.ul,
            reason=result.reason,
            cal=result.cal,
            up=result.up,
        )

    def _is_genuine(self, topic: Topic, plain: dict[str, object]) -> bool:
        keys = self.view.keys_of(topic.owner)
        return not keys or any(is_signed_by(plain, key) for key in keys)

    def _input(self, topic: Topic, heard: Heard) -> Decoded:
        switch = self.view.switches.get(topic.item)
        if switch is None or not _is_here(switch, topic):
            read = read_strictly(heard.payload, InputPayload)
            return read if isinstance(read, Spoiled) else Ignored(why="no switch")
        return switch_said(switch, heard) or RETAINED

    def _bare(self, probe: Probe, heard: Heard) -> Decoded:
        """A mapped reading: a bare number, of the moment it came."""
        if heard.retained:
            return RETAINED
        number = number_in(heard.payload, probe.pointer or "")
        if isinstance(number, Spoiled):
            return _spoiled(probe, f"{number.why} {number.detail}".strip())
        return self._taken(probe, number, heard.now.utc)

    def _taken(
        self, probe: Probe, number: float, at: datetime
    ) -> Reading | SpoiledReading:
        value = number * probe.scale + probe.offset
        why = self._value_flaw(probe, value)
        if why:
            return _spoiled(probe, why)
        self.accepted[probe.id] = (*self.accepted.get(probe.id, ())[-1:], value)
        return Reading(
            tank=probe.tank,
            probe=probe.id,
            parameter=probe.parameter,
            value=value,
            at=at,
        )

    def _reading(self, topic: Topic, heard: Heard) -> Decoded:
        probe = self.view.probes[topic.item]
        if probe.pointer is not None:
            return self._bare(probe, heard)
        read = read_strictly(heard.payload, ReadingPayload)
        if isinstance(read, Spoiled):
            why = f"{read.why} {read.detail}".strip()
            return _spoiled(probe, why)
        shown = read.model
        why = _form_flaw(probe, shown, heard)
        if why:
            return _spoiled(probe, why)
        return self._taken(probe, shown.value, shown.at)

    def _value_flaw(self, probe: Probe, value: float) -> str:
        if not probe.low <= value <= probe.high:
            return "outside the plausible window"
        known = self.accepted.get(probe.id, ())
        if known and not any(_near(value, other, probe.resolution) for other in known):
            return f"more than {RATIO_AT_MOST} times off the last reading"
        return ""

    def _request(self, topic: Topic, heard: Heard) -> Decoded:
        read = read_strictly(heard.payload, RequestPayload)
        if isinstance(read, Spoiled):
            return _overreach(topic, heard) or read
        asked = read.model
        told = told_test(asked)
        if isinstance(told, Spoiled):
            return told
        request_id = asked.id or self._name(topic, read, heard)
        if request_id is None:
            return Ignored(why="the same request again")
        return Request(
            tank=topic.owner,
            id=request_id,
            act=asked.act,
            minutes=asked.minutes or 0,
            dose=asked.dose or "",
            serial=asked.serial or 0,
            alarm=asked.alarm or "",
            note=asked.note,
            parameter=told.parameter,
            level=told.level,
            typed=told.typed,
        )

    def _name(
        self, topic: Topic, read: Read[RequestPayload], heard: Heard
    ) -> str | None:
        """A name for a request without one; None when it is a repeat."""
        now_s = heard.now.boot_s
        content = rfc8785.dumps({"tank": topic.owner, **read.plain})  # type: ignore[dict-item]  # parsed JSON
        digest = sha256(content).hexdigest()[:16]
        before_s = self._requests.pop(digest, None)
        # Put back last, so that the oldest stands first and the table stays small.
        self._requests[digest] = now_s
        while len(self._requests) > _REQUESTS_REMEMBERED:
            del self._requests[next(iter(self._requests))]
        if before_s is not None and now_s - before_s <= SAME_REQUEST_S:
            return None
        return f"{digest}-{int(heard.now.utc.timestamp())}"


def _overreach(topic: Topic, heard: Heard) -> Overreach | None:
    """What asks for an act that no request has and only the machine knows."""
    plain = read_anything(heard.payload)
    act = plain.get("act") if isinstance(plain, dict) else None
    if not isinstance(act, str) or act not in LOCAL_ONLY:
        return None
    return Overreach(tank=topic.owner, act=act, heard_boot_s=heard.now.boot_s)


def _relay_said(node: str, relay: Relay, heard: Heard) -> Decoded:
    if heard.retained:
        return RETAINED
    is_on = state_in(heard.payload, relay)
    if isinstance(is_on, Spoiled):
        return Spoiled(why=is_on.why, detail=is_on.detail, topic=relay.state_topic)
    return RelaySeen(node=node, is_on=is_on, heard_boot_s=heard.now.boot_s)


def _command(topic: Topic, heard: Heard) -> RetainedCommand | Ignored:
    if heard.retained and heard.payload:
        return RetainedCommand(node=topic.owner)
    return Ignored(why="our own")


def _hold(heard: Heard) -> Spoiled | Ignored:
    # The hold counts when a beat shows it: the topic itself is only looked at.
    if heard.payload:
        read = read_strictly(heard.payload, HoldPayload)
        if isinstance(read, Spoiled):
            return read
    return Ignored(why="shown by the beat")


def _is_here(source: Source, topic: Topic) -> bool:
    """Whether an input speaks on the contract's topic of this tank."""
    return source.tank == topic.owner and not source.topic


def _channel(shown: ChannelPayload) -> Channel:
    last = shown.last
    return _channel_of(
        n=shown.n,
        state=shown.state,
        odo_ul=shown.odo_ul,
        odo_ms=shown.odo_ms,
        budget_ul=shown.budget_ul,
        last=None
        if last is None
        else _last_run(
            id=last.id,
            ul=last.ul,
            ran_ms=last.ran_ms,
            reason=last.reason,
            cal=last.cal,
        ),
    )


def _form_flaw(probe: Probe, shown: ReadingPayload, heard: Heard) -> str:
    if shown.unit != probe.unit:
        return "unit changed"
    if shown.parameter != probe.parameter:
        return "parameter changed"
    if shown.at > heard.now.utc + FUTURE_ALLOWED:
        return "dated in the future"
    return ""


def _near(value: float, other: float, resolution: float) -> bool:
    # One step of resolution near zero is a large ratio and no change of scale.
    if abs(value - other) <= resolution:
        return True
    small, large = sorted((value, other))
    return small > 0 and large <= RATIO_AT_MOST * small


def _spoiled(probe: Probe, why: str) -> SpoiledReading:
    return SpoiledReading(tank=probe.tank, probe=probe.id, why=why)
