"""What is believed of level and uptake, and what a test says to it.

Floor 1. One subject: the two states and their errors. Laws here: uptake may follow the
level and is then stated at one level; every figure has its error; a test makes it
smaller.
Shape: days from any origin. Units: levels in one unit, uptake in it per day.
Source: Kalman 1960, Journal of Basic Engineering 82:35 (from memory).
"""

from dataclasses import dataclass, replace
from math import sqrt

from slackwater.water.quantiles import normal_quantile_wichura1988
from slackwater.water.ranges import above_zero


@dataclass(frozen=True, slots=True, kw_only=True)
class Follows:
    """Uptake in proportion to the level above `rest`; what is stated is that at `at`.

    Range: `at` above `rest`.
    Source: one box whose uptake ends at rest; a model, not a measurement.
    """

    at: float
    rest: float

    def return_days(self, uptake: float) -> float:
        """The time constant with which a level comes back under a steady dose.

        Range: uptake at the stated level above 0. Raises: OutOfRangeError outside it.
        """
        return (self.at - self.rest) / above_zero("the uptake", uptake)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shocks:
    """What may break in, and how often: a jump of uptake, a step of the level, a slip.

    Units: jumps and steps a day, each with its standard deviation, that of a jump as a
    share of the uptake and never below `least_jump`; `slips` is the share of tests that
    are grossly wrong, by `slip_sd`.
    """

    jumps: float
    jump_share: float
    least_jump: float
    steps: float
    step_sd: float
    slips: float
    slip_sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuning:
    """What is believed before the first test, and how fast things may change.

    Units: `uptake_walk` and `level_walk` are variances a day, of uptake and of level.
    Without `shocks` every test counts in full.
    """

    uptake: float
    uptake_sd: float
    least_test_sd: float
    uptake_walk: float
    level_walk: float = 0.0
    follows: Follows | None = None
    shocks: Shocks | None = None

    @property
    def steepness(self) -> float:
        """The part of the uptake that goes with each unit of the level."""
        follows = self.follows
        return 0.0 if follows is None else 1.0 / (follows.at - follows.rest)

    def share(self, level: float) -> float:
        """The part of the uptake that is left at a level, 1 where it follows none."""
        follows = self.follows
        if follows is None:
            return 1.0
        return max(level - follows.rest, 0.0) / (follows.at - follows.rest)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One test: day, level and standard deviation."""

    day: float
    level: float
    sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Addition:
    """Something that lifts the level; `sd` where the amount is not certain.

    At once on `day`, or evenly from `since` until then.
    """

    day: float
    rise: float
    sd: float = 0.0
    since: float | None = None


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

    def at_its_level(self, tuning: Tuning) -> "Belief":
        """The same with the uptake at the level there is, where it follows the level.

        Source: the variance of a product, made linear.
        """
        share, slope = tuning.share(self.level), self.uptake * tuning.steepness
        return replace(
            self,
            uptake=self.uptake * share,
            covariance=share * self.covariance + slope * self.level_variance,
            uptake_variance=share**2 * self.uptake_variance
            + 2 * share * slope * self.covariance
            + slope**2 * self.level_variance,
        )


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
        level_variance=noise_variance(test, tuning),
        covariance=0.0,
        uptake_variance=spread**2,
    )


def surprise(before: Belief, test: Reading, tuning: Tuning) -> Surprise:
    """How far a test lies from what is believed for its moment."""
    return Surprise(
        difference=test.level - before.level,
        sd=sqrt(before.level_variance + noise_variance(test, tuning)),
    )


def updated(before: Belief, test: Reading, tuning: Tuning) -> Belief:
    """What is believed after a test, the belief standing at its moment."""
    return corrected(before, test.level, noise_variance(test, tuning))


def corrected(before: Belief, level: float, noise: float) -> Belief:
    """What is believed after a level was read with a variance of error."""
    total = before.level_variance + noise
    gain, uptake_gain = before.level_variance / total, before.covariance / total
    difference = level - before.level
    return Belief(
        day=before.day,
        level=before.level + gain * difference,
        uptake=before.uptake + uptake_gain * difference,
        level_variance=gain * noise,
        covariance=before.covariance * noise / total,
        uptake_variance=before.uptake_variance - uptake_gain * before.covariance,
    )


def noise_variance(test: Reading, tuning: Tuning) -> float:
    """The variance of the error of a test, never below the least there is.

    Raises: OutOfRangeError for an error that is not above 0.
    """
    return max(above_zero("the error of a test", test.sd), tuning.least_test_sd) ** 2
