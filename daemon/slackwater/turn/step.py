"""turn(now, state, inbox, setup): listen, keep house, or decide.

Floor 4. One subject: one step. Laws here: the three clocks are compared each time;
a turn with news only listens, so that no dose rests on a state that lacks it; while
the clock is not trusted nothing is decided, not even that a dose was missed.
"""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta

from slackwater.facts.entered import LevelEntered
from slackwater.facts.events import (
    AnyEvent,
    DoseIntended,
    HoldRaised,
    HoldReleased,
    RequestHeard,
    ResumeBegan,
    ResumeEnded,
)
from slackwater.facts.making import maker
from slackwater.facts.messages import Request, StopPump
from slackwater.facts.now import Now, proven_ms
from slackwater.facts.reasons import Code, because
from slackwater.facts.sight import Inbox, Sight
from slackwater.facts.state import State
from slackwater.gate.by_hand import line_by_hand
from slackwater.gate.interlocks import clock_is_trusted, has_inputs, may_go_on
from slackwater.gate.moment import Ask, Moment
from slackwater.gate.resuming import begin_again, has_recovered, must_resume
from slackwater.pump.outcome import Stamp, settle_by_time
from slackwater.turn.deciding import Decided, decide
from slackwater.turn.exchanging import tend
from slackwater.turn.judging import judge_news
from slackwater.turn.listening import hear
from slackwater.turn.setup import Setup, Turn
from slackwater.turn.watching import has_to_watch, watch

# Wall and boot-time clock may differ by this much from one turn to the next.
STEP_S = 2.0
STEP = timedelta(seconds=STEP_S)
TICK = timedelta(seconds=1)
INSTANT = timedelta(microseconds=1)

_moment_of = maker(Moment)
_turn_of = maker(Turn)


def turn(now: Now, state: State, inbox: Inbox, setup: Setup) -> Turn:
    """One step: what to write down, what to do then, when to look again."""
    moment = _moment(now, state, inbox, setup)
    stamp: Stamp = {
        "at": now.utc,
        "boot_s": now.boot_s,
        "proven_ms": moment.proven_ms,
    }
    scanned = inbox.sight.scanned_until or _scan_from(state, setup, now)
    stops: tuple[StopPump, ...] = ()
    # With no hold, no approval withdrawn and no input nothing ends a run.
    if state.open and (state.holds or state.withdrawn or has_inputs(moment)):
        stops = tuple(_stops(moment))
    heard: list[AnyEvent] = []
    if inbox.messages:
        stops = (*stops, *_asked_stops(moment, inbox))
        heard = _listen(moment, inbox, stamp)
    if heard or (heard := _house(moment, stamp)):
        return _turn_of(
            events=tuple(heard), effects=stops, wake_at=now.utc, scanned_until=scanned
        )
    if not _may_decide(moment):
        return Turn(effects=stops, wake_at=now.utc + TICK, scanned_until=scanned)
    decided = decide(moment, setup, scanned, stamp)
    waiting = decided.oldest_waiting
    until = decided.looked_until or now.utc
    return _turn_of(
        events=tuple(decided.events),
        effects=(*stops, *decided.commands),
        wake_at=_wake(now, setup, decided),
        scanned_until=until if waiting is None else waiting - INSTANT,
        unfinished=decided.looked_until is not None,
    )


def moment_at(now: Now, state: State, sight: Sight, setup: Setup) -> Moment:
    """What a decision would look at now, for those who only look."""
    return _moment(now, state, Inbox(sight=sight), setup)


def _moment(now: Now, state: State, inbox: Inbox, setup: Setup) -> Moment:
    machine, rules, approval = setup.machine, setup.bare, None
    for force in reversed(setup.forces):
        if force.approval.takes_over_at <= now.utc:
            machine, rules, approval = force.machine, force.rules, force.approval
            break
    mark = state.mark
    return _moment_of(
        now=now,
        proven_ms=0 if mark is None else proven_ms(mark, now),
        state=state,
        sight=inbox.sight,
        machine=machine,
        rules=rules,
        approval=approval,
    )


def _scan_from(state: State, setup: Setup, now: Now) -> datetime:
    """Where an unbroken look at due doses must begin after a start.

    Never before the stage began: what was only imagined until then is not missed.
    """
    late = timedelta(seconds=setup.machine.timing.lateness_s)
    since = (state.decided_at or now.utc) - late - TICK
    return since if state.stage_since is None else max(since, state.stage_since)


def _may_decide(moment: Moment) -> bool:
    state, utc = moment.state, moment.now.utc
    newest = state.newest_at
    if newest is not None and utc < newest and utc < newest - STEP:
        return False
    if state.holds and Code.CLOCK_JUMPED in state.holds:
        return False
    return clock_is_trusted(moment)


def _listen(moment: Moment, inbox: Inbox, stamp: Stamp) -> list[AnyEvent]:
    """Entries of all messages; two that speak of the same thing count once."""
    if len(inbox.messages) == 1:
        return list(hear(moment, inbox.messages[0], stamp))
    events: dict[tuple[str, str, str | int], AnyEvent] = {}
    for message in inbox.messages:
        for event in hear(moment, message, stamp):
            events.setdefault(_about(event), event)
    return list(events.values())


