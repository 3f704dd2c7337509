"""How long a tank has: alkalinity now, and when it meets its floor or ceiling.

Floor 4. One subject: time left. Laws here: a level is carried from the newest reading
or test by what the tank takes up and what it is believed to have got; where nobody
measured it starts from the target; a line counts on its own days, and a correction is
no upkeep; what cannot be said is None, never a guess.
Units: levels meq/L; amounts pico-equivalents for the whole tank; times hours.
Source: mass balance in one box with a steady uptake, which is the quicker way down
(an uptake that sinks with the level gives more time).
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from slackwater.alarms.conditions import Condition
from slackwater.facts.alarms import Priority
from slackwater.facts.charging import hour_of
from slackwater.facts.messages import Reading
from slackwater.facts.plan import PlanLine
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.tank import AlkalinityGuard, Probe, Tank
from slackwater.gate.alkalinity import alkalinity_probes, equal_run, frozen
from slackwater.gate.moment import ALKALINITY, Moment, daily_of
from slackwater.planning.stretches import day_in, gives, is_over, stretches
from slackwater.water.parameters import concentration, parameter_named
from slackwater.water.spellings import units_of

HOURS_A_DAY = 24
UL_PER_L = 10**6
PEQ_PER_MEQ = 10**9
DKH = "dKH"
# What was measured so long ago is no start for a reckoning: a tenth off the uptake
# would be 0.3 dKH by then. Common practice, no source.
SPEAKS = timedelta(hours=48)
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

    `begun` is where a fault began, for a tank that nobody has measured since.
    """
    known = _newest(moment, tank, _believed)
    if known is None or (begun is not None and known.at < begun.at):
        known = begun or known
    if known is None:
        return tank.targets.get(ALKALINITY)
    return known.value + _change_since(moment, tank, known.at)


def measured(moment: Moment, tank: Tank) -> Level | None:
    """The newest reading or test of the last two days, as it was."""
    return _newest(moment, tank, _shown)


def _shown(_probe: Probe, series: Sequence[Reading]) -> Reading:
    """What a probe shows, whatever that is worth."""
    return series[-1]


def _believed(probe: Probe, series: Sequence[Reading]) -> Reading:
    """The last that tells of the water; the first of all that are the same for long."""
    if frozen(probe, series) is None:
        return series[-1]
    return series[len(series) - equal_run(probe, series)]


def _newest(
    moment: Moment, tank: Tank, said: Callable[[Probe, Sequence[Reading]], Reading]
) -> Level | None:
    """The newest of the last two days: what is said of each probe, and a test."""
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
    if newest is None or moment.now.utc - newest.at > SPEAKS:
        return None
    return newest


def _change_since(moment: Moment, tank: Tank, at: datetime) -> float:
    """What was added less what was taken up since, to the hour; meq/L."""
    passed = max((moment.now.utc - at) / timedelta(days=1), 0.0)
    given = sum(
        amount
        for hour, amount in moment.state.hours.get(tank.id, {}).items()
        if hour_of(at) < hour <= hour_of(moment.now.utc)
    )
    outside = moment.rules.outside.get(tank.id, 0) * passed
    taken = uptake_per_day(moment, tank) * passed
    return (given + outside - taken) / _peq_per_meq_per_l(tank)


def uptake_per_day(moment: Moment, tank: Tank) -> int:
    """What the tank takes up in a day: as stated, else as much as lasting lines give.

    These are the lines of this day that do not correct, before the plan's first day
    those of that one.
    """
    stated = tank.uptake.get(ALKALINITY)
    if stated is not None:
        return stated.estimate
    starts = _starts(moment, tank)
    day = max(day_in(tank.zone, moment.now.utc), starts)
    return moment.rules.outside.get(tank.id, 0) + sum(
        daily_of(line, moment.rules.pumps)
        for line in _lines(moment, tank)
        if line.purpose == "maintenance" and gives(line, day, starts)
    )


def _starts(moment: Moment, tank: Tank) -> date:
    return moment.rules.starts or day_in(tank.zone, moment.now.utc)


def _lines(moment: Moment, tank: Tank) -> list[PlanLine]:
    rules = moment.rules.lines.values()
    return [rule.line for rule in rules if rule.line.tank == tank.id]


def _stretches(
    moment: Moment, tank: Tank, lines: Sequence[PlanLine]
) -> Iterator[tuple[float | None, int]]:
    """For how many days these lines add how much, from now on; the last for good."""
    starts, now = _starts(moment, tank), moment.now.utc
    for span, giving in stretches(lines, starts, tank.zone, now):
        yield span, sum(daily_of(one, moment.rules.pumps) for one in giving)


def hours_to_floor(
    moment: Moment, tank: Tank, level: float | None, condition: Condition
) -> float | None:
    """How long until the floor, while the condition lasts; None if it never comes."""
    guard = moment.machine.guards.get(tank.id)
    if guard is None or level is None or not touches(moment, tank, condition):
        return None
    taken = uptake_per_day(moment, tank) - moment.rules.outside.get(tank.id, 0)
    going_on = [
        line
        for line in _lines(moment, tank)
        if f"{line.tank}/{line.id}" not in condition.stops
    ]
    falls = (
        (span, taken - comes * condition.share)
        for span, comes in _stretches(moment, tank, going_on)
    )
    return _hours(level - guard.floor, tank, falls)


def hours_without_dosing(
    moment: Moment, tank: Tank, level: float | None
) -> float | None:
    """How long until the floor if no pump dosed any more; None if it never comes."""
    guard = moment.machine.guards.get(tank.id)
    falls = uptake_per_day(moment, tank) - moment.rules.outside.get(tank.id, 0)
    if guard is None or level is None:
        return None
    return _hours(level - guard.floor, tank, ((None, falls),))


def hours_to_ceiling(moment: Moment, tank: Tank, level: float | None) -> float | None:
    """How long until the ceiling if the plan ran and the uptake had stopped."""
    guard = moment.machine.guards.get(tank.id)
    if guard is None or level is None:
        return None
    outside = moment.rules.outside.get(tank.id, 0)
    lines = _lines(moment, tank)
    rises = ((span, outside + n) for span, n in _stretches(moment, tank, lines))
    return _hours(guard.ceiling - level, tank, rises)


def _hours(
    room: float, tank: Tank, paces: Iterable[tuple[float | None, float]]
) -> float | None:
    """When the room is used up, at so much a day for so many days; None if it never is.

    Shape: the last stretch has no end. Where it goes the other way the room grows.
    """
    peq, passed = room * _peq_per_meq_per_l(tank), 0.0
    for span, per_day in paces:
        if per_day > 0 and (span is None or per_day * span >= peq):
            return (passed + max(peq, 0.0) / per_day) * HOURS_A_DAY
        peq -= per_day * (span or 0.0)
        passed += span or 0.0
    return None


def _peq_per_meq_per_l(tank: Tank) -> float:
    return tank.net_ul / UL_PER_L * PEQ_PER_MEQ


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
    """What was planned and what was given after a moment of proven time.

    Units: pico-units; sums reach back a day and an hour.
    """
    key = f"{tank.id}/{parameter}"
    sums = (moment.state.planned.get(key), moment.state.believed.get(key))
    planned, given = (0 if one is None else one.since(since_ms) for one in sums)
    return planned, given


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
