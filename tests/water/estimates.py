"""Invented tanks for the tests of the estimator, in dKH and days."""

from collections.abc import Sequence
from dataclasses import replace
from math import exp
from random import Random

from slackwater.water.uptake_belief import (
    Addition,
    Change,
    Follows,
    Reading,
    Shocks,
    Tuning,
)
from slackwater.water.uptake_filter import Estimate, estimated

DIFFUSE = Tuning(uptake=0.0, uptake_sd=1000.0, least_test_sd=0.01, uptake_walk=0.0)
WALKING = replace(DIFFUSE, uptake=1.0, uptake_sd=0.5, uptake_walk=0.04**2)
SHOCKS = Shocks(
    jumps=0.01,
    jump_share=0.3,
    least_jump=0.05,
    steps=0.0025,
    step_sd=1.0,
    slips=0.05,
    slip_sd=1.5,
)
DOUBTING = replace(WALKING, uptake_walk=0.01**2, shocks=SHOCKS)
DAYS = [0.0, 0.9, 2.0, 3.1, 4.0, 5.0, 6.2, 7.0, 8.1, 9.0, 10.3, 12.0]


def doses(per_day: float, until: float, *, parts: int = 24) -> list[Change]:
    """So many equal doses a day."""
    return [
        Addition(day=n / parts, rise=per_day / parts)
        for n in range(1, int(until * parts) + 1)
    ]


def tank(
    uptakes: Sequence[float], seed: int, *, dose: float = 1.2, sd: float = 0.1
) -> list[Reading]:
    """Daily tests of a tank whose uptake of each day is given."""
    chance = Random(seed)  # noqa: S311 - a simulation, no secret
    level, found = 8.0, []
    for day, uptake in enumerate([0.0, *uptakes]):
        level += dose - uptake if day else 0.0
        found.append(Reading(day=day, level=level + chance.gauss(0, sd), sd=sd))
    return found


def follow(tests: Sequence[Reading], *, days: int = 30, parts: int = 24) -> Estimate:
    """The estimate of daily tests at a dose of 1.2, where something may break in."""
    changes = doses(1.2, days, parts=parts)
    return estimated(tests, changes, DOUBTING, now_day=float(days))


FOLLOWING = replace(
    DOUBTING, uptake=1.0, uptake_sd=1.0, follows=Follows(at=8.0, rest=3.0)
)


def following_tank(
    uptake: float, dose: float, days: Sequence[float], seed: int, *, sd: float = 0.15
) -> list[Reading]:
    """Tests of a tank from 8 on whose uptake falls with the level, solved exactly."""
    chance = Random(seed)  # noqa: S311 - a simulation, no secret
    end, pace = 3.0 + 5.0 * dose / uptake, uptake / 5.0
    return [
        Reading(
            day=day,
            level=end + (8.0 - end) * exp(-pace * day) + chance.gauss(0, sd),
            sd=sd,
        )
        for day in days
    ]


def steadily(dose: float, days: int) -> list[Change]:
    """The same all the time, told by the day."""
    return [Addition(since=day, day=day + 1, rise=dose) for day in range(days)]