def _about(event: AnyEvent) -> tuple[str, str, str | int]:
    """What an entry is about: one of a kind per attempt, hold, request or source.

    Senders far away choose the names of requests: one tank's is not another's.
    """
    named = (getattr(event, name, "") for name in _NAMES)
    # What names nothing is about itself.
    value = next(filter(None, named), id(event))
    settled = event.kind in ("dose_ended", "dose_sealed", "dose_voided")
    tank = event.tank if isinstance(event, RequestHeard | LevelEntered) else ""
    return "settled" if settled else event.kind, tank, value


_NAMES = ("attempt", "hold_id", "request", "probe", "source", "alarm", "serial")


def _house(moment: Moment, stamp: Stamp) -> list[AnyEvent]:
    """Clock steps, expired pauses, silent intents, coming back after a gap."""
    state = moment.state
    events: list[AnyEvent] = []
    step_s = _clock_step_s(moment)
    has_jumped = abs(step_s) > STEP_S
    if has_jumped:
        events += _clock_step(moment, step_s, stamp)
    if state.holds:
        events += _expired(moment, stamp)
    if not has_jumped and has_to_watch(moment):
        events += watch(moment, stamp)
    if state.tests:
        events += judge_news(moment, stamp)
    if state.open:
        events += settle_by_time(state, stamp)
    if moment.machine.exchanges:
        events += tend(moment, stamp)
    if state.wanting or state.resuming or begin_again(moment):
        for tank in sorted(moment.machine.tanks):
            events += _resume(moment, tank, stamp)
    return events


def _expired(moment: Moment, stamp: Stamp) -> Iterator[HoldReleased]:
    for hold_id, hold in sorted(moment.state.holds.items()):
        if hold.until is not None and moment.now.utc >= hold.until:
            yield HoldReleased(**stamp, hold_id=hold_id, by="daemon", why="time passed")


def _clock_step_s(moment: Moment) -> float:
    """How far the wall clock went beyond the boot-time clock since the last turn."""
    before, now = moment.sight.previous, moment.now
    if before is None or before.boot_id != now.boot_id:
        return 0.0
    wall_s = (now.utc - before.utc).total_seconds()
    return wall_s - (now.boot_s - before.boot_s)


def _clock_step(moment: Moment, step_s: float, stamp: Stamp) -> Iterator[HoldRaised]:
    before = moment.sight.previous
    if before is None or Code.CLOCK_JUMPED in moment.state.holds:
        return
    # A clock nobody vouched for decided nothing; being set right is no jump.
    if clock_is_trusted(replace(moment, now=before)):
        yield HoldRaised(
            **stamp,
            hold_id=Code.CLOCK_JUMPED,
            scope="all",
            reason=because(Code.CLOCK_JUMPED, step_s=round(step_s, 1)),
            latched=True,
        )


def _resume(moment: Moment, tank: str, stamp: Stamp) -> Iterator[AnyEvent]:
    if tank in moment.state.resuming:
        if has_recovered(moment, tank):
            yield ResumeEnded(**stamp, tank=tank)
    elif must_resume(moment, tank):
        key = f"{tank}/alkalinity"
        given = moment.state.believed.get(key)
        wanted = moment.state.planned.get(key)
        yield ResumeBegan(
            **stamp,
            tank=tank,
            planned=0 if wanted is None else wanted.total,
            believed=0 if given is None else given.total,
        )


def _stops(moment: Moment) -> Iterator[StopPump]:
    """A running dose that may not go on is stopped, again each turn until it is."""
    for _, known in sorted(moment.state.open.items()):
        if _may_not_go_on(moment, known.intent):
            command = known.intent.command
            yield StopPump(node=command.node, channel=command.channel)


def _may_not_go_on(moment: Moment, intent: DoseIntended) -> bool:
    """Whether its approval was withdrawn, or an interlock reaches it by now."""
    dose = intent.dose
    if intent.in_water and intent.serial in moment.state.withdrawn:
        return True
    rule = moment.rules.pumps.get(dose.pump)
    # Of a pump that is gone nobody can say what reaches it: it does not go on.
    if rule is None:
        return True
    line = moment.rules.lines.get(f"{dose.tank}/{dose.line}")
    if intent.dose_kind == "manual":
        line = line_by_hand(rule, dose.volume_ul)
    ask = Ask(dose=dose, kind=intent.dose_kind, pump=rule, line=line)
    return not may_go_on(moment, ask)


def _asked_stops(moment: Moment, inbox: Inbox) -> list[StopPump]:
    """A stop asked for from afar reaches every pump head of its tank at once."""
    stops: list[StopPump] = []
    for message in inbox.messages:
        if isinstance(message, Request) and message.act == "stop":
            stops += [
                StopPump(node=pump.node, channel=pump.channel)
                for _, pump in sorted(moment.machine.pumps.items())
                if pump.tank == message.tank
            ]
    return stops


def _wake(now: Now, setup: Setup, decided: Decided) -> datetime | None:
    """At once where one made room, in a second while any waits, else when due."""
    if decided.again or decided.looked_until is not None:
        return now.utc
    if decided.oldest_waiting is not None:
        return now.utc + TICK
    if len(setup.forces) == 1:
        return setup.forces[0].timetable.next_after(now.utc)
    soonest = [force.timetable.next_after(now.utc) for force in setup.forces]
    return min((due for due in soonest if due is not None), default=None)
