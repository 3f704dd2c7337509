"""Which tests of a series stand out, and which of them a later test confirmed.

Floor 3. One subject: outliers. Laws here: what is far out is marked and not used, never
deleted; two tests that agree confirm each other; the newest one, which nothing has
confirmed yet, is held and asks for a retest.
Source: Hampel 1974 on residuals from the median slope of Theil 1950, in a moving window
of seven tests.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import hypot

from slackwater.assessment.inflow import Inflow, day_of
from slackwater.assessment.records import Point, Series, Use
from slackwater.water.statistics import (
    NARROWEST_WINDOW,
    OUTLIER_SDS,
    median,
    outliers_hampel1974,
)
from slackwater.water.trends import slope_theil1950

# Fewer tests show no pattern to stand out from.
FEWEST = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Fallen:
    """A test less everything that came in since the first one.

    What is left falls by the uptake alone, if the tests are right.
    """

    day: float
    value: float
    sd: float


def fallen(points: Sequence[Point], inflow: Inflow) -> list[Fallen]:
    """The tests of a series less what came in: y = A - D - W.

    Shape: one for each point, in order. Water changes move the level there was, between
    the tests before and after it.
    """
    found: list[Fallen] = []
    came, doubt = 0.0, 0.0
    for place, point in enumerate(points):
        day = day_of(point.at)
        if place:
            before = points[place - 1]
            came += inflow.added(found[-1].day, day)
            for exchange in inflow.within(found[-1].day, day):
                step, sd = exchange.moved((before.value + point.value) / 2)
                came += step
                doubt = hypot(doubt, sd)
        found.append(Fallen(day=day, value=point.value - came, sd=point.sd))
    return found


def cleaned(series: Series, inflow: Inflow) -> Series:
    """The series with its outliers marked."""
    count = len(series.points)
    if count < FEWEST:
        return series
    residuals = _residuals(fallen(series.points, inflow), series.points)
    far = {place: found for place, found in enumerate(residuals) if found}
    marked = list(series.points)
    for place, residual in far.items():
        if any(
            _agree(residual, far.get(other), series.points[place].sd)
            for other in (place - 1, place + 1)
        ):
            continue
        use: Use = "held" if place == count - 1 else "outlier"
        marked[place] = replace(marked[place], use=use)
    return replace(series, points=tuple(marked))


def _agree(one: float, other: float | None, sd: float) -> bool:
    return other is not None and abs(one - other) <= OUTLIER_SDS * hypot(sd, sd)


def _residuals(values: Sequence[Fallen], points: Sequence[Point]) -> Iterator[float]:
    """How far each test lies out, 0 where it does not stand out."""
    for place in range(len(values)):
        first = max(
            0, min(place - NARROWEST_WINDOW // 2, len(values) - NARROWEST_WINDOW)
        )
        near = values[first : first + NARROWEST_WINDOW]
        slope = slope_theil1950(
            [one.day for one in near], [one.value for one in near]
        ).slope
        flat = [one.value - slope * (one.day - near[0].day) for one in near]
        here = place - first
        far = outliers_hampel1974(flat, sd_floor=points[place].sd)
        yield flat[here] - median(flat) if here in far else 0.0
