"""Holds as alarms: each reason that holds has its cause.

Floor 4. One subject: from holds to conditions. Laws here: no hold stands without an
alarm, but for the hour in which somebody feeds or has his hands in the tank; holds of
one reason on one thing are one alarm; a reason this table does not know is told as a
hold, by the name of the reason.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import timedelta

from slackwater.alarms.conditions import EVERYTHING, Condition, ask_of, of_lines
from slackwater.facts.alarms import Cause
from slackwater.facts.events import HoldRaised
from slackwater.facts.reasons import Code, Figure
from slackwater.gate.moment import Moment
from slackwater.gate.scopes import reaches

CAUSES: Mapping[Code, Cause] = {
    Code.NODE_HELD: Cause.NODE_HELD,
    Code.NODE_IMPOSSIBLE: Cause.NODE_IMPOSSIBLE,
    Code.NODE_TWICE: Cause.NODE_TWICE,
    Code.SECOND_DAEMON: Cause.SECOND_DAEMON,
    Code.RETAINED_COMMAND: Cause.RETAINED_COMMAND,
    Code.TAKEN_OVER: Cause.TAKEN_OVER,
    Code.CLOCK_JUMPED: Cause.CLOCK_JUMPED,
    Code.START_STORM: Cause.START_STORM,
    Code.NOT_AS_APPROVED: Cause.NOT_AS_APPROVED,
    Code.OVER_DELIVERED: Cause.OVER_DELIVERED,
    Code.SHORT_DELIVERED: Cause.SHORT_DELIVERED,
    Code.PUMP_CHANGED: Cause.PUMP_CHANGED,
    Code.ALKALINITY_CEILING: Cause.ALKALINITY_CEILING,
    Code.ALKALINITY_CLIMB: Cause.ALKALINITY_CLIMB,
    Code.ALKALINITY_SWING_UP: Cause.ALKALINITY_SWING_UP,
    Code.ALKALINITY_DOSE_FAULT: Cause.ALKALINITY_DOSE_FAULT,
    Code.LEDGER_FAULT: Cause.LEDGER_FAULT,
    Code.LEDGER_DAMAGED: Cause.LEDGER_DAMAGED,
    Code.LEDGER_FORGETS: Cause.LEDGER_FORGETS,
    Code.LEDGER_RESTORED: Cause.LEDGER_RESTORED,
    Code.LEDGER_FULL: Cause.DISK_FULL,
    Code.MANUAL_HOLD: Cause.MANUAL_HOLD,
    Code.PAUSE: Cause.PAUSED,
}
# A person did it and knows of it, but may forget it (common practice, no source).
BY_HAND = frozenset({Code.FEEDING, Code.HANDS_IN})
AT_THE_TANK = timedelta(hours=1)
# Of these it matters whose water it is, not which pump or node a person named.
BY_TANK = frozenset({Cause.MANUAL_HOLD, Cause.PAUSED})


def held(moment: Moment) -> Iterator[Condition]:
    """A condition for each thing that is held; a hold that has ended is none."""
    for hold_id, hold in sorted(moment.state.holds.items()):
        if hold.until is not None and moment.now.utc >= hold.until:
            continue
        if not _is_by_hand(moment, hold):
            yield from _of_hold(moment, hold_id, hold)


def _is_by_hand(moment: Moment, hold: HoldRaised) -> bool:
    """Whether somebody is at the tank, for no longer than that takes."""
    begun = moment.now.utc - hold.at
    return hold.reason.code in BY_HAND and begun < AT_THE_TANK


def stopped_by(moment: Moment, hold: HoldRaised) -> frozenset[str]:
    """The lines that a hold stops, with those that only dose together with them."""
    return _condition(moment, hold, (Cause.HELD, hold.hold_id), {}).stops


def _of_hold(moment: Moment, hold_id: str, hold: HoldRaised) -> Iterator[Condition]:
    figures = {**hold.reason.figures, "hold": hold_id}
    if hold.note:
        figures["note"] = hold.note
    cause = CAUSES.get(hold.reason.code, Cause.HELD)
    kind, _, owner = hold.scope.partition("/")
    if cause is Cause.HELD:
        code = str(hold.reason.code)
        found = _condition(moment, hold, (cause, code), {**figures, "reason": code})
        # What waits for a person must find one.
        yield replace(found, least="soon" if hold.latched else "note")
    elif kind == EVERYTHING:
        by_hand = cause in BY_TANK
        what = (Cause.EVERYTHING_HELD if by_hand else cause, EVERYTHING)
        yield _condition(moment, hold, what, figures)
    elif cause not in BY_TANK:
        yield _condition(moment, hold, (cause, owner), figures)
    else:
        found = _condition(moment, hold, (cause, owner), figures)
        for tank in found.tanks:
            own = [name for name in found.stops if _tank_of(moment, name) == tank]
            each = of_lines(moment, (cause, tank), own, **figures)
            yield replace(each, tanks=(tank,))


def _condition(
    moment: Moment,
    hold: HoldRaised,
    what: tuple[Cause, str],
    figures: Mapping[str, Figure],
) -> Condition:
    """What a hold stops: lines by its scope, and pumps that have no line as well."""
    kind, _, owner = hold.scope.partition("/")
    lines = [
        name
        for name, rule in moment.rules.lines.items()
        if (ask := ask_of(moment, rule)) is not None and reaches(hold.scope, ask)
    ]
    found = of_lines(moment, what, lines, **figures)
    pumps = [
        pump.tank
        for pump in moment.machine.pumps.values()
        if owner == {"pump": pump.id, "node": pump.node}.get(kind)
    ]
    named = [owner] if owner in moment.machine.tanks else []
    tanks = tuple(sorted({*found.tanks, *pumps, *named}))
    return replace(found, tanks=tanks)


def _tank_of(moment: Moment, line: str) -> str:
    return moment.rules.lines[line].line.tank
