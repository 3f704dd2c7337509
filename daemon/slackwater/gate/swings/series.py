"""From a course of readings to prediction errors of the last day.

Floor 3. One subject: taking out what is explained. Laws here: doses, uptake, additions,
water changes and the daily cycle are taken out; the prediction for a reading knows
nothing of the day it belongs to; a stage that began anew begins the series anew.
Units: meq/L, seconds and hours since 1970.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import median

from slackwater.facts.courses import BLOCK_S, HOUR_S, Block, Course
from slackwater.facts.tank import Probe
from slackwater.gate.moment import ALKALINITY, Moment
from slackwater.gate.swings.breaks import Habits, Joined, joined
from slackwater.gate.swings.explained import (
    MEQ_PER_L,
    Explained,
    breaks_of,
    by_second,
    explained,
    other_hours,
)
from slackwater.gate.swings.limits import (
    EXPLAINED_SHARE,
    LEAST_RESOLUTION,
    MODEL_SD,
    WINDOW_H,
)
from slackwater.gate.swings.usual import Residual, Usual, usual_of
from slackwater.gate.swings.verdicts import TooLittle
from slackwater.gate.swings.votes import Point, without_few
from slackwater.water.statistics import SD_PER_MEDIAN_DEVIATION, noise

# Below so many points a window does not know its own noise: then that of the days
# before counts.
FEWEST_FOR_NOISE = 12
# A source that begins to jump about is no longer as sure as it was.
RESTLESS_POINTS, FEWEST_RESTLESS = 9, 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Errors:
    """What is left of a series when everything explained is taken out.

    `points` are those of the last 24 hours, settled ones.
    """

    points: tuple[Point, ...]
    usual: Usual
    blocks: Sequence[Block]


def errors_of(moment: Moment, probe: Probe, course: Course) -> Errors | TooLittle:
    """The prediction errors of a probe, or what is missing for them."""
    blocks = blocks_of(course, probe)
    hours = hours_of(moment, course)
    if not hours or not blocks:
        return TooLittle(why="no readings of an hour yet", have=len(blocks))
    now_s = blocks[-1].at_s
    given = by_second(moment, probe.tank), hours[0].at_s, now_s
    known = explained(moment, probe.tank, level_of(moment, probe, hours), given)
    found = _baseline(moment, probe, residuals(hours, known), (known, now_s))
    if isinstance(found, TooLittle):
        return found
    usual, join = found
    # A baseline goes back further than this day: all of it is explained.
    recent = join.shifted(residuals(_recent(blocks), known))
    if join.unsettled:
        recent = [row for row in recent if join.is_settled(row[0])]
    moved = known.at(usual.hour * HOUR_S)
    hours_sd = other_hours(moment, probe.tank, (hours[0].at_s, now_s))
    doubt = _Doubt(usual=usual, join=join, known=known, moved=moved, hours_sd=hours_sd)
    return Errors(
        points=tuple(_points(recent, doubt, probe)),
        usual=usual,
        blocks=blocks,
    )


def _baseline(
    moment: Moment,
    probe: Probe,
    residuals: Sequence[Residual],
    at: tuple[Explained, float],
) -> tuple[Usual, Joined] | TooLittle:
    """What is usual, the series joined across everything that was told."""
    known, now_s = at
    now_h, period_h = now_s / HOUR_S, probe.period_s / HOUR_S
    of = period_h, resolution_of(probe), known.fades * HOUR_S
    usual = usual_of(residuals, now_h, *of)
    if usual is None:
        why = "fewer than two whole days before the last"
        return TooLittle(why=why, have=len(residuals))
    breaks = breaks_of(moment, probe.tank)
    if not breaks:
        return usual, Joined()
    habits = Habits(
        clock=usual.clock,
        period_h=period_h,
        per_peq=MEQ_PER_L / moment.machine.tanks[probe.tank].net_ul,
        fades=known.fades * HOUR_S,
    )
    join = joined(residuals, breaks, habits)
    if join.settling:
        return TooLittle(why="something told of is too young")
    usual = usual_of(join.shifted(residuals), now_h, *of)
    if usual is None:
        return TooLittle(why="too little since something told of")
    return usual, join


def blocks_of(course: Course, probe: Probe) -> list[Block]:
    """The blocks that are whole, the one under way once it has its readings."""
    blocks = list(course.blocks)
    if len(course.open) >= readings_of_a_block(probe):
        blocks.append(course.under_way())
    return blocks


def readings_of_a_block(probe: Probe) -> int:
    """How many readings a block should have."""
    return max(int(BLOCK_S / probe.period_s), 1)


def resolution_of(probe: Probe) -> float:
    """What the probe resolves, never nothing."""
    return max(probe.resolution, LEAST_RESOLUTION)


def levels_of(moment: Moment, course: Course) -> list[tuple[float, float]]:
    """The levels themselves, by seconds, of the last week."""
    return [(hour.at_s, hour.level) for hour in hours_of(moment, course)]


def hours_of(moment: Moment, course: Course) -> list[Block]:
    """The hours of a course that are whole and of this stage."""
    hours, since = list(course.hours.values()), moment.state.stage_since
    if since is None:
        return hours
    since_s = since.timestamp()
    return [hour for hour in hours if hour.at_s > since_s]


def _recent(blocks: Sequence[Block]) -> Sequence[Block]:
    """The blocks of the last day."""
    since_s = blocks[-1].at_s - WINDOW_H * HOUR_S
    return [block for block in blocks if block.at_s > since_s]


def level_of(moment: Moment, probe: Probe, hours: Sequence[Block]) -> float:
    """The usual level: the target of the tank, else the middle of these hours."""
    target = moment.machine.tanks[probe.tank].targets.get(ALKALINITY)
    return median(hour.level for hour in hours) if target is None else target


def residuals(blocks: Sequence[Block], known: Explained) -> list[Residual]:
    """What of these blocks, oldest first, is not explained."""
    explained_levels = known.along([block.at_s for block in blocks])
    return [
        (block.at_s / HOUR_S, block.level - level)
        for block, level in zip(blocks, explained_levels, strict=True)
    ]


def _points(recent: Sequence[Residual], doubt: "_Doubt", probe: Probe) -> list[Point]:
    """The last day, with the noise it shows itself where it has enough points."""
    usual = doubt.usual
    at = usual.at
    rows = [(hour, value - at(hour)) for hour, value in recent]
    errors = [error for _, error in rows]
    sd = usual.sd
    if len(errors) >= FEWEST_FOR_NOISE:
        sd = noise(errors, resolution=resolution_of(probe))
    biases = doubt.along([hour for hour, _ in rows])
    points = _with_sd(rows, biases, sd)
    newest = without_few(points[-RESTLESS_POINTS:])
    if probe.period_s < BLOCK_S or len(newest) < FEWEST_RESTLESS:
        return points
    return _with_sd(rows, biases, max(sd, _restlessness(newest)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Doubt:
    """What a prediction rests on, and how uncertain that makes it.

    `moved` is what was explained already where the baseline holds; `hours_sd` the
    doubt about the hours of a doser that another one took the place of.
    """

    usual: Usual
    join: Joined
    known: Explained
    moved: float
    hours_sd: float

    def along(self, hours: Sequence[float]) -> list[float]:
        """The errors that neighbours share at ascending hours."""
        levels = self.known.along([hour * HOUR_S for hour in hours])
        variance, moved = self.usual.sd**2, self.moved
        usual, joins = self.usual.variance_at, self.join.variance_at
        return [
            sqrt(
                usual(hour)
                + joins(hour, variance)
                + (EXPLAINED_SHARE * (level - moved)) ** 2
                + self.hours_sd**2
            )
            for hour, level in zip(hours, levels, strict=True)
        ]


def _with_sd(
    rows: Sequence[Residual], biases: Sequence[float], sd: float
) -> list[Point]:
    variance = sd**2 + MODEL_SD**2
    # Named arguments would take twice as long, and there are many.
    return [
        Point(hour * HOUR_S, error, sqrt(variance + bias**2), bias)
        for (hour, error), bias in zip(rows, biases, strict=True)
    ]


def _restlessness(points: Sequence[Point]) -> float:
    """The noise of these errors around any straight course.

    Source: the median of second differences, whose deviation is sqrt(6) of the noise's.
    """
    errors = [point.error for point in points]
    bends = [
        abs(before - 2 * here + after)
        for before, here, after in zip(errors, errors[1:], errors[2:], strict=False)
    ]
    return SD_PER_MEDIAN_DEVIATION * median(bends) / sqrt(6)
