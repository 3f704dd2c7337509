"""Which doses are due, late or allowed, and the intents of a turn.

Floor 4. One subject: from due doses to entries. Laws here: a dose identity is used
once for ever, and looked at once in a turn, for two plans may both name it; late is
missed and stays missed; at most one intent per tank and per node in a turn, so that no
intent rests on a state that lacks one it shares a cap with.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from itertools import islice, repeat
from zoneinfo import ZoneInfo

from slackwater.facts.events import AnyEvent, DoseHeld, DoseIntended, DoseMissed
from slackwater.facts.lives import as_named, was_given, without_times
from slackwater.facts.making import maker
from slackwater.facts.messages import RunPump
from slackwater.facts.plan import OUT_OF_WATER, DueDose
from slackwater.facts.reasons import Code, Reason, because
from slackwater.facts.state import State
from slackwater.facts.tank import Pump
from slackwater.gate.by_hand import line_by_hand
from slackwater.gate.handover import is_old_dosers
from slackwater.gate.moment import Ask, Moment
from slackwater.gate.verdict import Granted, effects_of, may_dose
from slackwater.planning.wall import day_at
from slackwater.pump.command import command_for, flow_end_ms
from slackwater.pump.outcome import Stamp
from slackwater.turn.absences import Absence, is_spanned
from slackwater.turn.exchanging import part_of
from slackwater.turn.setup import Force, Setup

INSTANT = timedelta(microseconds=1)
# While one of these holds stands, nobody knows what was given before it was raised.
FORGETFUL = (Code.LEDGER_RESTORED, Code.LEDGER_FORGETS)
# A clock may jump by a century, which is millions of doses: whoever looked at them all
# at once would be taken for dead by its watchdog, start again, and look once more.
LOOKED_AT_ONCE = 50_000

_ask_of = maker(Ask)
_dose_intended = maker(DoseIntended)


@dataclass(slots=True, kw_only=True)
class Decided:
    """What one pass over the due doses came to.

    `again` says that a dose waits only because its tank had an intent in this turn:
    it can be looked at as soon as that one is charged. `looked_until` is None where
    every due dose was looked at, else when the last of those that were was due.
    """

    events: list[AnyEvent]
    commands: list[RunPump]
    nodes_taken: set[str]
    tanks_taken: set[str]
    oldest_waiting: datetime | None = None
    looked_until: datetime | None = None
    again: bool = False

    def has_room(self, pump: Pump) -> bool:
        """Whether neither the pump's node nor its tank has an intent in this turn."""
        return pump.node not in self.nodes_taken and pump.tank not in self.tanks_taken

    def intend(self, made: DoseIntended) -> None:
        """Take an intent in, and close its node and tank for this turn."""
        self.events.append(made)
        self.commands.append(made.command)
        self.nodes_taken.add(made.command.node)
        self.tanks_taken.add(made.dose.tank)


_decided = maker(Decided)


def due_doses(
    setup: Setup, after: datetime, until: datetime
) -> Iterator[tuple[Force, DueDose]]:
    """Doses due in a span, each from the plan that is in force at its due time.

    They come in order of time, and are laid out as they are asked for.
    """
    forces = setup.forces
    if len(forces) == 1 and after >= forces[0].approval.takes_over_at:
        # The rule: one plan, in force all the while.
        return zip(repeat(forces[0]), forces[0].timetable.one_by_one(after, until))
    found = _in_force(forces, after, until)
    return found if len(forces) == 1 else _each_once(found)


def _in_force(
    forces: tuple[Force, ...], after: datetime, until: datetime
) -> Iterator[tuple[Force, DueDose]]:
    for index, force in enumerate(forces):
        start, end = force.approval.takes_over_at, until
        if index + 1 < len(forces):
            change = forces[index + 1].approval.takes_over_at
            end = min(until, change - INSTANT)
        first = after if after >= start else max(after, start - INSTANT)
        if first < end:
            yield from zip(repeat(force), force.timetable.one_by_one(first, end))


def _each_once(
    found: Iterator[tuple[Force, DueDose]],
) -> Iterator[tuple[Force, DueDose]]:
    """An identity that two plans name belongs to the earlier one."""
    seen: set[str] = set()
    for force, dose in found:
        if dose.id not in seen:
            seen.add(dose.id)
            yield force, dose


