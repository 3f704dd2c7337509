"""Plain rules beside the judge, and an oracle that knows the baseline.

None shares code with the daemon. Each gives the minutes at which it would stop, in
order; what a rule cannot tell (a fault, a fall) it does not say.
"""

from collections.abc import Callable, Iterator
from statistics import median

from tests.gate.swing_tanks import DAY_MIN, HOUR_MIN, Series

Rule = Callable[[Series, float, float], list[float]]

# Plain rules stop at half a dKH, which is where a swing begins to count.
LIMIT_DKH = 0.5
# The oracle's cumulative sum: Page 1954, for a shift of 0.4 dKH.
SLACK_DKH, THRESHOLD_SDS = 0.2, 5.0
# A reading this far out alone is left out; no rule may stop on a wrong sample.
FAR_SDS = 4.0


def threshold(series: Series, since: float, until: float) -> list[float]:
    """One reading half a dKH above the target."""
    return [
        minute
        for minute, value in series.readings
        if since <= minute <= until and value > series.target + LIMIT_DKH
    ]


def rate(series: Series, since: float, until: float) -> list[float]:
    """The last hour's median half a dKH above the lowest hour of the day before it."""
    hours: dict[int, list[float]] = {}
    stops = []
    for minute, value in series.readings:
        hour = int(minute // HOUR_MIN)
        hours.setdefault(hour, []).append(value)
        if not since <= minute <= until:
            continue
        day = [median(hours[h]) for h in range(hour - 24, hour) if h in hours]
        if day and median(hours[hour]) - min(day) > LIMIT_DKH:
            stops.append(minute)
    return stops


def oracle(series: Series, since: float, until: float) -> list[float]:
    """A cumulative sum of what is left when the true level is taken off."""
    return list(_oracle(series, since, until))


def _oracle(series: Series, since: float, until: float) -> Iterator[float]:
    total, pending = 0.0, False
    for minute, value in series.readings:
        if minute < since - DAY_MIN or minute > until:
            continue
        error = (value - series.baseline(minute)) / series.noise
        # The first far reading waits for a second one.
        if abs(error) > FAR_SDS and not pending:
            pending = True
            continue
        pending = abs(error) > FAR_SDS
        total = max(0.0, total + error - max(SLACK_DKH / series.noise, 0.5))
        if total > THRESHOLD_SDS and minute >= since:
            yield minute


RIVALS: dict[str, Rule] = {"threshold": threshold, "rate": rate, "oracle": oracle}
