"""The interlocks that refuse: one function each, in one ordered table.

Floor 3. One subject: conditions under which nothing may run. Laws here: what is not
proven refuses; every function gives all its reasons; none of them can be switched
off by how the daemon runs. Those on inputs stand in `gate.watches`; a bypass reaches
those, holds they raised, and nothing else.
"""

from collections.abc import Callable, Iterator, Sequence

from slackwater.facts.events import HoldRaised
from slackwater.facts.messages import Beat, Channel
from slackwater.facts.plan import OUT_OF_WATER, Approval, Purpose
from slackwater.facts.reasons import (
    MEASURED_FIRST,
    Code,
    Figure,
    Reason,
    because,
)
from slackwater.facts.relays import Relay
from slackwater.facts.state import State
from slackwater.facts.tank import Node, Pump
from slackwater.facts.wear import measured_elsewhere
from slackwater.gate.bypass import BYPASSABLE, is_bypassed, is_left_aside
from slackwater.gate.moment import NOTHING, Ask, LineRule, Moment, PumpRule
from slackwater.gate.scopes import mates_of, reaches, reaches_group
from slackwater.gate.watches import refusing

# A ledger entry may be stamped a little after the clock was read for a turn.
CLOCK_SLACK_S = 2.0

# What an interlock gives that has nothing to say, which is the rule: made once.
NONE: tuple[Reason, ...] = ()
# Hardware and configuration of a node that nobody approved: whatever it shows.
UNSEEN = ("", "")


def refusals(moment: Moment, ask: Ask) -> list[Reason]:
    """All reasons of all interlocks, in the order of the table."""
    reasons: list[Reason] = []
    for interlock in INTERLOCKS:
        # Hardly any has something to say, and to add nothing takes longer than to look.
        if found := interlock(moment, ask):
            reasons += found
    return reasons


def clock_is_trusted(moment: Moment) -> bool:
    """Whether a time service or a person vouches for the wall clock of this boot."""
    now, state = moment.now, moment.state
    return (
        now.synchronised
        or moment.machine.clock_confirmed
        or (state.clock_confirmed_boot == now.boot_id and bool(now.boot_id))
    )


def clock(moment: Moment, _ask: Ask) -> Sequence[Reason]:
    """An unproven clock, or one before the newest entry."""
    newest, utc = moment.state.newest_at, moment.now.utc
    if moment.now.synchronised and newest is not None and newest <= utc:
        return NONE
    reasons = [] if clock_is_trusted(moment) else [because(Code.CLOCK_UNPROVEN)]
    if newest is not None and newest > utc:
        behind_s = (newest - utc).total_seconds()
        if behind_s > CLOCK_SLACK_S:
            reasons.append(because(Code.CLOCK_BEHIND, behind_s=int(behind_s)))
    return reasons


def disk(moment: Moment, _ask: Ask) -> Sequence[Reason]:
    """Too little room for the ledger to go on."""
    free, least = moment.sight.free_bytes, moment.machine.timing.free_space_bytes
    if free is None or free >= least:
        return NONE
    return [because(Code.LEDGER_FULL, free_bytes=free, least_bytes=least)]


def start(moment: Moment, _ask: Ask) -> Sequence[Reason]:
    """The first moments after the daemon took charge."""
    up_s = moment.now.boot_s - moment.sight.started_boot_s
    wait_s = moment.machine.timing.start_hold_off_s
    if up_s >= wait_s:
        return NONE
    return [because(Code.START_HOLD_OFF, left_s=int(wait_s - up_s) + 1)]


def approval(moment: Moment, ask: Ask) -> Sequence[Reason]:
    """A plan dose needs an approval in force, and the pump it was given for."""
    if ask.kind in OUT_OF_WATER:
        return NONE
    approval, rule = moment.approval, ask.line
    if approval is None or rule is None:
        return [because(Code.NO_PLAN)]
    if approval.serial in moment.state.withdrawn:
        return [because(Code.NO_PLAN, withdrawn=approval.serial)]
    reasons = []
    if is_over(moment, approval, rule.line.purpose):
        expired = approval.expires_at.isoformat()
        reasons.append(because(Code.APPROVAL_EXPIRED, expired_at=expired))
    pump, line = ask.pump.pump, rule.line
    if line.pump != pump.id or line.solution != pump.solution:
        changed = because(Code.PUMP_CHANGED, pump=pump.id, solution=pump.solution)
        reasons.append(changed)
    known = moment.state.calibrations.get(pump.id)
    if place := measured_elsewhere(known, pump):
        moved = because(Code.PUMP_CHANGED, pump=pump.id, measured_on=place)
        reasons.append(moved)
    if known is not None and known.cal != approval.calibrations.get(pump.id, ""):
        newer = because(Code.CALIBRATION_CHANGED, pump=pump.id, calibration=known.cal)
        reasons.append(newer)
    return reasons


