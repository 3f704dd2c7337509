"""How an open intent ends: by result, by beat, or by time.

Floor 3. One subject: settling. Laws here: only a beat of the same boot, with the
number unmoved after the deadline, proves that nothing ran; a refusal proves nothing;
another boot seals; what cannot be told is charged and never sent again.
Source of the rules: the command contract's settle table, tried by exhaustive search.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Protocol, TypedDict

from slackwater.facts.charging import is_short
from slackwater.facts.events import (
    AnyEvent,
    ChargeRaised,
    DoseEnded,
    DoseIntended,
    DoseRefusedByNode,
    DoseSealed,
    DoseTaken,
    DoseVoided,
    EndedHow,
    HoldRaised,
)
from slackwater.facts.making import maker
from slackwater.facts.messages import Beat, Channel, Result
from slackwater.facts.reasons import Code, Reason, because
from slackwater.facts.state import ClosedDose, OpenDose, State
from slackwater.pump.command import NODE_CLOCK

# A pump may differ by a tenth, and by 100 µL, before it counts as short or over.
TENTH = 10
OVER_LEAST_UL = 100
SHORT_TIMES = 3
# Nothing heard for this long after the last drop can have flowed: nobody can tell.
SILENCE_MS = 30_000

# Words of a node that say more than the volume does.
WORDS: Mapping[str, EndedHow] = {"stopped": "stopped", "cut": "cut", "fault": "fault"}

_dose_ended = maker(DoseEnded)


class Stamp(TypedDict):
    """The three clocks every event carries."""

    at: datetime
    boot_s: float
    proven_ms: int


class Report(Protocol):
    """What is told of a run that ended, whoever tells it: a result or a beat."""

    @property
    def ul(self) -> int:
        """What flowed, by the node's own reckoning."""

    @property
    def ran_ms(self) -> int:
        """How long it ran."""

    @property
    def reason(self) -> str:
        """Why it ended."""


def settle_by_result(state: State, result: Result, stamp: Stamp) -> Iterable[AnyEvent]:
    """What a node's word about one command means for it."""
    known = state.open.get(result.id)
    if known is None:
        return _late(state, result, stamp)
    command = known.intent.command
    # A node that has rebooted refuses in the name of its new boot.
    boot = command.boot if result.phase != "refused" else result.boot
    if (command.node, boot) != (result.node, result.boot):
        said = "a result of another boot or node"
        return [impossible(result.node, stamp, said=said, id=result.id)]
    if result.phase == "ended":
        return _ended(state, known, result, stamp)
    if result.phase == "refused":
        if known.refused_word:
            return ()
        return [DoseRefusedByNode(**stamp, attempt=result.id, word=result.reason)]
    return () if known.taken else [DoseTaken(**stamp, attempt=result.id)]


def settle_by_beat(
    state: State, beat: Beat, stamp: Stamp, *, is_doubted: bool = False
) -> Iterator[AnyEvent]:
    """What a beat proves about every open intent of its node, and of its last runs.

    One `is_doubted` that contradicts what was heard before: it gives no charge back.
    """
    for attempt, known in sorted(state.open.items()):
        if known.intent.command.node == beat.node:
            for event in _one_by_beat(state, attempt, beat, stamp):
                if is_doubted and isinstance(event, DoseVoided):
                    yield _sealed(attempt, stamp, because(Code.NODE_IMPOSSIBLE))
                else:
                    yield event
    for channel in beat.channels.values():
        last = channel.last
        closed = None if last is None else state.closed.get(last.id)
        if last is not None and closed is not None and closed.node == beat.node:
            yield from _raised(closed, last.id, last.ul, stamp)


def settle_by_time(state: State, stamp: Stamp) -> Iterator[AnyEvent]:
    """Seal what nobody spoke of until its latest start and its last drop passed."""
    for attempt, known in sorted(state.open.items()):
        intent = known.intent
        if stamp["at"] <= intent.dose.latest_at:
            continue
        if stamp["proven_ms"] <= intent.flow_end_ms + SILENCE_MS:
            continue
        yield _sealed(
            attempt, stamp, because(Code.NODE_SILENT, node=intent.command.node)
        )


