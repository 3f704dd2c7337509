"""What a tank takes up in a day, by lines through tests less what was added.

Floor 1. One subject: uptake by mass balance. Laws here: what was added is what was
delivered, never what was planned; an uptake comes with its error; where the tests
cannot tell, the error is endless. Without a word on outside sources the figure is the
net balance, not the uptake.
Shape: days from any origin, ascending. Units: levels in one unit, rates of it per day.
Source: dA/dt = d(t) - U, so U is minus the slope of A less all additions.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt

from slackwater.water.quantiles import normal_quantile_wichura1988
from slackwater.water.ranges import above_zero, all_finite, finite, refused
from slackwater.water.trends import (
    least_squares,
    slope_theil1950,
    weighted_least_squares,
)

# Two estimates further apart than so many errors do not speak of one tank.
DISAGREEMENT_SDS = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Uptake:
    """An uptake a day with its standard deviation and its interval."""

    per_day: float
    sd: float
    low: float
    high: float

    def disagrees(self, other: "Uptake") -> bool:
        """Whether another estimate lies more than three common errors away."""
        apart = abs(self.per_day - other.per_day)
        return apart > DISAGREEMENT_SDS * hypot(self.sd, other.sd)


@dataclass(frozen=True, slots=True, kw_only=True)
class Steady:
    """An addition that runs all the time between two days."""

    from_day: float
    to_day: float
    per_day: float

    def until(self, day: float) -> float:
        """What it has added until a day; 0 before it begins."""
        return max(0.0, min(day, self.to_day) - self.from_day) * self.per_day


def added_until(additions: Sequence[Steady], day: float) -> float:
    """What steady additions have added together until a day."""
    return sum(addition.until(day) for addition in additions)


def uptake_by_least_squares(
    days: Sequence[float], levels: Sequence[float], added: Sequence[float]
) -> Uptake:
    """The uptake by the line of least squares, with its 95 percent interval.

    Shape: three tests or more; `added` is what came into the water until each test,
    water changes included. Raises: OutOfRangeError otherwise.
    """
    line = least_squares(days, balance(levels, added))
    low, high = line.interval()
    return Uptake(per_day=-line.slope, sd=line.slope_sd, low=-high, high=-low)


def uptake_by_known_errors(
    days: Sequence[float], balanced: Sequence[float], sds: Sequence[float]
) -> Uptake:
    """The uptake where the standard deviation of every test is known.

    Shape: three tests or more, additions taken out by `balance`.
    Raises: OutOfRangeError otherwise.
    """
    line = weighted_least_squares(days, balanced, sds)
    reach = line.slope_sd * normal_quantile_wichura1988(0.975)
    return Uptake(
        per_day=-line.slope,
        sd=line.slope_sd,
        low=-line.slope - reach,
        high=-line.slope + reach,
    )


def uptake_by_median_slope(
    days: Sequence[float], levels: Sequence[float], added: Sequence[float]
) -> Uptake:
    """The uptake by the median slope, which gross outliers hardly move.

    Shape: two tests or more; four and fewer have an endless error.
    Raises: OutOfRangeError otherwise.
    """
    slope = slope_theil1950(days, balance(levels, added))
    sd = (slope.high - slope.low) / (2 * normal_quantile_wichura1988(0.975))
    return Uptake(per_day=-slope.slope, sd=sd, low=-slope.high, high=-slope.low)


def uptake_between(fall: float, added: float, days: float, test_sd: float) -> Uptake:
    """The uptake that two tests show, with its 95 percent interval.

    Units: how far the level fell, below 0 where it rose. Range: days and error above
    0. Raises: OutOfRangeError outside it.
    Source: U = (A1 - A2 + D) / dt, error sqrt(2) times that of a test over dt.
    """
    span = above_zero("the span", days, "days")
    sd = above_zero("the error of a test", test_sd) * sqrt(2) / span
    per_day = finite("the balance", fall + added) / span
    reach = sd * normal_quantile_wichura1988(0.975)
    return Uptake(per_day=per_day, sd=sd, low=per_day - reach, high=per_day + reach)


def balance(levels: Sequence[float], added: Sequence[float]) -> tuple[float, ...]:
    """Levels less everything that was added until then.

    Raises: OutOfRangeError for unequal lengths or numbers not finite.
    """
    all_finite("the additions", added, least=0)
    if len(added) != all_finite("the levels", levels, least=0):
        raise refused(
            what=f"{len(levels)} levels and {len(added)} additions",
            expected="as many",
            advice="Give for each test what was added until then.",
        )
    return tuple(level - sum_ for level, sum_ in zip(levels, added, strict=True))
