"""What doses, additions, uptake and announced changes did to alkalinity.

Floor 3. One subject: the part of a course that is explained. Laws here: what was
delivered counts, not what was planned; uptake falls with alkalinity, so whatever lifts
the water fades; nothing measured takes part, so that a probe explains nothing by
itself; what lies ahead explains nothing.
Units: meq/L, seconds since 1970.
Source: mass balance of one well mixed tank whose uptake is in proportion to alkalinity
above 3 dKH, as in `gate.resuming`. Around the usual level and the usual doses it is
x' = doses - usual doses - x / T, with T the room above 3 dKH over the uptake.
"""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import repeat
from math import exp, inf, sqrt
from statistics import median

from slackwater.facts.charging import HOUR_S
from slackwater.facts.judgements import Break
from slackwater.facts.limits import DAY_S
from slackwater.gate.handover import their_hours
from slackwater.gate.moment import ALKALINITY, Moment
from slackwater.gate.resuming import (
    DAY_HOURS,
    DEAD_PEQ_PER_L,
    PEQ_PER_MEQ,
    USUAL_LEAST_PEQ_PER_L,
    of_old_dosers,
    old_by_hour,
)
from slackwater.gate.swings.limits import DKH

# Days are alike while none differs from the middle one by more than this part of it;
# of fewer days one that something left a hole in may be the middle one.
EVEN_SHARE = 0.5
FEWEST_EVEN = 4
# What came longer ago has faded, or never does.
DAYS_BEFORE = 14
# A tank that takes up nothing would never come back to its usual course.
LEAST_UPTAKE = 0.05 * DKH
# One pico-equivalent in a microlitre of tank water, in meq/L.
MEQ_PER_L = 1e-3
# A level near the one at which uptake ends must not make the model end there.
LEAST_ROOM = (USUAL_LEAST_PEQ_PER_L - DEAD_PEQ_PER_L) / PEQ_PER_MEQ
DEAD = DEAD_PEQ_PER_L / PEQ_PER_MEQ


@dataclass(frozen=True, slots=True, kw_only=True)
class Explained:
    """How far doses and announced changes moved the water from its usual course.

    `moments` are the seconds of doses and changes in order, `levels` what they came to
    right after each; between them the water sinks towards `lowest`, which it would
    reach without any dose, by the share `fades` a second.
    """

    moments: Sequence[float]
    levels: Sequence[float]
    lowest: float
    fades: float

    def at(self, at_s: float) -> float:
        """What is explained at a moment not before the first."""
        place = bisect_right(self.moments, at_s) - 1
        above = self.levels[place] - self.lowest
        passed_s = at_s - self.moments[place]
        return self.lowest + above * exp(-passed_s * self.fades)

    def along(self, course_s: Sequence[float]) -> list[float]:
        """The same at ascending moments, in one pass."""
        ends, place, found = [*self.moments[1:], inf], 0, []
        for at_s in course_s:
            while ends[place] <= at_s:
                place += 1
            above = self.levels[place] - self.lowest
            passed_s = at_s - self.moments[place]
            found.append(self.lowest + above * exp(-passed_s * self.fades))
        return found


def by_second(moment: Moment, tank_id: str) -> Mapping[int, int]:
    """Believed alkalinity to the second, of the last nine days that a probe saw."""
    return moment.state.drops.get(tank_id, {})


