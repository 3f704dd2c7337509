"""Alarms as they are at this moment, not as they were when they were told.

Floor 8. One subject: figures of alarms that grow old. Laws here: an alarm is told once
and read hours later, so what is left and what is short is reckoned anew, by what judges
the alarms itself; priority only rises; in shadow nothing is short, so it stays as told.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace

from slackwater.alarms.conditions import EVERYTHING, Condition
from slackwater.alarms.foresight import hours_without_dosing, level_now
from slackwater.alarms.sizing import EXCESS, SHORT, size_of
from slackwater.alarms.words import FLOOR, left_words
from slackwater.cli.opening import Approved, Opened, approval_at
from slackwater.facts.alarms import AlarmRaised, StandingAlarm, is_more_pressing
from slackwater.facts.sight import Sight, recall, remember
from slackwater.gate.moment import ALKALINITY, Moment, rules_for
from slackwater.planning.lowering import lowered
from slackwater.water.show import show_level


def as_of_now(
    found: Opened, alarms: Iterable[StandingAlarm], *, is_here: bool
) -> list[StandingAlarm]:
    """The same alarms with the figures of now; those that are over stay as they were.

    Where no daemon is here nothing is dosed, whatever else an alarm tells of.
    """
    approved = approval_at(found.state, found.now.utc)
    if approved is None or found.state.stage != "live":
        return list(alarms)
    moment = _moment(found, approved)
    return [
        _now(moment, one, is_here=is_here) if one.is_standing else one for one in alarms
    ]


def tanks_undosed(found: Opened) -> Iterator[str]:
    """How long each tank has while no pump doses: a line for each that has a floor."""
    approved = approval_at(found.state, found.now.utc)
    if approved is None or found.state.stage != "live":
        return
    moment = _moment(found, approved)
    for name, tank in sorted(moment.machine.tanks.items()):
        level = level_now(moment, tank)
        left = hours_without_dosing(moment, tank, level)
        if level is not None and left is not None:
            shown = show_level(ALKALINITY, level)
            yield f"{name}: about {shown} by now. {left_words(left, FLOOR)}"


def _moment(found: Opened, approved: Approved) -> Moment:
    """What the ledger tells of this moment; what only a daemon sees is not in it."""
    sight = Sight(started_boot_s=found.now.boot_s)
    recall(sight, found.state.courses)
    for series in found.state.readings.values():
        remember(sight, series)
    machine = lowered(approved.machine, found.state.lowered)
    return Moment(
        now=found.now,
        proven_ms=found.proven_ms,
        state=found.state,
        sight=sight,
        machine=machine,
        rules=rules_for(machine, approved.plan),
        approval=approved.approval,
    )


def _now(moment: Moment, known: StandingAlarm, *, is_here: bool) -> StandingAlarm:
    raised = known.raised
    if not set(raised.tanks) <= moment.machine.tanks.keys():
        return known
    condition = _condition(moment, raised, is_here=is_here)
    size = size_of(moment, condition, known)
    # What a daemon that is gone should have given stands on no record.
    figures = size.figures if is_here else raised.figures
    grew = is_more_pressing(size.priority, raised.priority)
    told = replace(
        raised,
        hours_left=size.hours_left,
        figures=figures,
        priority=size.priority if grew else raised.priority,
    )
    return replace(known, raised=told)


def _condition(moment: Moment, raised: AlarmRaised, *, is_here: bool) -> Condition:
    """What an alarm was told of, as if it were found anew."""
    stops = frozenset(raised.stops)
    # Of everything no line is named in the ledger.
    whole = raised.about == EVERYTHING and SHORT in raised.figures
    falls = whole or stops or raised.share < 1.0
    if whole or (falls and not is_here):
        stops = frozenset(moment.rules.lines)
    return Condition(
        cause=raised.cause,
        about=raised.about,
        tanks=tuple(raised.tanks),
        stops=stops,
        share=raised.share,
        figures={k: v for k, v in raised.figures.items() if k not in (SHORT, EXCESS)},
    )