def _one_by_beat(
    state: State, attempt: str, beat: Beat, stamp: Stamp
) -> Iterator[AnyEvent]:
    known = state.open[attempt]
    command = known.intent.command
    channel = beat.channels.get(command.channel)
    if beat.boot != command.boot:
        yield _sealed(attempt, stamp, because(Code.NODE_SETTLING, boot=beat.boot))
    elif channel is None or channel.n <= command.n:
        # Until the deadline has passed it may be a late copy of an earlier beat.
        if beat.up > command.until_up and _has_passed(known.intent, stamp):
            yield from _not_moved(known, beat, channel, stamp)
    elif channel.state == "running" and channel.n == command.n + 1:
        yield from _still_running(state, known, beat, stamp)
    elif channel.last is not None and channel.last.id == attempt:
        yield from _ended(state, known, channel.last, stamp)
    else:
        drawn_ul = channel.odo_ul - known.intent.odo_ul
        alone = channel.n == command.n + 1 and drawn_ul >= 0
        yield from _lost(state, known, drawn_ul if alone else None, stamp)


def _has_passed(intent: DoseIntended, stamp: Stamp) -> bool:
    """Whether the deadline of a command has passed by our own clock as well.

    A node whose uptime runs ahead would else prove that nothing ran and nothing can,
    while its command is still under way.
    """
    longest_ms = intent.flow_end_ms - intent.proven_ms
    deadline_ms = int(longest_ms * NODE_CLOCK) - intent.command.cut_ms
    return stamp["proven_ms"] - intent.proven_ms >= deadline_ms


def _still_running(
    state: State, known: OpenDose, beat: Beat, stamp: Stamp
) -> Iterator[AnyEvent]:
    """Taken; and held, which stops it again and again, once its cut must be over.

    It began at its deadline at the latest, by the node's own clock.
    """
    command = known.intent.command
    if not known.taken:
        yield DoseTaken(**stamp, attempt=command.attempt)
    if beat.up <= command.until_up + command.cut_ms:
        return
    lie = impossible(beat.node, stamp, said="a run beyond its cut", id=command.attempt)
    if lie.hold_id not in state.holds:
        yield lie


def _not_moved(
    known: OpenDose, beat: Beat, channel: Channel | None, stamp: Stamp
) -> Iterator[AnyEvent]:
    """After the deadline the number tells: never executed, or a lie."""
    command = known.intent.command
    if channel is not None and channel.n == command.n and not known.taken:
        reason = because(Code.NOT_TAKEN, word=known.refused_word)
        yield DoseVoided(**stamp, attempt=command.attempt, reasons=(reason,))
        return
    taken = channel is not None and channel.n == command.n
    said = "taken, number unmoved" if taken else "the number went back"
    yield impossible(beat.node, stamp, said=said, id=command.attempt)
    yield _sealed(command.attempt, stamp, because(Code.NODE_IMPOSSIBLE))


def _ended(
    state: State, known: OpenDose, report: Report, stamp: Stamp
) -> Sequence[AnyEvent]:
    """A reported end; more than asked is charged, much more latches the pump."""
    command, reported_ul = known.intent.command, report.ul
    asked_ul = command.ul
    ended = _dose_ended(
        at=stamp["at"],
        boot_s=stamp["boot_s"],
        proven_ms=stamp["proven_ms"],
        attempt=command.attempt,
        how=how_it_ended(asked_ul, report),
        believed_ul=reported_ul,
        charge_ul=max(asked_ul, reported_ul),
        source="reported",
        ran_ms=report.ran_ms,
    )
    if ended.how == "full":
        return [ended]
    return [ended, *_watch_delivery(state, known, ended, stamp)]