def is_over(moment: Moment, approval: Approval, purpose: Purpose) -> bool:
    """Whether an approval allows nothing of this purpose any more.

    By the latest time that can be believed: a clock set back prolongs nothing.
    """
    utc, newest = moment.now.utc, moment.state.newest_at
    latest = utc if newest is None else max(utc, newest)
    # Nothing ends before that.
    if latest < approval.expires_at:
        return False
    return purpose == "correction" or latest >= approval.ends_at


def holds(moment: Moment, ask: Ask) -> Sequence[Reason]:
    """Every hold whose scope reaches the dose or a line of its group."""
    return list(_holds(moment, ask)) if moment.state.holds else NONE


def _holds(moment: Moment, ask: Ask) -> Iterator[Reason]:
    for _, hold in sorted(moment.state.holds.items()):
        if hold.until is not None and moment.now.utc >= hold.until:
            continue
        if hold_is_left_aside(moment, hold, ask.pump):
            continue
        if _reaches(hold, ask):
            yield hold.reason
        elif reaches_group(hold.scope, moment, ask):
            yield because(Code.GROUP, group=_group(ask), hold=hold.hold_id)


def is_held(moment: Moment, ask: Ask) -> bool:
    """Whether a hold reaches this very dose, so that it may not go on."""
    return any(
        _reaches(hold, ask) and not hold_is_left_aside(moment, hold, ask.pump)
        for hold in moment.state.holds.values()
    )


def _reaches(hold: HoldRaised, ask: Ask) -> bool:
    """Whether a hold stops it: not what must be measured before it is released."""
    if ask.kind == "calibrate" and hold.reason.code in MEASURED_FIRST:
        return False
    return reaches(hold.scope, ask)


def has_inputs(moment: Moment) -> bool:
    """Whether anything was written down, or watches a tank, that could refuse."""
    return _was_written(moment.state) or bool(moment.rules.watched)


def _was_written(state: State) -> bool:
    """Whether people put anything on record that could refuse."""
    written = state.levels or state.entered or state.treatments or state.fills
    return bool(written or state.intervals)


def may_go_on(moment: Moment, ask: Ask) -> bool:
    """Whether no hold and no input that refuses reaches a dose that runs."""
    if is_held(moment, ask):
        return False
    line, tank = ask.line, ask.pump.pump.tank
    if line is None:
        return True
    return not any(
        any(row.refuses(moment, ask.pump, line))
        for row in refusing(moment.rules.watched.get(tank, NOTHING))
        if row.refuses is not None
        and row.ends_runs
        and not is_left_aside(moment, row, ask.pump)
    )


def hold_is_left_aside(moment: Moment, hold: HoldRaised, pump: PumpRule) -> bool:
    """Whether the interlock that raised a hold is left aside for a pump."""
    if not moment.state.bypasses:
        return False
    name, _, _ = hold.hold_id.partition("/")
    return name in BYPASSABLE and is_bypassed(moment, name, pump)


def _group(ask: Ask) -> str:
    return "" if ask.line is None else ask.line.line.group


def link(moment: Moment, _ask: Ask) -> Sequence[Reason]:
    """Both connections must be proven up."""
    sight = moment.sight
    if sight.observe_up and sight.actuate_up:
        return NONE
    observe, actuate = sight.observe_up, sight.actuate_up
    return [because(Code.LINK_DOWN, observe=observe, actuate=actuate)]


def node(moment: Moment, ask: Ask) -> Sequence[Reason]:
    """The node must be heard, settled, itself, and ready."""
    pump = ask.pump.pump
    seen = moment.sight.nodes.get(pump.node)
    timing = moment.machine.timing
    if seen is None:
        return [because(Code.NODE_ABSENT, node=pump.node)]
    beat = seen.beat
    age_s = moment.now.boot_s - beat.heard_boot_s
    if not 0 <= age_s <= timing.beat_fresh_s:
        return [because(Code.NODE_ABSENT, node=pump.node, beat_age_s=round(age_s, 1))]
    reasons: list[Reason] = []
    up_s = beat.up / 1000
    if seen.beats < timing.start_beats or up_s < timing.start_hold_off_s:
        figures: dict[str, Figure] = {"beats": seen.beats, "up_s": int(up_s)}
        reasons.append(because(Code.NODE_SETTLING, node=pump.node, **figures))
    known = moment.machine.nodes[pump.node]
    reasons += _identity(moment, known, beat)
    reasons += _channel(beat, ask)
    if known.relay is not None:
        reasons += _relay(moment, known.relay, pump)
    return reasons


