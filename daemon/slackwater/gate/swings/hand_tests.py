"""What a series of hand tests says: a test a day, now and then two.

Floor 3. One subject: the verdict on hand tests. Laws here: a test is compared with the
line through the tests before it; one that lies far out asks for a retest and says
nothing alone; no kit is called a faulty probe.
Units: meq/L, seconds and hours since 1970.
Source: the line of Theil 1950, see `water.trends`; what kits can do is common practice,
no source (0.1 to 0.3 dKH).
"""

from collections.abc import Iterator, Sequence
from math import sqrt
from statistics import fmean, median

from slackwater.facts.courses import HOUR_S
from slackwater.facts.judgements import Break
from slackwater.facts.waters import MeasurementKept
from slackwater.gate.moment import ALKALINITY, Moment
from slackwater.gate.swings.breaks import reach_of
from slackwater.gate.swings.explained import (
    MEQ_PER_L,
    breaks_of,
    by_hour,
    explained,
)
from slackwater.gate.swings.limits import CYCLE_UNKNOWN, DKH, MODEL_SD
from slackwater.gate.swings.usual import MEDIAN_PRICE, Residual
from slackwater.gate.swings.verdicts import TooLittle, Verdict
from slackwater.gate.swings.votes import Point, judged
from slackwater.water.statistics import noise
from slackwater.water.trends import slope_theil1950

KIT_RESOLUTION = 0.1 * DKH
KIT_SD = 0.1 * DKH
# A line needs so many tests, and looks at no more.
FEWEST_BEFORE, MOST_BEFORE = 4, 10
# Tests so near to each other are replicates.
TOGETHER_S = 1800.0
# So many of the newest tests are judged.
JUDGED = 6
# What was told of and moved the water by nobody knows how much.
UNKNOWN = frozenset({"event", "release"})


def judge_tests(moment: Moment, tank: str) -> Verdict:
    """The verdict on the hand tests of a tank, up to the newest."""
    breaks = breaks_of(moment, tank)
    found = _since_unknown(moment.state.tests.get(tank, []), breaks)
    levels = _by_time(found)
    if len(levels) <= FEWEST_BEFORE:
        why = "fewer than five tests since something told of"
        return TooLittle(why=why, have=len(levels))
    usual = moment.machine.tanks[tank].targets.get(ALKALINITY)
    if usual is None:
        usual = median(level for _, level in levels)
    given = by_hour(moment, tank), levels[0][0], levels[-1][0]
    known = explained(moment, tank, usual, given)
    residuals = [(at_s / HOUR_S, level - known.at(at_s)) for at_s, level in levels]
    stated = [test.sd for test in found if test.sd is not None]
    scatter = noise([value for _, value in residuals], resolution=KIT_RESOLUTION)
    sd = max(scatter, KIT_SD, *stated)
    per_peq = MEQ_PER_L / moment.machine.tanks[tank].net_ul
    points = [
        _point(residuals, place, sd, _reaches(residuals, place, breaks, per_peq))
        for place in range(max(len(levels) - JUDGED, FEWEST_BEFORE), len(levels))
    ]
    return judged(points, levels)


def _since_unknown(
    tests: Sequence[MeasurementKept], breaks: Sequence[Break]
) -> list[MeasurementKept]:
    """The tests since the water last moved by nobody knows how much."""
    cuts = [
        known.at
        for known in breaks
        if known.told in UNKNOWN or (known.told == "change" and known.rise is None)
    ]
    return [test for test in tests if not cuts or test.taken_at > cuts[-1]]


def _by_time(tests: Sequence[MeasurementKept]) -> list[Residual]:
    """Levels by seconds, ascending; those within half an hour are one, their mean."""
    groups: list[list[Residual]] = []
    for test in tests:
        row = test.taken_at.timestamp(), test.value
        if groups and row[0] - groups[-1][0][0] < TOGETHER_S:
            groups[-1].append(row)
        else:
            groups.append([row])
    return [(group[0][0], fmean(value for _, value in group)) for group in groups]


def _reaches(
    residuals: Sequence[Residual],
    place: int,
    breaks: Sequence[Break],
    per_peq: float,
) -> float:
    """How far changes told of since the test before may have moved more than told."""
    begins, ends = residuals[place - 1][0], residuals[place][0]
    return sum(_between(breaks, (begins, ends), per_peq))


def _between(
    breaks: Sequence[Break], span: tuple[float, float], per_peq: float
) -> Iterator[float]:
    for known in breaks:
        at = known.at.timestamp() / HOUR_S
        if known.told != "service" and span[0] < at <= span[1]:
            yield reach_of(known, per_peq)


def _point(residuals: Sequence[Residual], place: int, sd: float, reach: float) -> Point:
    """How far one test lies from the line through those before it."""
    hour, value = residuals[place]
    before = residuals[max(place - MOST_BEFORE, 0) : place]
    hours = [at for at, _ in before]
    slope = slope_theil1950(hours, [level for _, level in before]).slope
    line = median(level + slope * (hour - at) for at, level in before)
    middle = fmean(hours)
    slope_sd = sd / sqrt(sum((at - middle) ** 2 for at in hours))
    of_line = (sd * MEDIAN_PRICE) ** 2 / len(before) + (slope_sd * (hour - middle)) ** 2
    bias = sqrt(of_line + CYCLE_UNKNOWN**2)
    return Point(
        at_s=hour * HOUR_S,
        error=value - line,
        sd=sqrt(sd**2 + MODEL_SD**2 + bias**2),
        bias=bias + reach,
    )