def by_hour(moment: Moment, tank_id: str) -> Mapping[int, int]:
    """The same of six weeks, as if all of an hour came in its middle."""
    hours = moment.state.hours.get(tank_id, {})
    return {hour * HOUR_S + HOUR_S // 2: amount for hour, amount in hours.items()}


def explained(
    moment: Moment,
    tank_id: str,
    level: float,
    given: tuple[Mapping[int, int], float, float],
) -> Explained:
    """What is explained from the beginning of a span to its end.

    Shape: `given` is what came by seconds, ascending, and the two ends of the span.
    Range: `level` is the usual one of the tank.
    """
    known, begins_s, ends_s = given
    per_peq = MEQ_PER_L / moment.machine.tanks[tank_id].net_ul
    rises = [
        (float(at_s), amount * per_peq)
        for at_s, amount in known.items()
        if begins_s < at_s <= ends_s
    ]
    span_s = begins_s, ends_s
    if old := _of_old_dosers(moment, tank_id, span_s):
        rises = sorted([*rises, *((at_s, gave * per_peq) for at_s, gave in old)])
    uptake = _uptake(moment, tank_id)
    usual = _usual_day(rises, span_s, uptake)
    fades = max(usual if uptake is None else uptake, LEAST_UPTAKE)
    fades /= max(level - DEAD, LEAST_ROOM) * DAY_S
    lowest = -usual / DAY_S / fades
    steps = _steps_of(breaks_of(moment, tank_id), span_s)
    before = _moved_before(moment, tank_id, begins_s, (usual, fades))
    moments, levels, above, last_s = [begins_s], [before], before - lowest, begins_s
    for at_s, rise in sorted([*rises, *steps]) if steps else rises:
        above = above * exp((last_s - at_s) * fades) + rise
        last_s = at_s
        moments.append(at_s)
        levels.append(above + lowest)
    return Explained(moments=moments, levels=levels, lowest=lowest, fades=fades)


def _of_old_dosers(
    moment: Moment, tank_id: str, span_s: tuple[float, float]
) -> list[tuple[float, int]]:
    """What old dosers gave of lines that were theirs, in the middle of each hour.

    Left out, the day on which a line is taken over would explain a rise that a steady
    tank lacks, and hide the true one of an old doser that was never switched off.
    """
    begins_s, ends_s = span_s
    hours = range(int(begins_s // HOUR_S), int(ends_s // HOUR_S) + 1)
    return [
        (at_s, gave)
        for hour, gave in old_by_hour(moment, tank_id, hours).items()
        if begins_s < (at_s := hour * HOUR_S + HOUR_S / 2) <= ends_s
    ]


def other_hours(moment: Moment, tank_id: str, span_s: tuple[float, float]) -> float:
    """How far a level may lie off because a line changed hands within a span.

    Nobody said at which hours an old doser gave: in half of the day, say, then the
    cycle of those days was up to a quarter of its amount off the even one, and spread
    evenly over that (JCGM 100:2008, 4.3.7). Unit: meq/L, one standard deviation.
    """
    hours = range(int(span_s[0] // HOUR_S), int(span_s[1] // HOUR_S) + 1)
    changed = [
        per_day
        for name, per_day in of_old_dosers(moment, tank_id).items()
        if 0 < sum(1 for _ in their_hours(moment.state, name, hours)) < len(hours)
    ]
    per_peq = MEQ_PER_L / moment.machine.tanks[tank_id].net_ul
    return sum(changed) * per_peq / 4 / sqrt(3)


def _uptake(moment: Moment, tank_id: str) -> float | None:
    """What the tank takes up in a day beyond what comes without any doser, if known."""
    tank = moment.machine.tanks[tank_id]
    told = tank.uptake.get(ALKALINITY)
    if told is None:
        return None
    left = told.estimate - moment.rules.outside.get(tank_id, 0)
    return max(left * MEQ_PER_L / tank.net_ul, LEAST_UPTAKE)


def breaks_of(moment: Moment, tank_id: str) -> list[Break]:
    """What was told of a tank and has come by now, oldest first; often empty."""
    known = moment.state.breaks.get(tank_id)
    if not known:
        return []
    return [mark for mark in known.values() if mark.at <= moment.now.utc]


def _usual_day(
    rises: Sequence[tuple[float, float]],
    span_s: tuple[float, float],
    uptake: float | None,
) -> float:
    """What a usual day brings: the middle one, or the uptake where days differ.

    Doses that went on as ever say better what the tank takes up than an estimate does.
    Of few days the fullest are believed: doses are left out, and never made up for.
    """
    begins_s, ends_s = span_s
    whole = int((ends_s - begins_s) // DAY_S)
    if not whole:
        return sum(rise for _, rise in rises) * DAY_S / max(ends_s - begins_s, DAY_S)
    by_day: defaultdict[int, float] = defaultdict(float)
    for at_s, rise in rises:
        by_day[int((at_s - begins_s) // DAY_S)] += rise
    days = [by_day[day] for day in range(whole)]
    if whole < FEWEST_EVEN:
        return max(days) if uptake is None else uptake
    usual = median(days)
    apart = max(abs(day - usual) for day in days)
    return usual if uptake is None or apart <= EVEN_SHARE * usual else uptake


def _moved_before(
    moment: Moment, tank_id: str, begins_s: float, usual: tuple[float, float]
) -> float:
    """Where the doses of the weeks before left the water, day by day."""
    a_day, fades = usual
    hours = moment.state.hours.get(tank_id, {})
    since = moment.state.stage_since
    if since is None:
        return 0.0
    per_peq = MEQ_PER_L / moment.machine.tanks[tank_id].net_ul
    days = min(int((begins_s - since.timestamp()) // DAY_S), DAYS_BEFORE)
    first = int(begins_s // HOUR_S) - days * DAY_HOURS
    old = old_by_hour(moment, tank_id, range(first, first + days * DAY_HOURS))
    if not (hours or old):
        return 0.0
    moved, kept = 0.0, exp(-DAY_S * fades)
    # What comes evenly over a day has faded by its end, the more the earlier it came.
    left = (1 - kept) / (DAY_S * fades)
    for begins in range(first, first + days * DAY_HOURS, DAY_HOURS):
        # Asked twice at each reading: no step of our own for each hour.
        day = sum(map(hours.get, range(begins, begins + DAY_HOURS), repeat(0)))
        if old:
            day += sum(map(old.get, range(begins, begins + DAY_HOURS), repeat(0)))
        moved = moved * kept + (day * per_peq - a_day) * left
    return moved


def _steps_of(
    breaks: Sequence[Break], span_s: tuple[float, float]
) -> list[tuple[float, float]]:
    """Rises that are not among the doses: those of water changes."""
    rises = [(known.at.timestamp(), known.rise) for known in breaks]
    return [
        (at_s, rise) for at_s, rise in rises if rise and span_s[0] < at_s <= span_s[1]
    ]
