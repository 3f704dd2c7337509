"""The loop: gather, turn, append, act, wait.

Floor 7. One subject: one pass. Laws here: write, then act; a moved ledger means
deciding anew on the news; an effect is carried out once, after its entry is durable;
named points are audited, so that tests can end the process exactly there.
"""

import sys
from collections.abc import Iterable, Sequence

import structlog
from structlog.typing import FilteringBoundLogger

from slackwater.errors import Finding, LedgerMovedError, NotConnectedError
from slackwater.facts.events import (
    AnyEvent,
    ClockConfirmed,
    DoseHanded,
    DoseIntended,
    DoseMissed,
)
from slackwater.facts.messages import Effect, Message, RunPump, StopPump, Tell
from slackwater.facts.now import Now, proven_ms
from slackwater.facts.reasons import Code, because
from slackwater.facts.sight import Inbox, see
from slackwater.facts.tank import Machine
from slackwater.facts.vouching import look_back
from slackwater.pump.outcome import Stamp
from slackwater.service import logs
from slackwater.service.conformity import conforming
from slackwater.service.keeping import inputs_were_kept, with_inputs
from slackwater.service.telling import tells
from slackwater.service.wiring import Rig, is_link_message, listened_to, setup_from
from slackwater.turn.setup import Turn
from slackwater.turn.step import STEP_S, turn

# A pass that never comes to rest is a fault; this many turns is far beyond any burst.
TURNS_AT_MOST = 10_000
# Somebody else may be first now and then. More often in one pass, and the ledger
# refuses this very entry, for example a dose it already holds: no turn will mend that.
MOVES_AT_MOST = 20
# How often a stop is repeated until the pump stands (contract, timing).
STOP_AGAIN_S = 1.0
# Entries that change what the daemon is set up with.
RESETTING = frozenset({"plan_approved", "plan_withdrawn", "caps_lowered"})
# Entries after which whoever looks on should not see the old picture for long.
SHOWN = frozenset(
    {
        "alarm_changed",
        "alarm_raised",
        "dose_ended",
        "dose_intended",
        "dose_missed",
        "entry_settled",
        "hold_raised",
        "hold_released",
        "measurement_kept",
        "request_heard",
    }
)
# Entries after which another answer to why may be the true one; an alarm, since what
# it tells of may be nothing that the ledger shows. Holds are none of them: whoever
# answers sees those in the ledger.
EXPLAINED_ANEW = frozenset(
    {
        "alarm_changed",
        "alarm_raised",
        "away_declared",
        "away_ended",
        "bypass_ended",
        "bypass_granted",
        "calibrated",
        "entry_settled",
        "husbandry_noted",
        "level_entered",
        "measurement_kept",
        "measurement_struck",
        "plan_approved",
        "probe_put_back",
        "probe_taken_out",
        "reservoir_filled",
    }
)
RESTAGING = frozenset({"pumps_enabled", "pumps_disabled"})

_log: FilteringBoundLogger = structlog.get_logger()


def point(name: str, *kinds: str) -> None:
    """A named point of the life of a dose; free unless an audit hook listens.

    `kinds` says what it is about: kinds of entries, or of messages.
    """
    sys.audit(f"slackwater.{name}", *kinds)


def one_pass(rig: Rig, timeout_s: float) -> None:
    """Gather, decide until nothing more happens, act."""
    messages = rig.gather(timeout_s)
    now = rig.clock.now()
    point("heard", *(type(message).__name__ for message in messages))
    for message in messages:
        see(rig.sight, message)
    rig.look_at_links(now.utc, told=any(map(is_link_message, messages)))
    take_news(rig)
    moved = 0
    for _ in range(TURNS_AT_MOST):
        done = _one_turn(rig, now, messages)
        if done is None:
            moved += 1
            if moved > MOVES_AT_MOST:
                raise LedgerMovedError(_never_first())
            take_news(rig)
            continue
        if done.unfinished or (not done.events and not messages):
            rig.alarm.wake_at(done.wake_at)
            break
        messages = ()
    if _stepped(rig, now):
        rig.alarm.rebuild()
    rig.sight.previous = now


