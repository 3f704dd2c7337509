"""How noisy a slow source is beside what it used to be.

Floor 3. One subject: the noise of readings that are hours apart. Laws here: what a
source used to be is told by readings older than those it is compared with, so that a
slow end does not become a habit; it needs no level and no whole days, for a dying
source leaves gaps.
Units: meq/L, hours since 1970.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from statistics import median, stdev

from slackwater.facts.courses import HOUR_S, Course
from slackwater.facts.tank import Probe
from slackwater.gate.moment import Moment
from slackwater.gate.swings.explained import by_second, explained
from slackwater.gate.swings.series import hours_of, level_of, residuals, resolution_of
from slackwater.gate.swings.usual import DAY, usual_of

# So many of the newest readings are compared, and so many of them left out: a source
# that shows a few gross outliers has not changed its habits.
READINGS, LEFT_OUT = 16, 4
# Leaving out the farthest makes what is left look quieter: 1.63 times as quiet for the
# jumps of normal values, and 1.81 for the smaller of both figures (simulated). Less
# than that is made good, so that a doubling is one beyond doubt.
TRIMMED = 1.45
# As many readings before them as the noise of a source can be told by.
FEWEST_BEFORE = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Habit:
    """The noise of the newest readings, `now`, and that of those before, `usual`."""

    now: float
    usual: float


def habit_of(moment: Moment, probe: Probe, course: Course) -> Habit | None:
    """Both noises of a slow probe; None while there are too few readings."""
    blocks = [*hours_of(moment, course), course.under_way()]
    given = by_second(moment, probe.tank), blocks[0].at_s, blocks[-1].at_s
    known = explained(moment, probe.tank, level_of(moment, probe, blocks), given)
    rows = residuals(blocks, known)
    newest, before = rows[-READINGS:], rows[:-READINGS]
    # Seen from a day after the newest began, all days before it are whole ones.
    seen_from = newest[0][0] + DAY
    usual = usual_of(before, seen_from, probe.period_s / HOUR_S, resolution_of(probe))
    if usual is None or usual.count < FEWEST_BEFORE:
        return None
    rest = [value - usual.at(hour) for hour, value in newest]
    return Habit(now=noise_of(rest), usual=usual.sd)


def noise_of(rest: Sequence[float]) -> float:
    """The noise of readings, few of which may be gross outliers or steps.

    White: as large from one to the next as all in all. A swing is not.
    """
    return TRIMMED * min(_spread(rest), _jumps(rest))


def _spread(rest: Sequence[float]) -> float:
    """How far values lie apart, those that lie farthest left out."""
    middle = median(rest)
    return stdev(sorted(rest, key=lambda value: abs(value - middle))[:-LEFT_OUT])


def _jumps(rest: Sequence[float]) -> float:
    """The same from one to the next, the largest left out: no step counts."""
    jumps = sorted(abs(after - before) for before, after in pairwise(rest))
    kept = jumps[:-LEFT_OUT]
    return sqrt(sum(jump * jump for jump in kept) / (2 * len(kept)))
