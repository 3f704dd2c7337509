"""Follows level and uptake of one parameter through tests, doses and water changes.

Floor 1. One subject: the two-state estimator. Laws here: what was delivered is put in,
not what was planned; tests may come at any time and never from the future; a reading
that does not fit is held until another one says the same; every figure has its error.
Shape: days from any origin. Units: levels in one unit, uptake in it per day.
Source: Kalman 1960, Journal of Basic Engineering 82:35 (from memory); uptake walks at
random, the level loses it all the time. Without a walk it gives what least squares
give.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt

from slackwater.water.parameters import PARAMETERS
from slackwater.water.ranges import above_zero, all_finite, ascending, refused, within
from slackwater.water.spellings import units_of
from slackwater.water.uptake_belief import (
    Addition,
    Belief,
    Change,
    Reading,
    Surprise,
    Tuning,
    begun,
    day_of,
    predicted,
    surprise,
    updated,
    variance,
)

# How far a retest may lie from a held reading and still confirm it.
CONFIRMING_SDS = 3.0

_MEQ_PER_L_IN_DKH = float(units_of(PARAMETERS["alkalinity"])["dKH"])
# Defaults for alkalinity, common practice, no source: no test is better; uptake walks
# by so much a day in a day; a confirmed surprise may be an uptake that jumped so far.
_LEAST_TEST_SD_DKH = 0.05
_UPTAKE_WALK_DKH_PER_DAY = 0.04
_JUMP_DKH_PER_DAY = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """What tests and changes say together.

    `belief` stands at the last test and `now` at the day asked for; `surprises` has one
    entry a test after the first, and `held` the places, counted over all tests, of
    readings nobody has confirmed.
    """

    belief: Belief
    now: Belief
    surprises: tuple[Surprise, ...]
    held: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Held:
    """A reading that did not fit; `since` is the belief at the last one that did."""

    place: int
    since: Belief
    before: Belief
    test: Reading


def alkalinity_tuning(most_per_day: float) -> Tuning:
    """The usual tuning for alkalinity in meq/L.

    Units: the largest daily dose in meq/L; the uptake is somewhere between 0 and it.
    Range: above 0. Raises: OutOfRangeError outside it.
    Source: common practice, no source.
    """
    half = above_zero("the largest dose a day", most_per_day, "meq/L") / 2
    return Tuning(
        uptake=half,
        uptake_sd=half,
        least_test_sd=_LEAST_TEST_SD_DKH * _MEQ_PER_L_IN_DKH,
        uptake_walk=(_UPTAKE_WALK_DKH_PER_DAY * _MEQ_PER_L_IN_DKH) ** 2,
        jump_sd=_JUMP_DKH_PER_DAY * _MEQ_PER_L_IN_DKH,
    )


def estimated(
    tests: Sequence[Reading],
    changes: Sequence[Change],
    tuning: Tuning,
    *,
    now_day: float,
) -> Estimate:
    """Level and uptake from all tests and all changes.

    Shape: one test or more, ascending; changes in any order, those of the very moment
    of a test count before it, and those until the first test as part of it.
    Raises: OutOfRangeError for no test, tests out of order or later than now, a
    fraction outside 0..1, or numbers not finite.
    """
    _check(tests, changes, now_day)
    ordered = sorted(changes, key=day_of)
    belief = begun(tests[0], tuning)
    surprises: list[Surprise] = []
    held: list[_Held] = []
    for place, test in enumerate(tests[1:], start=1):
        before = predicted(belief, test.day, ordered, tuning)
        found = surprise(before, test, tuning)
        surprises.append(found)
        this = _Held(place=place, since=belief, before=before, test=test)
        if found.squared <= tuning.holding:
            belief = updated(before, test, tuning)
        elif held and _confirms(held[-1], this, tuning):
            belief = _accepted(held.pop(), test, ordered, tuning)
        else:
            belief = before
            held.append(this)
    return Estimate(
        belief=belief,
        now=predicted(belief, now_day, ordered, tuning),
        surprises=tuple(surprises),
        held=tuple(item.place for item in held),
    )


def _confirms(held: _Held, this: _Held, tuning: Tuning) -> bool:
    """Whether the very next reading says the same: a step, or an uptake that jumped.

    It lies as far from the prediction as the held one did, or further in proportion to
    the time since the last reading that did fit.
    """
    if this.place != held.place + 1:
        return False
    first = held.test.level - held.before.level
    second = this.test.level - this.before.level
    further = (this.test.day - held.since.day) / (held.test.day - held.since.day)
    low, high = sorted((first, first * further))
    reach = CONFIRMING_SDS * sqrt(
        variance(this.test, tuning) + variance(held.test, tuning)
    )
    return low - reach <= second <= high + reach


def _accepted(
    held: _Held, retest: Reading, changes: Sequence[Change], tuning: Tuning
) -> Belief:
    """Both readings count, the level free to step and the uptake to jump."""
    freed = replace(
        held.since,
        level_variance=held.since.level_variance
        + (held.test.level - held.before.level) ** 2,
        uptake_variance=held.since.uptake_variance + tuning.jump_sd**2,
    )
    before = predicted(freed, held.test.day, changes, tuning)
    belief = updated(before, held.test, tuning)
    return updated(predicted(belief, retest.day, changes, tuning), retest, tuning)


def _check(tests: Sequence[Reading], changes: Sequence[Change], now_day: float) -> None:
    days = [test.day for test in tests]
    all_finite("the levels", [test.level for test in tests])
    all_finite("the days", [*days, now_day])
    ascending("the days", days)
    if days[-1] > now_day:
        raise refused(
            what=f"a test on day {days[-1]:g}, and it is day {now_day:g}",
            expected="no test from the future",
            advice="Correct the time of the test.",
        )
    for change in changes:
        _check_change(change)


def _check_change(change: Change) -> None:
    if isinstance(change, Addition):
        all_finite("the additions", [change.day, change.rise, change.sd])
    else:
        all_finite("the water changes", [change.day, change.new_level])
        within("the changed part", change.fraction, (0.0, 1.0))
