"""Which doses are due, late or allowed, and the one intent of a turn.

Floor 4. One subject: from due doses to entries. Laws here: a dose identity is used
once for ever; late is missed and stays missed; at most one intent per turn.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from slackwater.facts.events import AnyEvent, DoseHeld, DoseIntended, DoseMissed
from slackwater.facts.messages import RunPump
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Code, Reason, because
from slackwater.gate.moment import Ask, Moment
from slackwater.gate.verdict import Granted, effects_of, may_dose
from slackwater.pump.command import Sending, command_for, flow_end_ms
from slackwater.pump.outcome import Stamp
from slackwater.turn.setup import Force, Setup


@dataclass(slots=True)
class Decided:
    """What one pass over the due doses came to."""

    events: list[AnyEvent] = field(default_factory=list)
    command: RunPump | None = None
    oldest_waiting: datetime | None = None


def due_doses(
    setup: Setup, after: datetime, until: datetime
) -> Iterator[tuple[Force, DueDose]]:
    """Doses due in a span, each from the plan that is in force at its due time."""
    for index, force in enumerate(setup.forces):
        start, end = force.approval.takes_over_at, until
        if index + 1 < len(setup.forces):
            change = setup.forces[index + 1].approval.takes_over_at
            end = min(until, change - timedelta(microseconds=1))
        first = max(after, start - timedelta(microseconds=1))
        if first < end:
            for dose in force.timetable.between(first, end):
                yield force, dose


def decide(moment: Moment, setup: Setup, after: datetime, stamp: Stamp) -> Decided:
    """Look at every dose due since `after` that nobody decided yet."""
    decided = Decided()
    utc = moment.now.utc
    busy = _busy_nodes(moment)
    for force, dose in due_doses(setup, after, utc):
        if dose.id in moment.state.used:
            continue
        missed = _missed(moment, force, dose)
        if missed is not None:
            decided.events.append(_miss(force, dose, (missed, stamp)))
        elif (
            decided.command is None
            and force.rules.pumps[dose.pump].pump.node not in busy
        ):
            _try(moment, force, dose, decided, stamp)
        else:
            _wait(decided, dose)
    return decided


def _busy_nodes(moment: Moment) -> set[str]:
    """Nodes with a run that is still within its time: others simply wait for it.

    One that stays silent is not left out here: the gate then says so on record.
    """
    patience_ms = int(moment.machine.timing.node_silence_s * 1000)
    return {
        known.intent.command.node
        for known in moment.state.open.values()
        if moment.proven_ms - known.intent.proven_ms <= patience_ms
    }


def _wait(decided: Decided, dose: DueDose) -> None:
    if decided.oldest_waiting is None:
        decided.oldest_waiting = dose.due_at


def _missed(moment: Moment, force: Force, dose: DueDose) -> tuple[Reason, ...] | None:
    """Why a dose can no longer run; None while it can."""
    swap = force.approval.left_out_until
    if swap is not None and dose.due_at < swap:
        return (because(Code.PLAN_SWAP),)
    if dose.id in moment.state.skipped:
        request = moment.state.skipped[dose.id]
        return (because(Code.SKIPPED, request=request),)
    if dose.pump not in force.rules.pumps:
        return (because(Code.PUMP_CHANGED, pump=dose.pump),)
    if moment.now.utc <= dose.latest_at:
        return None
    held = moment.state.held.get(dose.id)
    if held is not None:
        return (because(Code.WINDOW_PASSED), *held.reasons)
    return (because(Code.WINDOW_PASSED), because(Code.NOT_RUNNING))


def _ask(force: Force, dose: DueDose) -> Ask:
    return Ask(
        dose=dose,
        kind="plan",
        pump=force.rules.pumps[dose.pump],
        line=force.rules.lines.get(f"{dose.tank}/{dose.line}"),
    )


def _miss(
    force: Force,
    dose: DueDose,
    why: tuple[tuple[Reason, ...], Stamp],
) -> DoseMissed:
    reasons, stamp = why
    known = dose.pump in force.rules.pumps
    effects = effects_of(_ask(force, dose), dose.volume_ul) if known else {}
    return DoseMissed(**stamp, dose=dose, reasons=reasons, effects=effects)


def _try(
    moment: Moment, force: Force, dose: DueDose, decided: Decided, stamp: Stamp
) -> None:
    """Ask the gate; an intent, a hold on record, or a final refusal."""
    ask = _ask(force, dose)
    zone = ZoneInfo(moment.machine.tanks[dose.tank].zone)
    day = moment.now.utc.astimezone(zone).date()
    verdict = may_dose(moment, ask, day)
    if isinstance(verdict, Granted):
        made = _intend(moment, ask, verdict, stamp)
        if isinstance(made, DoseIntended):
            decided.events.append(made)
            decided.command = made.command
            return
        verdict_reasons: tuple[Reason, ...] = (made,)
        final = True
    else:
        verdict_reasons, final = verdict.reasons, verdict.final
    if final:
        decided.events.append(_miss(force, dose, (verdict_reasons, stamp)))
        return
    if dose.id not in moment.state.held:
        decided.events.append(
            DoseHeld(**stamp, dose_id=dose.id, pump=dose.pump, reasons=verdict_reasons)
        )
    _wait(decided, dose)


def _intend(
    moment: Moment, ask: Ask, granted: Granted, stamp: Stamp
) -> DoseIntended | Reason:
    """The durable intent of a granted dose, charged in full from here on."""
    pump = ask.pump.pump
    seen = moment.sight.nodes[pump.node]
    sending = Sending(
        machine=moment.machine,
        state=moment.state,
        seen=seen,
        boot_s=moment.now.boot_s,
        proven_ms=moment.proven_ms,
    )
    command = command_for(sending, ask.dose, granted.volume_ul)
    if isinstance(command, Reason):
        return command
    zone = ZoneInfo(moment.machine.tanks[pump.tank].zone)
    shortened = granted.volume_ul < ask.dose.volume_ul
    return DoseIntended(
        **stamp,
        dose=ask.dose,
        dose_kind=ask.kind,
        command=command,
        planned_ul=ask.dose.volume_ul,
        solution=pump.solution,
        local_day=moment.now.utc.astimezone(zone).date(),
        odo_ul=seen.beat.channels[pump.channel].odo_ul,
        flow_end_ms=flow_end_ms(sending, command),
        verdict="shortened" if shortened else "granted",
        reasons=granted.reasons,
        effects=granted.effects,
        planned_effects=effects_of(ask, ask.dose.volume_ul),
        serial=0 if moment.approval is None else moment.approval.serial,
    )
