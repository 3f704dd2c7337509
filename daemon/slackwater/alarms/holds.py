"""Holds as alarms: each reason that holds has its cause.

Floor 4. One subject: from holds to conditions. Laws here: no hold stands without an
alarm; holds of one reason on one thing are one alarm; a reason this table does not
know is told as a hold, by the name of the reason.
"""

from collections.abc import Iterator, Mapping

from slackwater.alarms.conditions import (
    EVERYTHING,
    Condition,
    of_all,
    of_pumps,
    used_pumps,
)
from slackwater.facts.alarms import Cause
from slackwater.facts.events import HoldRaised
from slackwater.facts.reasons import Code
from slackwater.facts.tank import Pump
from slackwater.gate.moment import Moment

CAUSES: Mapping[Code, Cause] = {
    Code.NODE_HELD: Cause.NODE_HELD,
    Code.NODE_IMPOSSIBLE: Cause.NODE_IMPOSSIBLE,
    Code.NODE_TWICE: Cause.NODE_TWICE,
    Code.SECOND_DAEMON: Cause.SECOND_DAEMON,
    Code.RETAINED_COMMAND: Cause.RETAINED_COMMAND,
    Code.TAKEN_OVER: Cause.TAKEN_OVER,
    Code.CLOCK_JUMPED: Cause.CLOCK_JUMPED,
    Code.START_STORM: Cause.START_STORM,
    Code.OVER_DELIVERED: Cause.OVER_DELIVERED,
    Code.SHORT_DELIVERED: Cause.SHORT_DELIVERED,
    Code.PUMP_CHANGED: Cause.PUMP_CHANGED,
    Code.ALKALINITY_CEILING: Cause.ALKALINITY_CEILING,
    Code.ALKALINITY_CLIMB: Cause.ALKALINITY_CLIMB,
    Code.LEDGER_FAULT: Cause.LEDGER_FAULT,
    Code.LEDGER_FULL: Cause.DISK_FULL,
    Code.MANUAL_HOLD: Cause.MANUAL_HOLD,
    Code.PAUSE: Cause.PAUSED,
}
# Of these it matters whose water it is, not which pump or node a person named.
BY_TANK = frozenset({Cause.MANUAL_HOLD, Cause.PAUSED})


def held(moment: Moment) -> Iterator[Condition]:
    """A condition for each thing that is held; a hold that has ended is none."""
    for hold_id, hold in sorted(moment.state.holds.items()):
        if hold.until is not None and moment.now.utc >= hold.until:
            continue
        yield from _of_hold(moment, hold_id, hold)


def _of_hold(moment: Moment, hold_id: str, hold: HoldRaised) -> Iterator[Condition]:
    figures = {**hold.reason.figures, "hold": hold_id}
    if hold.note:
        figures["note"] = hold.note
    cause = CAUSES.get(hold.reason.code, Cause.HELD)
    if cause is Cause.HELD:
        figures["reason"] = str(hold.reason.code)
    kind, _, owner = hold.scope.partition("/")
    if kind == EVERYTHING:
        if cause is Cause.HELD:
            used = used_pumps(moment)
            yield of_pumps(moment, (cause, str(hold.reason.code)), used, **figures)
            return
        by_hand = cause in BY_TANK
        yield of_all(moment, Cause.EVERYTHING_HELD if by_hand else cause, **figures)
        return
    pumps = _reached(moment, kind, owner)
    if cause is Cause.HELD:
        yield of_pumps(moment, (cause, str(hold.reason.code)), pumps, **figures)
        return
    if cause not in BY_TANK:
        yield of_pumps(moment, (cause, owner), pumps, **figures)
        return
    tanks = {pump.tank for pump in pumps} or {owner}
    for tank in sorted(tanks):
        own = [pump for pump in pumps if pump.tank == tank]
        yield of_pumps(moment, (cause, tank), own, **figures)


def stopped_by(moment: Moment, hold: HoldRaised) -> frozenset[str]:
    """The pumps that a hold stops, with those that only dose together with them."""
    kind, _, owner = hold.scope.partition("/")
    what = (Cause.HELD, hold.hold_id)
    if kind == EVERYTHING:
        return of_pumps(moment, what, used_pumps(moment)).stops
    return of_pumps(moment, what, _reached(moment, kind, owner)).stops


def _reached(moment: Moment, kind: str, owner: str) -> list[Pump]:
    """The pumps that a hold of this scope stops, those without a line too."""
    if kind == "alkalinity":
        return [pump for pump in used_pumps(moment) if _follows(moment, pump, owner)]
    pumps = [pump for _, pump in sorted(moment.machine.pumps.items())]
    owners = {"tank": "tank", "node": "node", "pump": "id"}
    return [pump for pump in pumps if getattr(pump, owners.get(kind, "id")) == owner]


def _follows(moment: Moment, pump: Pump, tank: str) -> bool:
    return pump.tank == tank and any(
        rule.line.pump == pump.id and rule.follows_alkalinity
        for rule in moment.rules.lines.values()
    )
