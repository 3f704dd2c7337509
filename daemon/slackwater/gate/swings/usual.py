"""What a source shows on a usual day: level, drift, and the daily cycle.

Floor 3. One subject: the baseline that the last day is compared with. Laws here: the
last day takes no part in its own baseline; each day is set on its own median, so that
no drift passes for a cycle; every figure has its error; what few days say of a drift is
little, and a drift of the water slows down as the water comes to its new level.
Shape: residuals are (hour since 1970, level less what is explained), ascending.
Units: meq/L, hours.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, hypot, inf, sqrt
from operator import sub
from statistics import median

from slackwater.gate.swings.limits import CYCLE_UNKNOWN
from slackwater.water.statistics import noise
from slackwater.water.trends import slope_theil1950

DAY = 24
# Days before the last one that a baseline may look at.
DAYS_AT_MOST = 8
# Two days tell a drift apart from a cycle; one does not.
FEWEST_DAYS = 2
# A day counts with so few readings, and while no hole in it is wider than a third of it
# or than so many readings: half a day would show half of the cycle as a level.
FEWEST_A_DAY = 2
WIDEST_HOLE_H = 8.0
WIDEST_HOLE_READINGS = 3.2
# The clock is known where so many readings of an hour and its neighbours were seen.
FEWEST_OF_A_CLOCK = 2
NEAR, WIDE = 1, 3
# The error of a median, over that of a mean (normal values).
MEDIAN_PRICE = 1.2533

Residual = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Usual:
    """The baseline of one source.

    `level` holds at `hour`; `drift` is an hour's, of `back_h` hours before that, and
    loses the share `fades` an hour; `cycle` gives for each hour of the clock what lies
    above the day's median and how many readings say so. `sd` is the noise of one of the
    `count` residuals, `level_sd` and `drift_sd` errors of the rest.
    """

    hour: float
    level: float
    drift: float
    back_h: float
    fades: float
    cycle: Sequence[tuple[float, int]]
    sd: float
    level_sd: float
    drift_sd: float
    count: int

    def at(self, hour: float) -> float:
        """What the source should show at an hour, less what is explained."""
        return self.level + self.drift * self.reach_h(hour) + self.clock(hour)

    def reach_h(self, hour: float) -> float:
        """How many hours of the drift lie between the level and an hour."""
        passed = hour - self.hour
        if not self.fades:
            return passed
        left = exp(-self.back_h * self.fades)
        return left * (1 - exp(-passed * self.fades)) / self.fades

    def clock(self, hour: float) -> float:
        """What lies above the day's median at an hour."""
        return self.cycle[int(hour) % DAY][0]

    def variance_at(self, hour: float) -> float:
        """How uncertain that is, as a variance."""
        _, count = self.cycle[int(hour) % DAY]
        price = (self.sd * MEDIAN_PRICE) ** 2
        clock = price / count if count else CYCLE_UNKNOWN**2
        drift = self.drift_sd * self.reach_h(hour)
        return self.level_sd**2 + clock + drift * drift


def usual_of(
    residuals: Sequence[Residual],
    now_hour: float,
    period_h: float,
    resolution: float,
    fades: float = 0.0,
) -> Usual | None:
    """The baseline from the days before the last 24 hours; None where too few are.

    Range: `period_h` hours are expected between readings; `fades` is 0 for a drift that
    goes on evenly.
    """
    days = _days(residuals, now_hour, period_h)
    if 1 not in days or len(days) < FEWEST_DAYS:
        return None
    found = [days[day] for day in sorted(days, reverse=True)]
    middles = [_middle(day) for day in found]
    drift = slope_theil1950(
        [hour for hour, _ in middles], [level for _, level in middles]
    ).slope
    centred = [
        (hour, value - level - drift * (hour - middle))
        for (middle, level), day in zip(middles, found, strict=True)
        for hour, value in day
    ]
    cycle = _cycle(centred)
    rest = [value - cycle[int(hour) % DAY][0] for hour, value in centred]
    sd = noise(rest, resolution=resolution) * _fitted(cycle, len(found[-1]))
    level_sd = sd * MEDIAN_PRICE / sqrt(len(found[-1]))
    hour, level = middles[-1]
    count = len(found)
    return Usual(
        hour=hour,
        level=level,
        drift=drift,
        back_h=(hour - middles[0][0]) / 2,
        fades=fades,
        cycle=cycle,
        sd=sd,
        level_sd=level_sd,
        # Two days cannot tell a drift from a step that is over.
        drift_sd=hypot(
            level_sd * sqrt(12 / (count**3 - count)) / DAY, drift / (count - 1)
        ),
        count=len(rest),
    )


def _days(
    residuals: Sequence[Residual], now_hour: float, period_h: float
) -> dict[int, Sequence[Residual]]:
    """Residuals by how many days they lie back; a day with gaps is left out."""
    found: dict[int, Sequence[Residual]] = {}
    widest = max(WIDEST_HOLE_H, WIDEST_HOLE_READINGS * period_h)
    ends_h = now_hour - DAY
    end = bisect_right(residuals, (ends_h, inf))
    for day in range(1, DAYS_AT_MOST + 1):
        begin = bisect_right(residuals, (ends_h - DAY, inf), hi=end)
        rows = residuals[begin:end]
        if len(rows) >= FEWEST_A_DAY and _hole(rows, ends_h) <= widest:
            found[day] = rows
        ends_h, end = ends_h - DAY, begin
    return found


def _hole(rows: Sequence[Residual], ends: float) -> float:
    """The longest stretch without a reading in the day that ends at an hour."""
    hours = [ends - DAY, *[hour for hour, _ in rows], ends]
    widest: float = max(map(sub, hours[1:], hours))
    return widest


def _middle(day: Sequence[Residual]) -> Residual:
    hours, values = zip(*day, strict=True)
    return sum(hours) / len(day), median(values)


def _cycle(centred: Sequence[Residual]) -> list[tuple[float, int]]:
    """For each hour of the clock the median of it and its neighbours."""
    clock: list[list[float]] = [[] for _ in range(DAY)]
    for hour, value in centred:
        clock[int(hour) % DAY].append(value)
    return [_of_clock(clock, hour) for hour in range(DAY)]


def _of_clock(clock: Sequence[Sequence[float]], hour: int) -> tuple[float, int]:
    for reach in (NEAR, WIDE):
        near: list[float] = []
        for place in range(hour - reach, hour + reach + 1):
            near += clock[place % DAY]
        if len(near) >= FEWEST_OF_A_CLOCK:
            return median(near), len(near)
    return 0.0, 0


def _fitted(cycle: Sequence[tuple[float, int]], a_day: int) -> float:
    """How much a noise was made smaller by fitting a clock and days to it."""
    of_clock = median(max(count, FEWEST_OF_A_CLOCK) for _, count in cycle)
    return 1 / sqrt((1 - 1 / of_clock) * (1 - 1 / a_day))
