"""What changing, topping off and evaporating water does to a level.

Floor 1. One subject: dilution. Laws here: a part of the water is above 0 and at most
all of it; what no number of changes reaches is refused, not answered with a large
number; evaporation takes water and leaves everything else.
Units: levels and salinities in one unit, volumes in litres of net water, days.
Source: mass balance of a well mixed tank; salinity by volume, 0.1 percent off.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, exp, inf, log

from slackwater.water.ranges import above_zero, finite, refused, within

# A ratio of logarithms a hair above a whole number is that number.
_HAIR = 1e-9


def after_change(level: float, new_level: float, fraction: float) -> float:
    """The level after a part of the water was changed.

    Range: fraction above 0 and at most 1. Raises: OutOfRangeError outside it.
    Source: C1 = C0 (1 - f) + Cn f.
    """
    return after_changes(level, new_level, fraction, 1)


def after_changes(level: float, new_level: float, fraction: float, count: int) -> float:
    """The level after so many equal changes.

    Range: fraction above 0 and at most 1, count 0 or more.
    Raises: OutOfRangeError outside it.
    Source: Cn + (C0 - Cn) (1 - f)^n.
    """
    kept = 1 - _fraction(fraction)
    within("the count", count, (0, inf))
    finite("the level", level)
    return finite("the new water", new_level) + (level - new_level) * kept**count


def step_of_change(level: float, new_level: float, fraction: float) -> float:
    """How far one change moves a level; below 0 where the new water holds less.

    Raises: OutOfRangeError as `after_change`.
    """
    return after_change(level, new_level, fraction) - level


def changes_to_reach(
    level: float, limit: float, new_level: float, fraction: float
) -> int:
    """How many equal changes bring a level down, or up, to a limit.

    Shape: 0 only for a level at the limit. Range: the limit lies between level and new
    water, the new water beyond it.
    Raises: OutOfRangeError where no number of changes reaches the limit.
    Source: n = ceil(ln((L - Cn) / (C0 - Cn)) / ln(1 - f)).
    """
    kept = 1 - _fraction(fraction)
    distance = finite("the level", level) - finite("the new water", new_level)
    left = finite("the limit", limit) - new_level
    if level == limit:
        return 0
    if left * distance <= 0 or abs(left) > abs(distance):
        raise refused(
            what=f"the new water is at {new_level:g}, the tank at {level:g}",
            expected=f"new water beyond the limit of {limit:g}",
            advice="No number of changes reaches the limit: test the new water, its "
            "source and the salt, and use better ones.",
        )
    return ceil(log(left / distance) / log(kept) - _HAIR) if kept else 1


def fraction_to_reach(level: float, target: float, new_level: float) -> float:
    """The part to change at once for a target.

    Range: the target lies between level and new water and is not the level.
    Raises: OutOfRangeError outside it.
    Source: f = (Ct - C0) / (Cn - C0).
    """
    away = finite("the target", target) - finite("the level", level)
    reach = finite("the new water", new_level) - level
    if away * reach > 0 and abs(away) <= abs(reach):
        return away / reach
    raise refused(
        what=f"the target is {target:g}, the tank at {level:g}, the new water at "
        f"{new_level:g}",
        expected="a target between the tank and the new water",
        advice="Take other new water.",
    )


def time_constant_days(litres: float, litres_per_day: float) -> float:
    """The days in which a steady exchange leaves 37 percent of a difference.

    Range: both above 0. Raises: OutOfRangeError outside it. Source: V / Q.
    """
    above_zero("the volume", litres, "L")
    return litres / above_zero("the exchange", litres_per_day, "L a day")


def half_life_days(time_constant: float) -> float:
    """The days in which a steady exchange halves a difference.

    Range: above 0. Raises: OutOfRangeError outside it. Source: ln 2 V / Q.
    """
    return log(2) * above_zero("the time constant", time_constant, "days")


def after_exchange(
    level: float, new_level: float, time_constant: float, days: float
) -> float:
    """The level after a steady exchange.

    Range: time constant above 0, days 0 or more. Raises: OutOfRangeError outside it.
    Source: C = Cn + (C0 - Cn) exp(-Q t / V).
    """
    above_zero("the time constant", time_constant, "days")
    within("the time", days, (0.0, inf), "days")
    finite("the level", level)
    left = (level - new_level) * exp(-days / time_constant)
    return finite("the new water", new_level) + left


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadyState:
    """Between which levels a tank swings in the long run."""

    before_change: float
    after_change: float


def steady_state(
    production_per_day: float, interval_days: float, fraction: float, new_level: float
) -> SteadyState:
    """Where equal changes at equal intervals lead, with a steady production.

    Range: interval above 0, fraction above 0 and at most 1; production below 0 for
    what is used up. Raises: OutOfRangeError outside it.
    Source: fixed point of C -> C (1 - f) + Cn f + P T.
    """
    finite("the production", production_per_day)
    made = production_per_day * above_zero("the interval", interval_days, "days")
    before = finite("the new water", new_level) + made / _fraction(fraction)
    return SteadyState(before_change=before, after_change=before - made)


@dataclass(frozen=True, slots=True, kw_only=True)
class Portion:
    """An amount of water, in litres, and its level."""

    litres: float
    level: float


def mixed(portions: Sequence[Portion]) -> float:
    """The level, or the salinity, of waters poured together.

    Shape: at least one portion. Range: volumes 0 or more, together above 0.
    Raises: OutOfRangeError outside it.
    """
    litres = sum(
        within("a volume", portion.litres, (0.0, inf), "L") for portion in portions
    )
    above_zero("the volume together", litres, "L")
    content = sum(
        portion.litres * finite("a level", portion.level) for portion in portions
    )
    return content / litres


def salinity_after_evaporation(
    salinity: float, litres: float, evaporated_litres: float
) -> float:
    """The salinity, or any level, when evaporated water was not replaced.

    Range: volume above 0, less than it evaporated. Raises: OutOfRangeError outside it.
    Source: S V / (V - E).
    """
    above_zero("the volume", litres, "L")
    within("what evaporated", evaporated_litres, (0.0, litres), "L")
    left = above_zero("the water left", litres - evaporated_litres, "L")
    return finite("the salinity", salinity) * litres / left


def rise_by_topoff(
    level_in_topoff: float, litres_per_day: float, litres: float, days: float
) -> float:
    """How far a level climbs by what the top-off water holds.

    Range: volume above 0, others 0 or more. Raises: OutOfRangeError outside it.
    Source: c E t / V; evaporation takes none of it away.
    """
    within("the level of the top-off", level_in_topoff, (0.0, inf))
    within("the top-off", litres_per_day, (0.0, inf), "L a day")
    within("the time", days, (0.0, inf), "days")
    above_zero("the volume", litres, "L")
    return level_in_topoff * litres_per_day * days / litres


def excess_water(dosed_litres: float, evaporated_litres: float) -> float:
    """The dosed water a day that evaporation does not make room for.

    Shape: 0 where the top-off simply shrinks; above it an overflow interlock is needed.
    Range: both 0 or more. Raises: OutOfRangeError outside it.
    """
    within("the dosed water", dosed_litres, (0.0, inf), "L a day")
    within("what evaporates", evaporated_litres, (0.0, inf), "L a day")
    return max(0.0, dosed_litres - evaporated_litres)


def salinity_after_excess(
    salinity: float, litres: float, excess_litres_per_day: float, days: float
) -> float:
    """The salinity when the excess of dosed water is taken out as tank water.

    Range: volume above 0, others 0 or more. Raises: OutOfRangeError outside it.
    Source: dS/dt = -S q / V.
    """
    if not excess_litres_per_day:
        return finite("the salinity", salinity)
    constant = time_constant_days(litres, excess_litres_per_day)
    return after_exchange(salinity, 0.0, constant, days)


def _fraction(fraction: float) -> float:
    above_zero("the changed part", fraction)
    return within(
        "the changed part",
        fraction,
        (0.0, 1.0),
        advice="Give the part of the net water, at most all of it.",
    )
