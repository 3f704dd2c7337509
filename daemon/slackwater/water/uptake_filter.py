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
from math import inf, sqrt

from slackwater.water.parameters import PARAMETERS
from slackwater.water.quantiles import normal_quantile_wichura1988
from slackwater.water.ranges import above_zero, all_finite, ascending, refused, within
from slackwater.water.spellings import units_of

# How far a retest may lie from a held reading and still confirm it.
CONFIRMING_SDS = 3.0
# A squared innovation this many variances large is held: common practice, no source.
HOLDING = 12.0

_MEQ_PER_L_IN_DKH = float(units_of(PARAMETERS["alkalinity"])["dKH"])
# Defaults for alkalinity, common practice, no source: no test is better; uptake walks
# by so much a day in a day; a confirmed surprise may be an uptake that jumped so far.
_LEAST_TEST_SD_DKH = 0.05
_UPTAKE_WALK_DKH_PER_DAY = 0.04
_JUMP_DKH_PER_DAY = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuning:
    """What is believed before the first test, and how fast things may change.

    Units: `uptake_walk` and `level_walk` are variances a day, of uptake and of level.
    """

    uptake: float
    uptake_sd: float
    least_test_sd: float
    uptake_walk: float
    jump_sd: float
    level_walk: float = 0.0
    holding: float = HOLDING


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One test: day, level and standard deviation."""

    day: float
    level: float
    sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Addition:
    """Something that lifts the level at once; `sd` where the amount is not certain."""

    day: float
    rise: float
    sd: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Exchange:
    """A water change: the part of the water, and the level in what came in."""

    day: float
    fraction: float
    new_level: float


Change = Addition | Exchange


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """Level and uptake on a day, with their variances and covariance."""

    day: float
    level: float
    uptake: float
    level_variance: float
    covariance: float
    uptake_variance: float

    @property
    def level_sd(self) -> float:
        """Standard deviation of the level."""
        return sqrt(self.level_variance)

    @property
    def uptake_sd(self) -> float:
        """Standard deviation of the uptake."""
        return sqrt(self.uptake_variance)

    def uptake_interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """The interval of the uptake.

        Raises: OutOfRangeError for a confidence not above 0 and below 1.
        """
        reach = normal_quantile_wichura1988((1 + confidence) / 2) * self.uptake_sd
        return self.uptake - reach, self.uptake + reach


@dataclass(frozen=True, slots=True, kw_only=True)
class Surprise:
    """How far a test lies from what was predicted, and the deviation of that."""

    difference: float
    sd: float

    @property
    def z(self) -> float:
        """In standard deviations, above 0 for a test above the prediction."""
        return self.difference / self.sd

    @property
    def squared(self) -> float:
        """The normalised innovation squared."""
        return self.z**2


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
    ordered = sorted(changes, key=lambda change: change.day)
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


def begun(test: Reading, tuning: Tuning) -> Belief:
    """What is believed after the first test.

    Range: error of the test and deviation of the uptake above 0.
    Raises: OutOfRangeError outside it.
    """
    spread = above_zero("the deviation of the uptake", tuning.uptake_sd)
    return Belief(
        day=test.day,
        level=test.level,
        uptake=tuning.uptake,
        level_variance=_variance(test, tuning),
        covariance=0.0,
        uptake_variance=spread**2,
    )


def predicted(
    belief: Belief, day: float, changes: Sequence[Change], tuning: Tuning
) -> Belief:
    """What is believed on a later day, before any test of that day.

    Shape: changes ascending; those after the day of the belief and until the day asked
    for take part. Range: a day not before that of the belief.
    Raises: OutOfRangeError outside it.
    """
    begin = belief.day
    within("the day", day, (begin, inf))
    for change in changes:
        # Of one moment there may be several: each counts.
        if begin < change.day <= day:
            belief = _changed(_passed(belief, change.day, tuning), change)
    return _passed(belief, day, tuning)


def surprise(before: Belief, test: Reading, tuning: Tuning) -> Surprise:
    """How far a test lies from what is believed for its moment."""
    return Surprise(
        difference=test.level - before.level,
        sd=sqrt(before.level_variance + _variance(test, tuning)),
    )


def updated(before: Belief, test: Reading, tuning: Tuning) -> Belief:
    """What is believed after a test, the belief standing at its moment."""
    noise = _variance(test, tuning)
    total = before.level_variance + noise
    gain, uptake_gain = before.level_variance / total, before.covariance / total
    difference = test.level - before.level
    return Belief(
        day=before.day,
        level=before.level + gain * difference,
        uptake=before.uptake + uptake_gain * difference,
        level_variance=gain * noise,
        covariance=before.covariance * noise / total,
        uptake_variance=before.uptake_variance - uptake_gain * before.covariance,
    )


def _passed(belief: Belief, day: float, tuning: Tuning) -> Belief:
    """Time goes by and nothing is added."""
    span = day - belief.day
    if not span:
        return belief
    walk = tuning.uptake_walk
    return Belief(
        day=day,
        level=belief.level - belief.uptake * span,
        uptake=belief.uptake,
        level_variance=belief.level_variance
        - 2 * span * belief.covariance
        + span**2 * belief.uptake_variance
        + walk * span**3 / 3
        + tuning.level_walk * span,
        covariance=belief.covariance
        - span * belief.uptake_variance
        - walk * span**2 / 2,
        uptake_variance=belief.uptake_variance + walk * span,
    )


def _changed(belief: Belief, change: Change) -> Belief:
    if isinstance(change, Addition):
        return replace(
            belief,
            level=belief.level + change.rise,
            level_variance=belief.level_variance + change.sd**2,
        )
    kept = 1 - change.fraction
    return replace(
        belief,
        level=kept * belief.level + change.fraction * change.new_level,
        level_variance=kept**2 * belief.level_variance,
        covariance=kept * belief.covariance,
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
        _variance(this.test, tuning) + _variance(held.test, tuning)
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


def _variance(test: Reading, tuning: Tuning) -> float:
    return max(above_zero("the error of a test", test.sd), tuning.least_test_sd) ** 2


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
