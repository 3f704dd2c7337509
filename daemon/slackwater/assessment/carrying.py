"""A value of its sampling day → what it is now, with its error.

Floor 3. One subject: carrying. Laws here: what came in is added and what is used up is
taken off, both with their errors; where nobody knows the uptake, what was added is not
credited but widens the error; where nobody told what was added, what is used up counts
as replaced and widens it too; a level is never below 0.
Units: canonical; days since `inflow.ORIGIN`.
"""

from dataclasses import dataclass
from math import hypot, sqrt

from slackwater.assessment.inflow import Inflow
from slackwater.assessment.practice import shelf_days

# Half the width of a 90 % interval: a stated lower bound is read as such.
_HALF_WIDTH_90 = 1.645


@dataclass(frozen=True, slots=True, kw_only=True)
class Consumption:
    """What is used up a day, and how sure that is; None when nobody knows."""

    per_day: float | None = None
    sd: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """A level with its standard deviation on a day."""

    level: float
    sd: float
    day: float


def stated(estimate: float, low: float) -> Consumption:
    """The consumption that the machine's operator stated with a lower bound."""
    return Consumption(per_day=estimate, sd=(estimate - low) / _HALF_WIDTH_90)


def carried(
    start: Carried, end: float, inflow: Inflow, consumption: Consumption
) -> Carried:
    """A level as it is on a later day.

    Range: `end` not before the day of the level. The error of the test grows as large
    again over its shelf life, because the tank is not the model: common practice.
    """
    level, day = start.level, start.day
    variance = start.sd**2
    for exchange in inflow.within(start.day, end):
        level = max(level + _moved(day, exchange.day, inflow, consumption), 0.0)
        step, sd = exchange.moved(level)
        level, day, variance = level + step, exchange.day, variance + sd**2
    level = max(level + _moved(day, end, inflow, consumption), 0.0)
    passed = end - start.day
    ageing = start.sd * passed / shelf_days(inflow.parameter)
    unsure = consumption.sd * passed
    untold = _untold(start.day, end, inflow, consumption) / sqrt(3)
    return Carried(
        level=level, sd=hypot(sqrt(variance), ageing, unsure, untold), day=end
    )


def uncredited(
    begin: float, end: float, inflow: Inflow, consumption: Consumption
) -> float:
    """What came in between two days and moved no level, for nobody knows the uptake.

    Shape: 0 or more. All of it may still be there.
    """
    if consumption.per_day is not None:
        return 0.0
    return max(inflow.added(begin, end), 0.0)


def _moved(begin: float, end: float, inflow: Inflow, consumption: Consumption) -> float:
    if consumption.per_day is None:
        return 0.0
    known = _known(begin, end, inflow)
    # What is known to have come in beyond what was used up is there at least.
    more = max(_net(begin, known, inflow, consumption.per_day), 0.0)
    return more + _net(known, end, inflow, consumption.per_day)


def _untold(
    begin: float, end: float, inflow: Inflow, consumption: Consumption
) -> float:
    """Half the width of what may have come in, or have been used up, unknown to all.

    Where only the one is known, the other was anything between nothing and twice as
    much, each as likely.
    """
    if consumption.per_day is None:
        return inflow.added(begin, end)
    known = _known(begin, end, inflow)
    return max(-_net(begin, known, inflow, consumption.per_day), 0.0)


def _known(begin: float, end: float, inflow: Inflow) -> float:
    """From when on it is known what came in, as far as that lies between two days."""
    return min(max(inflow.known_from, begin), end)


def _net(begin: float, end: float, inflow: Inflow, per_day: float) -> float:
    return inflow.added(begin, end) - per_day * (end - begin)
