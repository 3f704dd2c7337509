"""What is believed of level and uptake, and how time, changes and tests move it.

Floor 1. One subject: the two states and their variances. Laws here: every figure has
its error; time makes it larger, a test smaller; a belief only goes forward.
Shape: days from any origin. Units: levels in one unit, uptake in it per day.
Source: Kalman 1960, Journal of Basic Engineering 82:35 (from memory); uptake walks at
random, the level loses it all the time.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf, sqrt

from slackwater.water.quantiles import normal_quantile_wichura1988
from slackwater.water.ranges import above_zero, within

# A squared innovation this many variances large is held: common practice, no source.
HOLDING = 12.0


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
        level_variance=variance(test, tuning),
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
    within("the day", day, (belief.day, inf))
    # Of one moment there may be several: each counts.
    first = bisect_right(changes, belief.day, key=day_of)
    for change in changes[first : bisect_right(changes, day, key=day_of)]:
        belief = _changed(_passed(belief, change.day, tuning), change)
    return _passed(belief, day, tuning)


def day_of(change: Change) -> float:
    """When a change came, to sort by."""
    return change.day


def surprise(before: Belief, test: Reading, tuning: Tuning) -> Surprise:
    """How far a test lies from what is believed for its moment."""
    return Surprise(
        difference=test.level - before.level,
        sd=sqrt(before.level_variance + variance(test, tuning)),
    )


def updated(before: Belief, test: Reading, tuning: Tuning) -> Belief:
    """What is believed after a test, the belief standing at its moment."""
    noise = variance(test, tuning)
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


def variance(test: Reading, tuning: Tuning) -> float:
    """The variance of a test, never less than that of the best one.

    Raises: OutOfRangeError for an error that is not above 0.
    """
    return max(above_zero("the error of a test", test.sd), tuning.least_test_sd) ** 2


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