def _never_first() -> Finding:
    return Finding(
        what=f"the ledger refused the same decision {MOVES_AT_MOST} times",
        where="slackwater.ledger",
        expected="an entry that follows from what the ledger holds",
        do="Nothing was sent. Run `slackwater ledger verify`; start again.",
    )


def take_news(rig: Rig) -> None:
    """Fold what others wrote; a rig that no longer fits begins nothing new.

    That is when somebody changed the stage, or approved a machine with other nodes,
    tanks, probes or switches than this rig listens to.
    """
    news = rig.memory.news()
    kinds = {event.kind for event in news}
    for event in news:
        if isinstance(event, ClockConfirmed):
            look_back(rig.sight, event.at)
            kept = rig.kept_until.items()
            rig.kept_until = {probe: min(at, event.at) for probe, at in kept}
    _show_soon(rig, kinds)
    if "hold_released" in kinds:
        rig.connect_again()
    deaf = False
    # A calibration session never takes up a plan: it is there for shots alone.
    if kinds & RESETTING and rig.mode != "calibrate" and not rig.closing:
        before = listened_to(rig.setup)
        _reset(rig)
        deaf = _is_deaf(before, listened_to(rig.setup))
    if kinds & RESTAGING or deaf:
        # Not even the pass that reads it may begin a dose any more.
        rig.begin_nothing_new()


def _reset(rig: Rig) -> None:
    """Set up anew with what stands in the ledger now."""
    rig.setup = setup_from(rig.memory.state, rig.setup.machine)
    # What the file holds lower than the approval that is the newest now.
    rig.chores.put("look")
    rig.chores.put("show")
    point("setup_read")
    _log.info(logs.SETUP_READ, approvals=len(rig.memory.state.approvals))


def _is_deaf(before: Machine, after: Machine) -> bool:
    """Whether a rig made for one machine would miss what another listens to."""
    return not (
        after.tanks.keys() <= before.tanks.keys()
        and after.nodes.keys() <= before.nodes.keys()
        and after.probes.items() <= before.probes.items()
        and after.switches.items() <= before.switches.items()
        and _relays(after).items() <= _relays(before).items()
    )


def _relays(machine: Machine) -> dict[str, object]:
    """What is said of each relay, and of how long it may be on."""
    return {
        node.id: (node.relay, node.cut_limit_ms, node.day_limit_ul)
        for node in machine.nodes.values()
        if node.relay is not None
    }


def _one_turn(rig: Rig, now: Now, messages: tuple[Message, ...]) -> Turn | None:
    """One turn, written and carried out; None when the ledger had moved."""
    inbox = Inbox(sight=rig.sight, messages=messages)
    done = conforming(rig, turn(now, rig.memory.state, inbox, rig.setup), now)
    point("decided", *(event.kind for event in done.events))
    events = with_inputs(rig, done.events, now)
    if events and not write(rig, events):
        missed = _pass_over_used(rig, done.events)
        return Turn(events=missed) if missed else None
    inputs_were_kept(rig, events)
    rig.sight.scanned_until = done.scanned_until
    for effect in done.effects:
        _act(rig, effect, now)
    for tell in tells(done.events, rig.setup.machine):
        rig.observe.tell(tell)
    return done


def _pass_over_used(rig: Rig, events: Iterable[AnyEvent]) -> tuple[DoseMissed, ...]:
    """Let go of doses whose names the ledger has had, so that others get their turn.

    The state forgets names after some days, the ledger none: they come up again when a
    clock that was ahead for long is put right.
    """
    asked = {one.dose.id: one for one in events if isinstance(one, DoseIntended)}
    missed = tuple(
        DoseMissed(
            at=asked[name].at,
            boot_s=asked[name].boot_s,
            proven_ms=asked[name].proven_ms,
            dose=asked[name].dose,
            reasons=(because(Code.GIVEN_BEFORE),),
            # The tank goes short of it today, whatever it got then.
            effects=asked[name].planned_effects,
        )
        for name in sorted(rig.memory.intended(asked))
    )
    # Where somebody else was first this is refused as well, and news says the rest.
    return missed if missed and write(rig, missed) else ()


