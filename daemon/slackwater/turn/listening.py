"""What messages mean: results settle, beats prove, readings stop, requests hold.

Floor 4. One subject: from inbox to events. Laws here: nothing heard can release,
raise or enable anything; an upward excursion stops within one reading; a request
counts once.
"""

from collections.abc import Iterable, Iterator
from datetime import timedelta
from hashlib import sha256

from slackwater.facts.alarms import AlarmChanged
from slackwater.facts.entered import LevelEntered
from slackwater.facts.events import (
    AnyEvent,
    DoseHanded,
    HoldRaised,
    PlanWithdrawn,
    ReadingKept,
    RequestHeard,
)
from slackwater.facts.hearing import was_heard
from slackwater.facts.messages import (
    Beat,
    Handed,
    LinkChanged,
    Message,
    Reading,
    RelayTrouble,
    Request,
    Result,
    RetainedCommand,
    SwitchSeen,
)
from slackwater.facts.reasons import Code, Reason, because
from slackwater.gate.moment import ALKALINITY, Moment
from slackwater.pump.outcome import (
    Stamp,
    impossible,
    settle_by_beat,
    settle_by_result,
)
from slackwater.turn.judging import judge_reading
from slackwater.turn.watching import end_by_news, hear_reading, hear_switch
from slackwater.turn.witnessing import forgotten

# Readings enter the ledger thinned: one in this time, the first of an excess, and the
# first after it.
KEEP_EVERY = timedelta(minutes=30)
SAME_WITHIN = timedelta(seconds=10)


def hear(moment: Moment, message: Message, stamp: Stamp) -> Iterable[AnyEvent]:
    """All entries that one message leads to; the state is not touched."""
    if isinstance(message, Result):
        return settle_by_result(moment.state, message, stamp)
    return _hear(moment, message, stamp)


def _hear(moment: Moment, message: Message, stamp: Stamp) -> Iterator[AnyEvent]:
    if isinstance(message, Beat):
        doubted = _is_doubted(moment, message)
        yield from settle_by_beat(moment.state, message, stamp, is_doubted=doubted)
        yield from _beat_holds(moment, message, stamp)
    elif isinstance(message, Reading):
        yield from _reading(moment, message, stamp)
    elif isinstance(message, SwitchSeen):
        yield from hear_switch(moment, message, stamp)
    elif isinstance(message, Request):
        yield from _request(moment, message, stamp)
    elif isinstance(message, Handed):
        if message.attempt in moment.state.open:
            yield DoseHanded(**stamp, attempt=message.attempt, certain=True)
    elif isinstance(message, RetainedCommand):
        reason = because(Code.RETAINED_COMMAND, node=message.node)
        yield from _latch(moment, f"node/{message.node}", reason, stamp)
    elif isinstance(message, RelayTrouble):
        yield from _trouble(moment, message, stamp)
    elif isinstance(message, LinkChanged) and message.taken_over:
        reason = because(Code.TAKEN_OVER, link=message.link)
        yield from _latch(moment, "all", reason, stamp)


def _trouble(moment: Moment, message: RelayTrouble, stamp: Stamp) -> Iterator[AnyEvent]:
    about = message.attempt or "no pulse"
    lie = impossible(message.node, stamp, said=message.said, id=about)
    if lie.hold_id not in moment.state.holds:
        yield lie


def _latch(
    moment: Moment, scope: str, reason: Reason, stamp: Stamp
) -> Iterator[AnyEvent]:
    hold_id = f"{reason.code}/{scope}"
    if hold_id not in moment.state.holds:
        yield HoldRaised(
            **stamp, hold_id=hold_id, scope=scope, reason=reason, latched=True
        )


def _beat_holds(moment: Moment, beat: Beat, stamp: Stamp) -> Iterator[AnyEvent]:
    scope = f"node/{beat.node}"
    if beat.fence > moment.state.fence:
        reason = because(Code.SECOND_DAEMON, node=beat.node, heard_fence=beat.fence)
        yield from _latch(moment, "all", reason, stamp)
    yield from _contradiction(moment, beat, stamp)
    yield from forgotten(moment, beat, stamp)
    # The node's own flag is recorded as a hold of ours: it outlives the flag.
    if beat.hold:
        yield from _latch(moment, scope, because(Code.NODE_HELD, node=beat.node), stamp)


def _is_doubted(moment: Moment, beat: Beat) -> bool:
    """Whether a node contradicts itself with this beat, or did and nobody looked.

    Of several beats at once the last contradiction is known: those before it are
    doubted with it.
    """
    if f"{Code.NODE_IMPOSSIBLE}/{beat.node}" in moment.state.holds:
        return True
    seen = moment.sight.nodes.get(beat.node)
    against = None if seen is None else seen.contradiction
    if against is None or against.boot != beat.boot:
        return False
    return beat.up <= against.doubted_up