def decide(moment: Moment, setup: Setup, after: datetime, stamp: Stamp) -> Decided:
    """Look at every dose due since `after` that nobody decided yet."""
    utc, state, pumps = moment.now.utc, moment.state, moment.rules.pumps
    decided = _decided(
        events=[],
        commands=[],
        nodes_taken=_busy_nodes(moment) if state.open else set(),
        tanks_taken=set(),
    )
    if state.requests:
        _shots(moment, decided, stamp)
    used = state.used
    absence: Absence | None = None
    spanned = state.spans or state.unknown_spans
    due = due_doses(setup, after, utc)
    for force, planned in islice(due, LOOKED_AT_ONCE):
        dose = as_named(state, planned)
        if dose.id in used:
            continue
        if spanned and is_spanned(state, dose):
            continue
        missed = _missed(moment, force, dose)
        if missed is not None:
            absence = absence or Absence(until=utc)
            if not absence.takes(dose, missed):
                decided.events.append(_miss(force, dose, (missed, stamp)))
        elif decided.has_room(pump := pumps[dose.pump].pump):
            _try(moment, (force, dose), decided, stamp)
        else:
            _wait(decided, dose)
            decided.again = decided.again or pump.node not in decided.nodes_taken
    if absence is not None:
        decided.events[:0] = absence.told(stamp)
    for _, dose in due:
        decided.looked_until = dose.due_at - INSTANT
        break
    return decided


def _shots(moment: Moment, decided: Decided, stamp: Stamp) -> None:
    """Runs that a person on the machine asked for, oldest first."""
    for request in moment.state.requests.values():
        rule = moment.rules.pumps.get(request.pump)
        if rule is None or request.request in moment.state.used:
            continue
        zone = ZoneInfo(moment.machine.tanks[rule.pump.tank].zone)
        day = moment.now.utc.astimezone(zone).date()
        dose = DueDose(
            id=request.request,
            line="",
            tank=rule.pump.tank,
            pump=request.pump,
            local_day=day,
            ordinal=1,
            due_at=request.at,
            latest_at=request.until,
            volume_ul=request.volume_ul,
        )
        if moment.now.utc > request.until:
            expired = (because(Code.REQUEST_EXPIRED),)
            decided.events.append(DoseMissed(**stamp, dose=dose, reasons=expired))
        elif decided.has_room(rule.pump):
            line = None
            if request.purpose == "manual":
                line = line_by_hand(rule, request.volume_ul)
            ask = Ask(dose=dose, kind=request.purpose, pump=rule, line=line)
            _ask_gate(moment, ask, day, (decided, stamp))


def _ask_gate(moment: Moment, ask: Ask, day: date, into: tuple[Decided, Stamp]) -> None:
    """Intend it, or put on record that it waits, or that it never can run."""
    decided, stamp = into
    verdict = may_dose(moment, ask, day)
    reasons: tuple[Reason, ...]
    if isinstance(verdict, Granted):
        made = _intend(moment, ask, verdict, (day, stamp))
        if isinstance(made, DoseIntended):
            decided.intend(made)
            return
        reasons, final = (made,), True
    else:
        reasons, final = verdict.reasons, verdict.final
    if final:
        effects = effects_of(ask, ask.dose.volume_ul) if ask.kind == "plan" else {}
        missed = DoseMissed(**stamp, dose=ask.dose, reasons=reasons, effects=effects)
        decided.events.append(missed)
        return
    if _is_news(moment.state.held.get(ask.dose.id), ask, reasons):
        held = DoseHeld(
            **stamp, dose_id=ask.dose.id, pump=ask.dose.pump, reasons=reasons
        )
        decided.events.append(held)
    if ask.kind == "plan":
        _wait(decided, ask.dose)


def _is_news(told: DoseHeld | None, ask: Ask, reasons: tuple[Reason, ...]) -> bool:
    """Whether it is not on record yet why it waits.

    Somebody stands beside what was asked for and looks why: a reason of another kind is
    told as well. What the plan gives is told once, lest a bad day fills the ledger.
    """
    if told is None:
        return True
    known = {reason.code for reason in told.reasons}
    return ask.kind != "plan" and not known & {reason.code for reason in reasons}


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
    state, swap = moment.state, force.approval.left_out_until
    if state.again and was_given(state, dose, moment.proven_ms):
        return (because(Code.GIVEN_BEFORE),)
    # The rule: nobody left a line to another, swapped plans or skipped a dose.
    if state.left_to_old or state.taken_over or state.skipped or swap is not None:
        meant = _not_meant(moment, force, dose)
        if meant is not None:
            return (meant,)
    # A dose of the plan before waits for a pump that may have gone with its plan.
    rule = moment.rules.pumps.get(dose.pump)
    if rule is None or rule.pump.tank != dose.tank:
        return (because(Code.PUMP_CHANGED, pump=dose.pump),)
    if moment.now.utc <= dose.latest_at:
        return _may_be_given(state)
    held = state.held.get(dose.id)
    if held is not None:
        return (because(Code.WINDOW_PASSED), *held.reasons)
    return (because(Code.WINDOW_PASSED), because(Code.NOT_RUNNING))


