"""How long a tank has: alkalinity now, and when it meets its floor or ceiling.

Floor 4. One subject: the level that a tank is believed to have at a moment. Laws here:
the reckoning is `alarms.pace`, the same for every face; a level is carried from the
newest reading or test; where nobody measured for two weeks it starts from where a fault
began, else from the target; what cannot be said is None, never a guess.
Units: levels meq/L; amounts pico-equivalents for the whole tank; times hours.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from slackwater.alarms.conditions import Condition
from slackwater.alarms.pace import SPEAKS, UL_PER_L, Pace
from slackwater.facts.alarms import Priority
from slackwater.facts.dues import planned_since
from slackwater.facts.messages import Reading
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.tank import AlkalinityGuard, Probe, Tank
from slackwater.gate.alkalinity import alkalinity_probes, equal_run, frozen
from slackwater.gate.moment import ALKALINITY, Moment, daily_of
from slackwater.planning.stretches import day_in, is_over
from slackwater.water.parameters import concentration, parameter_named
from slackwater.water.spellings import units_of

DKH = "dKH"
# So long a measured level is judged by itself: a tenth off the uptake would be 0.3 dKH
# by then. Common practice, no source.
JUDGED = timedelta(hours=48)
# Less time than until somebody looks after a night's sleep; and than a weekend away.
# Common practice, no source.
URGENT_HOURS, SOON_HOURS = 12.0, 48.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """Alkalinity of one tank as far as it is known, at the moment it was read."""

    value: float
    at: datetime
    source: str


def level_now(moment: Moment, tank: Tank, begun: Level | None = None) -> float | None:
    """The level carried to now; None where nothing is known, not even a target.

    `begun` is where a fault began, for a tank that nobody has measured of late.
    """
    pace = pace_of(moment, tank)
    for known in (carried_from(moment, tank), begun):
        if known is not None:
            level = pace.level_at(known.value, known.at, moment.now.utc)
            if level is not None:
                return level
    return tank.targets.get(ALKALINITY)


def pace_of(moment: Moment, tank: Tank) -> Pace:
    """What a tank takes up and gets, as the gate's own state has it."""
    return Pace(
        tank=tank,
        guard=moment.machine.guards.get(tank.id),
        rules=moment.rules,
        begins=moment.now.utc,
        hours=(moment.state.hours.get(tank.id, {}),),
    )


def carried_from(moment: Moment, tank: Tank) -> Level | None:
    """The newest reading or test that a level can be carried from."""
    return _newest(moment, tank, _believed, SPEAKS)


def measured(moment: Moment, tank: Tank) -> Level | None:
    """The newest reading or test of the last two days, as it was."""
    return _newest(moment, tank, _shown, JUDGED)


def _shown(_probe: Probe, series: Sequence[Reading]) -> Reading:
    """What a probe shows, whatever that is worth."""
    return series[-1]


def _believed(probe: Probe, series: Sequence[Reading]) -> Reading:
    """The last that tells of the water; the first of all that are the same for long."""
    if frozen(probe, series) is None:
        return series[-1]
    return series[len(series) - equal_run(probe, series)]


def _newest(
    moment: Moment,
    tank: Tank,
    said: Callable[[Probe, Sequence[Reading]], Reading],
    no_older: timedelta,
) -> Level | None:
    """The newest there is: what is said of each probe, and a test."""
    found = [
        Level(value=one.value, at=one.at, source=probe.id)
        for probe in alkalinity_probes(moment, tank.id)
        if (series := moment.sight.readings.get(probe.id))
        for one in [said(probe, series)]
    ]
    test = moment.state.levels.get(f"{tank.id}/{ALKALINITY}")
    if test is not None and not test.censored:
        found.append(Level(value=test.value, at=test.taken_at, source=test.method))
    newest = max(found, key=lambda level: level.at, default=None)
    if newest is None or moment.now.utc - newest.at > no_older:
        return None
    return newest


def uptake_per_day(moment: Moment, tank: Tank) -> int:
    """What the tank takes up in a day: as stated, else what lasting lines give."""
    return pace_of(moment, tank).uptake


def hours_to_floor(
    moment: Moment, tank: Tank, level: float | None, condition: Condition
) -> float | None:
    """How long until the floor, while the condition lasts; None if it never comes."""
    if not touches(moment, tank, condition):
        return None
    pace = pace_of(moment, tank)
    return pace.to_floor(level, condition.stops, condition.share)


def hours_without_dosing(
    moment: Moment, tank: Tank, level: float | None
) -> float | None:
    """How long until the floor if no pump dosed any more; None if it never comes."""
    return pace_of(moment, tank).to_floor(level)


def hours_to_ceiling(moment: Moment, tank: Tank, level: float | None) -> float | None:
    """How long until the ceiling if the plan ran and the uptake had stopped."""
    return pace_of(moment, tank).to_ceiling(level)


def touches(moment: Moment, tank: Tank, condition: Condition) -> bool:
    """Whether less alkalinity comes to this tank because of the condition."""
    if not condition.lets_fall or tank.id not in condition.tanks:
        return False
    if condition.share < 1.0:
        return True
    today = day_in(tank.zone, moment.now.utc)
    return any(
        rule.line.tank == tank.id
        and name in condition.stops
        and not is_over(rule.line, today)
        and daily_of(rule.line, moment.rules.pumps)
        for name, rule in moment.rules.lines.items()
    )


def in_dkh(peq: float, tank: Tank) -> float:
    """What an amount changes in a tank, in dKH."""
    item = parameter_named(ALKALINITY, where="")
    change = concentration(ALKALINITY, round(peq), tank.net_ul / UL_PER_L)
    return round(float(change / units_of(item)[DKH]), 2)


def levels_in_dkh(level: float) -> float:
    """A level or a difference of levels, meq/L, in dKH."""
    item = parameter_named(ALKALINITY, where="")
    return round(level / float(units_of(item)[DKH]), 2)


def short_peq(moment: Moment, tank: Tank, parameter: str = ALKALINITY) -> int:
    """What was planned in the last 24 h and not given, 0 at least."""
    planned, given = day_sums(moment, tank, parameter)
    return max(planned - given, 0)


def day_sums(moment: Moment, tank: Tank, parameter: str) -> tuple[int, int]:
    """What was planned and what was given in the last 24 h of proven time."""
    return sums_since(moment, tank, parameter, moment.proven_ms - DAY_MS)


def sums_since(
    moment: Moment, tank: Tank, parameter: str, since_ms: int
) -> tuple[int, int]:
    """What fell due and what was given after a moment of proven time.

    Units: pico-units; sums reach back a day.
    """
    key = f"{tank.id}/{parameter}"
    given = moment.state.believed.get(key)
    planned = planned_since(moment.state, key, since_ms)
    return planned, 0 if given is None else given.since(since_ms)


def way_to_floor(guard: AlkalinityGuard, begun: float, now: float) -> float:
    """The part of the way to the floor that lies behind, in percent, from 0 to 100.

    Nothing for what began below the floor: there is no way left.
    """
    whole = begun - guard.floor
    if whole <= 0:
        return 0.0
    return min(max((begun - now) / whole * 100.0, 0.0), 100.0)


def pressing(hours: float | None) -> Priority:
    """The priority that the time left asks for."""
    if hours is None or hours >= SOON_HOURS:
        return "note"
    return "urgent" if hours < URGENT_HOURS else "soon"