def _contradiction(moment: Moment, beat: Beat, stamp: Stamp) -> Iterator[AnyEvent]:
    """A beat against earlier ones: two devices under one name, or one that lies."""
    seen = moment.sight.nodes.get(beat.node)
    against = None if seen is None else seen.contradiction
    if against is None or (against.boot, against.up) != (beat.boot, beat.up):
        return
    if not against.said:
        reason = because(Code.NODE_TWICE, node=beat.node, boot=beat.boot)
        yield from _latch(moment, f"node/{beat.node}", reason, stamp)
        return
    lie = impossible(beat.node, stamp, said=against.said, id=beat.boot)
    if lie.hold_id not in moment.state.holds:
        yield lie


def _reading(moment: Moment, reading: Reading, stamp: Stamp) -> Iterator[AnyEvent]:
    """Keep it if it is news, stop on too much, let a ceiling hold end."""
    stopping: list[AnyEvent] = list(hear_reading(moment, reading, stamp))
    stopping += judge_reading(moment, reading, stamp)
    kept = moment.state.readings.get(reading.probe)
    if stopping or not kept or is_worth_keeping(moment, reading, kept[-1]):
        yield ReadingKept(
            **stamp,
            tank=reading.tank,
            probe=reading.probe,
            parameter=reading.parameter,
            value=reading.value,
            taken_at=reading.at,
        )
    yield from stopping
    if reading.parameter == ALKALINITY and not stopping:
        yield from end_by_news(moment, reading.tank, stamp)


def is_worth_keeping(moment: Moment, reading: Reading, kept: ReadingKept) -> bool:
    """Whether it is time again, or what was kept last is too high and this is not.

    Else a page that shows what was kept would show the spike for half an hour.
    """
    if reading.at - kept.taken_at >= KEEP_EVERY:
        return True
    guard = moment.machine.guards.get(reading.tank)
    if guard is None or reading.parameter != ALKALINITY:
        return False
    return kept.value > guard.ceiling >= reading.value


def _request(moment: Moment, request: Request, stamp: Stamp) -> Iterator[AnyEvent]:
    """Only what makes it safer; the same request counts once."""
    if was_heard(moment.state, request):
        return
    unknown = _is_unknown(moment, request)
    yield RequestHeard(
        **stamp,
        request=request.id,
        act=request.act,
        tank=request.tank,
        granted=not unknown,
        note=request.note,
        dose=request.dose,
        alarm=request.alarm,
    )
    if request.act == "ack" and not unknown:
        yield AlarmChanged(
            **stamp,
            alarm=request.alarm,
            to="acknowledged",
            by="request",
            note=request.note,
        )
    elif request.act == "test" and not unknown:
        yield _entered(request, stamp)
    elif request.act == "withdraw" and not unknown:
        yield PlanWithdrawn(
            **stamp, serial=request.serial, by="request", why=request.note
        )
    elif request.act in ("hold", "pause"):
        until = stamp["at"] + timedelta(minutes=request.minutes)
        pause = request.act == "pause"
        yield HoldRaised(
            **stamp,
            hold_id=_free_name(moment, f"{request.act}/{request.tank}:{request.id}"),
            scope=f"tank/{request.tank}",
            reason=because(Code.PAUSE if pause else Code.MANUAL_HOLD),
            latched=not pause,
            until=until if pause else None,
            by="request",
            note=request.note,
        )


def _free_name(moment: Moment, name: str) -> str:
    """A name for a hold from afar that takes the place of none that stands.

    Whoever asks chooses it: under the name of a hold that stands, and may reach further
    or last longer, it would put an end to that one.
    """
    holds, free, times = moment.state.holds, name, 1
    while free in holds:
        times += 1
        # No id from afar has a stroke in it.
        free = f"{name}/{times}"
    return free


def _entered(request: Request, stamp: Stamp) -> LevelEntered:
    return LevelEntered(
        **stamp,
        id=_entry_id(request),
        tank=request.tank,
        parameter=request.parameter,
        value=request.level,
        typed=request.typed,
        # A time of its own would be a claim: what lies ahead would count for too long.
        taken_at=stamp["at"],
        request=request.id,
        note=request.note,
    )


def _entry_id(request: Request) -> str:
    """A short name that says which request it was: the same twice is the same."""
    about = f"{request.tank}/{request.id}".encode()
    return f"u-{sha256(about).hexdigest()[:8]}"


def _is_unknown(moment: Moment, request: Request) -> bool:
    """Whether it names an alarm, approval or tank there is not, or is told already."""
    if request.act == "test":
        is_told = _entry_id(request) in moment.state.entered
        return is_told or request.tank not in moment.machine.tanks
    if request.act == "ack":
        return request.alarm not in moment.state.alarms
    standing = (known.approval.serial for known in moment.state.approvals)
    return request.act == "withdraw" and request.serial not in standing