def stamp_of(rig: Rig) -> Stamp:
    """The three clocks for an entry of the shell's own."""
    now, mark = rig.clock.now(), rig.memory.state.mark
    return {
        "at": now.utc,
        "boot_s": now.boot_s,
        "proven_ms": 0 if mark is None else proven_ms(mark, now),
    }


def write(rig: Rig, events: Sequence[AnyEvent]) -> bool:
    """Append durably and fold; False when somebody else was first."""
    kinds = [event.kind for event in events]
    point("before_append", *kinds)
    try:
        rig.memory.append(events)
    except LedgerMovedError:
        _log.info(logs.LEDGER_MOVED)
        return False
    point("appended", *kinds)
    rig.tally.take(events)
    # What was withdrawn from afar is this daemon's own entry, and no news to it.
    if RESETTING.intersection(kinds) and rig.mode != "calibrate" and not rig.closing:
        _reset(rig)
    _show_soon(rig, kinds)
    for event in events:
        _log.info(logs.EVENT_WRITTEN, kind=event.kind, **_about(event))
    return True


def _show_soon(rig: Rig, kinds: Iterable[str]) -> None:
    """Let those who look on see what follows from entries of these kinds."""
    if SHOWN.intersection(kinds):
        rig.chores.put("show")
    if EXPLAINED_ANEW.intersection(kinds):
        rig.chores.put("glimpse")


def _about(event: AnyEvent) -> dict[str, str]:
    dose = getattr(event, "dose", None)
    about = {
        "dose_id": getattr(dose, "id", "") or getattr(event, "dose_id", ""),
        "attempt": getattr(event, "attempt", ""),
        "hold_id": getattr(event, "hold_id", ""),
    }
    return {name: value for name, value in about.items() if value}


def _act(rig: Rig, effect: Effect, now: Now) -> None:
    if isinstance(effect, RunPump):
        _run(rig, effect, now)
    elif isinstance(effect, StopPump):
        _stop(rig, effect, now)
    elif isinstance(effect, Tell):
        rig.observe.tell(effect)


def _stop(rig: Rig, command: StopPump, now: Now) -> None:
    """Send a stop, and again once a second: a node answers each one with a beat."""
    place = f"{command.node}/{command.channel}"
    sent_s = rig.stopped_s.get(place)
    if sent_s is not None and now.boot_s - sent_s < STOP_AGAIN_S:
        return
    rig.stopped_s[place] = now.boot_s
    rig.link.stop(command)
    _log.info(logs.STOP_SENT, node=command.node, channel=command.channel)


def _run(rig: Rig, command: RunPump, now: Now) -> None:
    """Send once. Whatever happens here, the intent stays charged until proof."""
    point("before_send")
    try:
        certain = rig.link.run(command)
    except NotConnectedError as error:
        _log.warning(logs.COMMAND_NOT_SENT, attempt=command.attempt, why=str(error))
        return
    point("sent")
    _log.info(logs.COMMAND_SENT, attempt=command.attempt, node=command.node)
    if not certain:
        mark = rig.memory.state.mark
        handed = DoseHanded(
            at=now.utc,
            boot_s=now.boot_s,
            proven_ms=0 if mark is None else proven_ms(mark, now),
            attempt=command.attempt,
            certain=False,
        )
        write(rig, [handed])


def _stepped(rig: Rig, now: Now) -> bool:
    before = rig.sight.previous
    if before is None:
        return False
    wall_s = (now.utc - before.utc).total_seconds()
    step_s = wall_s - (now.boot_s - before.boot_s)
    if abs(step_s) <= STEP_S:
        return False
    _log.warning(logs.CLOCK_STEPPED, step_s=round(step_s, 1))
    return True
