"""How bad a condition is: shortfall or excess, time left, priority, reminder.

Floor 4. One subject: the figures of an alarm. Laws here: the tank with the least time
decides; the shorter of time to floor and time to ceiling counts; in shadow nothing is
dosed, so nothing is short.
Units: hours; dKH in the names of figures; levels meq/L.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta

from slackwater.alarms.conditions import Condition
from slackwater.alarms.foresight import (
    Level,
    hours_to_ceiling,
    hours_to_floor,
    in_dkh,
    level_now,
    levels_in_dkh,
    pressing,
    short_peq,
    touches,
    way_to_floor,
)
from slackwater.alarms.row import FOLLOWS
from slackwater.alarms.rows import ROWS
from slackwater.facts.alarms import PRIORITIES, Cause, Priority, StandingAlarm
from slackwater.facts.reasons import Figure
from slackwater.facts.tank import Tank
from slackwater.gate.moment import ALKALINITY, Moment

# The figure that an alarm has when something is not given because of it, or too much.
SHORT, EXCESS = "short_dkh", "excess_dkh"
# A hold is told again when so much of the way to the floor is behind, in percent.
REMINDERS = (50, 25, 10)
# Reasons told by their own name that speak of too much.
RISING = frozenset(
    {
        "alkalinity-test",
        "power-at-rest",
    }
)
# Where no way can be reckoned, after so many hours. Common practice, no source.
REMIND_AFTER_H: Mapping[int, float] = {10: 24.0, 25: 72.0, 50: 168.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """What there is to say of one condition now."""

    priority: Priority
    hours_left: float | None
    levels: Mapping[str, float]
    figures: Mapping[str, Figure]
    reminder: int


def size_of(moment: Moment, condition: Condition, known: StandingAlarm | None) -> Size:
    """The size of a condition; `known` is its alarm if it stands already."""
    tanks = [moment.machine.tanks[name] for name in condition.tanks]
    levels = {
        tank.id: round(level, 4)
        for tank in tanks
        if (level := level_now(moment, tank, _begun(known, tank))) is not None
    }
    left = {tank.id: _hours_left(moment, condition, tank, levels) for tank in tanks}
    hours = min((one for one in left.values() if one is not None), default=None)
    blind = _unreckoned(moment, condition, known, levels)
    least = (ROWS[condition.cause].least, condition.least, pressing(hours), blind)
    return Size(
        priority=min(least, key=PRIORITIES.index),
        hours_left=None if hours is None else round(hours, 1),
        levels=levels,
        figures={**condition.figures, **_amounts(moment, condition, tanks, levels)},
        reminder=_reminder(moment, condition, known, levels),
    )


def _unreckoned(
    moment: Moment,
    condition: Condition,
    known: StandingAlarm | None,
    levels: Mapping[str, float],
) -> Priority:
    """What presses where nobody can say how long a tank has, as it gets less for long.

    Where no level is known, not even a target, a day of that is enough.
    """
    if moment.state.stage != "live" or known is None or not known.is_standing:
        return "note"
    if moment.now.utc - known.first.at < timedelta(hours=min(REMIND_AFTER_H.values())):
        return "note"
    tanks = (moment.machine.tanks[name] for name in condition.tanks)
    blind = [tank for tank in tanks if tank.id not in levels]
    return "soon" if any(touches(moment, one, condition) for one in blind) else "note"


def _begun(known: StandingAlarm | None, tank: Tank) -> Level | None:
    """Where the tank stood when the alarm began."""
    if known is None or not known.is_standing:
        return None
    level = known.first.level_meq_per_l.get(tank.id)
    if level is None:
        return None
    return Level(value=level, at=known.first.at, source=known.first.alarm)


def _hours_left(
    moment: Moment, condition: Condition, tank: Tank, levels: Mapping[str, float]
) -> float | None:
    level = levels.get(tank.id)
    found = []
    if moment.state.stage == "live":
        found.append(hours_to_floor(moment, tank, level, condition))
    if _rises(condition):
        found.append(hours_to_ceiling(moment, tank, level))
    return min((hours for hours in found if hours is not None), default=None)


def _rises(condition: Condition) -> bool:
    return rises(condition.cause, condition.figures)


def rises(cause: Cause, figures: Mapping[str, Figure]) -> bool:
    """Whether there is, or may be, too much."""
    return ROWS[cause].rises or figures.get("reason") in RISING


def _amounts(
    moment: Moment,
    condition: Condition,
    tanks: list[Tank],
    levels: Mapping[str, float],
) -> dict[str, Figure]:
    """The largest shortfall or excess of the tanks, in dKH."""
    figures: dict[str, Figure] = {}
    if _rises(condition):
        excess = [_excess_dkh(moment, condition, tank, levels) for tank in tanks]
        if any(one > 0 for one in excess):
            figures[EXCESS] = max(excess)
    elif condition.lets_fall or condition.cause in FOLLOWS:
        short = [in_dkh(short_peq(moment, tank), tank) for tank in tanks]
        figures[SHORT] = max(short, default=0.0)
    return figures


def _excess_dkh(
    moment: Moment, condition: Condition, tank: Tank, levels: Mapping[str, float]
) -> float:
    """What a pump gave too much, else how far the level is above where it should be."""
    given, asked = (condition.figures.get(f"{w}_ul") for w in ("reported", "asked"))
    rule = moment.rules.pumps.get(condition.about)
    if isinstance(given, int) and isinstance(asked, int) and rule is not None:
        per_ul = sum(e.per_ul for e in rule.effects if e.parameter == ALKALINITY)
        return in_dkh((given - asked) * per_ul, tank)
    level, guard = levels.get(tank.id), moment.machine.guards.get(tank.id)
    aim = tank.targets.get(ALKALINITY, None if guard is None else guard.ceiling)
    return 0.0 if level is None or aim is None else levels_in_dkh(level - aim)


def _reminder(
    moment: Moment,
    condition: Condition,
    known: StandingAlarm | None,
    levels: Mapping[str, float],
) -> int:
    """How much of the way to the floor is behind since it began, as a reminder."""
    if condition.step:
        return condition.step
    if known is None or not known.is_standing or not condition.lets_fall:
        return 0
    if moment.state.stage != "live":
        return known.raised.reminder
    ways = [
        way_to_floor(guard, _top(moment, condition, name, begun), levels[name])
        for name, begun in known.first.level_meq_per_l.items()
        if (guard := moment.machine.guards.get(name)) is not None and name in levels
    ]
    hours = (moment.now.utc - known.first.at) / timedelta(hours=1)
    passed = [
        step
        for step in REMINDERS
        if max(ways, default=0.0) >= step or hours >= REMIND_AFTER_H[step]
    ]
    return max((known.raised.reminder, *passed))


def _top(moment: Moment, condition: Condition, tank: str, begun: float) -> float:
    """Where the way to the floor begins: what comes down to target loses nothing."""
    target = moment.machine.tanks[tank].targets.get(ALKALINITY)
    return min(begun, target) if _rises(condition) and target is not None else begun