def _lost(
    state: State, known: OpenDose, drawn_ul: int | None, stamp: Stamp
) -> Iterator[AnyEvent]:
    """Executed, but its report is lost: odometer if it can tell, else as asked."""
    asked_ul = known.intent.command.ul
    believed_ul = asked_ul if drawn_ul is None else drawn_ul
    ended = DoseEnded(
        **stamp,
        attempt=known.intent.command.attempt,
        how="lost",
        believed_ul=believed_ul,
        charge_ul=max(asked_ul, believed_ul),
        source="asked" if drawn_ul is None else "odometer",
    )
    yield ended
    yield from _watch_delivery(state, known, ended, stamp)


def how_it_ended(asked_ul: int, report: Report) -> EndedHow:
    """One word for the end of a run."""
    if report.reason in WORDS:
        return WORDS[report.reason]
    if report.ul == asked_ul:
        return "full"
    if is_over(asked_ul, report.ul):
        return "over"
    return "short" if is_short(asked_ul, report.ul) else "full"


def is_over(asked_ul: int, reported_ul: int) -> bool:
    """More than 10 % and more than 100 µL beyond what was asked."""
    more_ul = reported_ul - asked_ul
    return more_ul > OVER_LEAST_UL and more_ul * TENTH > asked_ul


def _watch_delivery(
    state: State, known: OpenDose, ended: DoseEnded, stamp: Stamp
) -> Iterator[AnyEvent]:
    """Latch a pump that gave much more, or short three times in a row."""
    pump, asked_ul = known.intent.dose.pump, known.intent.command.ul
    reported_ul = ended.believed_ul
    if is_over(asked_ul, reported_ul):
        reason = because(
            Code.OVER_DELIVERED, asked_ul=asked_ul, reported_ul=reported_ul
        )
        yield _pump_hold(pump, reason, stamp)
    short = ended.how != "stopped" and is_short(asked_ul, reported_ul)
    if short and state.short_streak.get(pump, 0) + 1 >= SHORT_TIMES:
        yield _pump_hold(pump, because(Code.SHORT_DELIVERED, times=SHORT_TIMES), stamp)


def _late(state: State, result: Result, stamp: Stamp) -> Iterator[AnyEvent]:
    """A report after the end: it may raise the charge and latch, never lower."""
    closed = state.closed.get(result.id)
    if closed is None:
        # A refusal of what was voided by then only confirms the proof.
        if state.stage == "live" and result.phase != "refused":
            yield impossible(result.node, stamp, said="an unknown run", id=result.id)
        return
    if result.phase == "ended":
        yield from _raised(closed, result.id, result.ul, stamp)


def _raised(
    closed: ClosedDose, attempt: str, reported_ul: int, stamp: Stamp
) -> Iterator[AnyEvent]:
    """More than was charged, by whatever way it is learned."""
    if reported_ul <= closed.charge_ul:
        return
    yield ChargeRaised(
        **stamp, attempt=attempt, pump=closed.pump, charge_ul=reported_ul
    )
    if is_over(closed.asked_ul, reported_ul):
        reason = because(
            Code.OVER_DELIVERED, asked_ul=closed.asked_ul, reported_ul=reported_ul
        )
        yield _pump_hold(closed.pump, reason, stamp)


def impossible(node: str, stamp: Stamp, *, said: str, id: str) -> HoldRaised:  # noqa: A002 -- the wire's word
    """A latched hold on a node that said what cannot be."""
    return HoldRaised(
        **stamp,
        hold_id=f"node-impossible/{node}",
        scope=f"node/{node}",
        reason=because(Code.NODE_IMPOSSIBLE, said=said, id=id),
        latched=True,
    )


def _pump_hold(pump: str, reason: Reason, stamp: Stamp) -> HoldRaised:
    return HoldRaised(
        **stamp,
        hold_id=f"{reason.code}/{pump}",
        scope=f"pump/{pump}",
        reason=reason,
        latched=True,
    )


def _sealed(attempt: str, stamp: Stamp, reason: Reason) -> DoseSealed:
    return DoseSealed(**stamp, attempt=attempt, reasons=(reason,))