def _may_be_given(state: State) -> tuple[Reason, ...] | None:
    """Why a dose that is due may be in the water though no entry says so.

    By a clock that was behind when a ledger was put back it was still to come then.
    """
    for code in FORGETFUL if state.holds else ():
        if code in state.holds:
            return (because(code),)
    return None


def _not_meant(moment: Moment, force: Force, dose: DueDose) -> Reason | None:
    """Why nobody wants this dose of us: another's line, left out, skipped."""
    line = f"{dose.tank}/{dose.line}"
    if is_old_dosers(moment.state, line, dose.due_at):
        return because(Code.OLD_DOSER, line=line)
    swap = force.approval.left_out_until
    if swap is not None and dose.due_at < swap:
        return because(Code.PLAN_SWAP)
    skipped = moment.state.skipped
    # Whoever skipped it may have done so before its day was to be lived again.
    request = skipped.get(dose.id) or skipped.get(without_times(dose.id))
    return None if request is None else because(Code.SKIPPED, request=request)


def _miss(
    force: Force,
    dose: DueDose,
    why: tuple[tuple[Reason, ...], Stamp],
) -> DoseMissed:
    reasons, stamp = why
    # What another one gives was not planned of us: no gap lies behind it.
    if reasons[0].code is Code.OLD_DOSER:
        return DoseMissed(**stamp, dose=dose, reasons=reasons)
    rule = force.rules.pumps[dose.pump]
    effects = {each.parameter: each.per_ul * dose.volume_ul for each in rule.effects}
    return DoseMissed(**stamp, dose=dose, reasons=reasons, effects=effects)


def _try(
    moment: Moment, due: tuple[Force, DueDose], decided: Decided, stamp: Stamp
) -> None:
    """Ask the gate for a dose as its own plan lays it, on the pump as it is now."""
    force, dose = due
    ask = _ask_of(
        dose=dose,
        kind="plan",
        pump=moment.rules.pumps[dose.pump],
        line=force.rules.lines.get(f"{dose.tank}/{dose.line}"),
    )
    zone = moment.machine.tanks[dose.tank].zone
    day = day_at(zone, moment.now.utc, dose.local_day)
    _ask_gate(moment, ask, day, (decided, stamp))


def _intend(
    moment: Moment, ask: Ask, granted: Granted, when: tuple[date, Stamp]
) -> DoseIntended | Reason:
    """The durable intent of a granted dose, charged in full from here on."""
    day, stamp = when
    pump = ask.pump.pump
    command = command_for(moment, ask.dose, granted.volume_ul)
    if isinstance(command, Reason):
        return command
    in_water = ask.kind not in OUT_OF_WATER
    # More than fifteen named arguments are gathered into a dict first, which is slow.
    made = _dose_intended(
        at=stamp["at"],
        boot_s=stamp["boot_s"],
        proven_ms=stamp["proven_ms"],
        dose=ask.dose,
        dose_kind=ask.kind,
        command=command,
        planned_ul=ask.dose.volume_ul,
        solution=pump.solution,
        local_day=day,
        odo_ul=moment.sight.nodes[pump.node].beat.channels[pump.channel].odo_ul,
        flow_end_ms=flow_end_ms(moment, command),
        effects=granted.effects if in_water else {},
        planned_effects=_planned_effects(ask, granted) if ask.kind == "plan" else {},
        in_water=in_water,
        serial=0 if moment.approval is None else moment.approval.serial,
    )
    if moment.machine.exchanges:
        exchange, counted_ul = part_of(moment, ask)
        made = replace(made, exchange=exchange, counted_ul=counted_ul)
    if granted.volume_ul == ask.dose.volume_ul:
        return made
    return replace(made, verdict="shortened", reasons=granted.reasons)


def _planned_effects(ask: Ask, granted: Granted) -> Mapping[str, int]:
    """What the plan wanted; the very same record when nothing was shortened.

    Where doses are halved on purpose, half is what was wanted: no gap lies behind.
    """
    if granted.volume_ul == ask.dose.volume_ul:
        return granted.effects
    if any(reason.code is Code.HALVED for reason in granted.reasons):
        half_ul = ask.dose.volume_ul // 2
        return effects_of(ask, max(half_ul, granted.volume_ul))
    return effects_of(ask, ask.dose.volume_ul)