def _relay(moment: Moment, relay: Relay, pump: Pump) -> Sequence[Reason]:
    """A timed relay must have been tried out as it is, not too long ago.

    By the latest time that can be believed: a clock set back prolongs nothing.
    """
    known, newest = moment.state.relay_checks.get(pump.node), moment.state.newest_at
    utc = moment.now.utc if newest is None else max(moment.now.utc, newest)
    if known is not None and known.relay == relay.digest and utc < known.until:
        return NONE
    until = "never" if known is None else known.until.isoformat()
    return [because(Code.RELAY_UNCHECKED, node=pump.node, checked_until=until)]


def _identity(moment: Moment, known: Node, beat: Beat) -> Sequence[Reason]:
    """Hardware and configuration as configured, else as seen at approval."""
    approved = UNSEEN
    if moment.approval is not None:
        approved = moment.approval.hardware.get(known.id, UNSEEN)
    hardware = known.hardware_id or approved[0] or beat.hw
    config = known.config_id or approved[1] or beat.cfg
    is_other = hardware != beat.hw or config != beat.cfg
    if not is_other and beat.fence <= moment.state.fence:
        return NONE
    reasons = []
    if is_other:
        other = because(
            Code.NODE_IDENTITY,
            node=known.id,
            hardware=beat.hw,
            configuration=beat.cfg,
        )
        reasons.append(other)
    if beat.fence > moment.state.fence:
        second = because(Code.SECOND_DAEMON, node=known.id, heard_fence=beat.fence)
        reasons.append(second)
    return reasons


def _channel(beat: Beat, ask: Ask) -> Sequence[Reason]:
    pump = ask.pump.pump
    channel = beat.channels.get(pump.channel)
    if channel is None:
        return [because(Code.NODE_ABSENT, node=pump.node, channel=pump.channel)]
    is_idle = channel.state == "idle" and not beat.hold
    if is_idle and channel.budget_ul >= ask.dose.volume_ul:
        return NONE
    reasons = []
    if beat.hold or channel.state == "held":
        reasons.append(because(Code.NODE_HELD, node=pump.node))
    code = _NOT_READY.get(channel.state)
    if code is not None:
        reasons.append(because(code, node=pump.node, channel=pump.channel))
    if channel.budget_ul < ask.dose.volume_ul:
        reasons.append(_budget(channel, ask))
    return reasons


def _budget(channel: Channel, ask: Ask) -> Reason:
    return because(
        Code.NODE_BUDGET,
        node=ask.pump.pump.node,
        budget_ul=channel.budget_ul,
        asked_ul=ask.dose.volume_ul,
    )


_NOT_READY = {
    "starting": Code.NODE_SETTLING,
    "running": Code.NODE_BUSY,
    "fault": Code.NODE_FAULT,
}


def open_intents(moment: Moment, ask: Ask) -> Sequence[Reason]:
    """One unsettled intent per node; none new while one is open."""
    return list(_open_intents(moment, ask)) if moment.state.open else NONE


def _open_intents(moment: Moment, ask: Ask) -> Iterator[Reason]:
    pump = ask.pump.pump
    for _, known in sorted(moment.state.open.items()):
        command = known.intent.command
        if pump.node != command.node and known.intent.dose.pump != pump.id:
            continue
        waited_s = (moment.proven_ms - known.intent.proven_ms) // 1000
        silent = waited_s > moment.machine.timing.node_silence_s and not known.taken
        code = Code.NODE_SILENT if silent else Code.OPEN_INTENT
        yield because(code, dose=known.intent.dose.id, waited_s=waited_s)


def inputs(moment: Moment, ask: Ask) -> Sequence[Reason]:
    """Everything that inputs and tests hold against it, or a line of its group."""
    line, tank = ask.line, ask.pump.pump.tank
    if line is None:
        return NONE
    is_watched = line.has_correction or tank in moment.rules.watched
    # The rule: nothing was written down, nothing corrects, nothing watches.
    if not (is_watched or _was_written(moment.state)):
        return NONE
    return list(_inputs(moment, ask, line))


def _inputs(moment: Moment, ask: Ask, line: LineRule) -> Iterator[Reason]:
    configured = moment.rules.watched.get(ask.pump.pump.tank, NOTHING)
    mates = mates_of(moment, line)
    for row in refusing(configured):
        if row.refuses is None or is_left_aside(moment, row, ask.pump):
            continue
        own = list(row.refuses(moment, ask.pump, line))
        yield from own
        if own:
            continue
        for pump, mate in mates:
            if any(row.refuses(moment, pump, mate)):
                yield because(Code.GROUP, group=_group(ask), line=mate.line.id)
                break


Check = Callable[[Moment, Ask], Sequence[Reason]]

INTERLOCKS: tuple[Check, ...] = (
    clock,
    disk,
    start,
    approval,
    holds,
    link,
    node,
    open_intents,
    inputs,
)
