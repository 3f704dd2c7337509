"""How a level is led to its target, and a daily dose to what is taken up.

Floor 1. One subject: ramps, dead-bands and bounds. Laws here: nothing chases, a change
smaller than its own uncertainty is none; a level goes down by withholding and never by
acid; a dose is never below 0 nor above its cap; what is left out is said.
Units: levels in one unit, doses and rises in it per day; shares as parts of 1.
Source: own rules; all figures are common practice, no source.
"""

from dataclasses import dataclass
from math import ceil, copysign, expm1, floor, inf

from slackwater.water.limits import LONGEST_RAMP_DAYS
from slackwater.water.quantiles import normal_quantile_wichura1988, student_quantile
from slackwater.water.ranges import above_zero, finite, refused, within

# In floating point 0.3 / 0.1 is a hair above 3.
HAIR = 1e-9
# A two-sided 90 percent interval; a smaller change may be chance alone.
CONFIDENCE = 0.90
SMALLEST_STEP_SHARE = 0.03
LEVEL_SDS = 1.5
DEPARTURE_SDS = 3.0
UPTAKE_ROOM = 1.3
# After so many time constants a steady push moves a level no further.
FADED = 3.0
# Without a test corrections end first, then the base shrinks.
CORRECTION_DAYS = 7.0
WHOLE_BASE_DAYS = 14.0
LATE_BASE_SHARE = 0.9
_HOURS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Ramp:
    """Equal steps to a target: so many days, so much a day, below 0 for a fall."""

    days: int
    step: float

    @property
    def retest_after_days(self) -> int:
        """Test again before the second half begins."""
        return self.days // 2

    def dose(self, uptake: float) -> float:
        """The daily dose while it lasts; a fall is a dose withheld, never acid."""
        return max(0.0, uptake + self.step)


def ramp(level: float, target: float, most_per_day: float) -> Ramp:
    """The shortest ramp whose steps keep within the most a day.

    Range: most a day above 0, at most 60 days.
    Raises: OutOfRangeError outside it or for numbers not finite.
    Source: n = ceil(|target - level| / most - 1e-9), step = (target - level) / n.
    """
    away = finite("the target", target) - finite("the level", level)
    days = ceil(abs(away) / above_zero("the most a day", most_per_day) - HAIR)
    if days > LONGEST_RAMP_DAYS:
        raise refused(
            what=f"the ramp takes {days} days",
            expected=f"{LONGEST_RAMP_DAYS} days or fewer",
            advice="Choose a nearer target.",
        )
    return Ramp(days=days, step=away / days if days else 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Return:
    """What a level does by itself: `per_day` now, fading over `days`.

    Range: the time constant above 0; it may rise or fall.
    """

    per_day: float
    days: float

    def lasts(self, days: float) -> float:
        """For how many whole days a steady push counts after some days, less fading.

        Source: dx/dt = -x / t + c moves x by c t (1 - exp(-n / t)) in n days.
        """
        back = above_zero("the time constant", self.days)
        return -back * expm1(-days / back)


def returning_ramp(
    away: float, most_per_day: float, own: Return, least_days: float
) -> Ramp:
    """Equal steps to the target for a level that also moves by itself.

    Units: `away` is target less level; `most_per_day` bounds what the level does on the
    first day, by itself and by the ramp together.
    Shape: a step of the other sign where the level comes back too fast by itself.
    Range: the most a day above 0. Raises: OutOfRangeError outside it.
    """
    most = above_zero("the most a day", most_per_day)
    finite("the distance", away)
    days, longest = ceil(least_days - HAIR), FADED * own.days
    while abs(away) > most * own.lasts(days) and days < min(longest, LONGEST_RAMP_DAYS):
        days += 1
    first = min(abs(away) / own.lasts(days), most)
    return Ramp(days=days, step=copysign(first, away) - own.per_day)


def departs(planned: float, measured: float, sd: float) -> bool:
    """Whether a measured rise lies more than three errors from the planned one.

    Units: `sd` of the measured rise. Range: above 0. Raises: OutOfRangeError outside.
    """
    return abs(measured - planned) > DEPARTURE_SDS * above_zero("the error", sd)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lifting:
    """How a level away from its target is corrected besides maintenance.

    `most` a day either way, over `tau_days` at the fastest, and not at all within
    `least` of the target.
    """

    most: float
    tau_days: float
    least: float


def lift(away: float, level_sd: float, lifting: Lifting) -> float:
    """What is dosed a day above the uptake to come nearer the target.

    Units: `away` is target less level. Range: time and most above 0, errors 0 or more.
    Raises: OutOfRangeError outside it.
    Source: clip(away / tau, most), 0 inside max(least, 1.5 errors of the level).
    """
    finite("the distance", away)
    within("the error of the level", level_sd, (0.0, inf))
    if abs(away) < max(lifting.least, LEVEL_SDS * level_sd):
        return 0.0
    most = above_zero("the most a day", lifting.most)
    return max(-most, min(most, away / above_zero("the time", lifting.tau_days)))


def dead_band(dose: float, uptake_sd: float, degrees: int | None = None) -> float:
    """How much a dose must be wrong before it is changed.

    Shape: `degrees` of freedom where the error comes from a line, None where it is
    known. Range: dose and error 0 or more. Raises: OutOfRangeError outside it.
    Source: the larger of a 90 percent error and 3 percent of the dose.
    """
    within("the dose", dose, (0.0, inf))
    within("the error of the uptake", uptake_sd, (0.0, inf))
    upper = (1 + CONFIDENCE) / 2
    sds = (
        normal_quantile_wichura1988(upper)
        if degrees is None
        else student_quantile(upper, degrees)
    )
    return max(sds * uptake_sd, SMALLEST_STEP_SHARE * dose)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """How far a daily dose may move in a day, and its cap.

    Up by the larger of a share and `least_rise`, because from 0 no share ever starts;
    down by a share. Too much is worse than too little, yet a fall is quicker: it is
    the rise that does harm.
    """

    cap: float
    least_rise: float
    rise_share: float = 0.10
    fall_share: float = 0.20


def next_dose(dose: float, wanted: float, band: float, bounds: Bounds) -> float:
    """The daily dose of the next day.

    Shape: the present dose where the change is smaller than the dead-band. Range: dose
    and cap 0 or more. Raises: OutOfRangeError outside it or for numbers not finite.
    """
    within("the dose", dose, (0.0, inf))
    cap = within("the cap", bounds.cap, (0.0, inf))
    if abs(finite("the wanted dose", wanted) - dose) < band:
        return min(dose, cap)
    highest = dose + max(bounds.rise_share * dose, bounds.least_rise)
    lowest = dose * (1 - bounds.fall_share)
    return max(0.0, min(highest, max(lowest, wanted), cap))


@dataclass(frozen=True, slots=True, kw_only=True)
class Portions:
    """Whole portions of a pump, and what they leave out."""

    count: int
    amount: float
    left_out: float


def portions(amount: float, smallest: float) -> Portions:
    """An amount in whole smallest reliable doses, rounded down.

    Range: amount 0 or more, smallest dose above 0. Raises: OutOfRangeError outside it.
    """
    within("the amount", amount, (0.0, inf))
    count = floor(amount / above_zero("the smallest dose", smallest) + HAIR)
    given = min(count * smallest, amount)
    return Portions(count=count, amount=given, left_out=amount - given)


def gross_addition(uptake: float, net_rise: float) -> float:
    """A ceiling for what is poured in in a day, to suggest to the operator.

    Range: both 0 or more. Raises: OutOfRangeError outside it.
    Source: 1.3 times the uptake and the net rise.
    """
    within("the net rise", net_rise, (0.0, inf))
    return UPTAKE_ROOM * within("the uptake", uptake, (0.0, inf)) + net_rise


def hours_to_ceiling(level: float, ceiling: float, dose: float) -> float:
    """How long a daily dose goes on harmlessly after the uptake has stopped.

    Shape: infinity where nothing is dosed, 0 above the ceiling. Range: dose 0 or more.
    Raises: OutOfRangeError outside it or for numbers not finite.
    """
    room = finite("the ceiling", ceiling) - finite("the level", level)
    if not within("the dose", dose, (0.0, inf)):
        return inf
    return max(0.0, room / dose * _HOURS)


def resumed_dose(planned: float, uptake_low: float, net_rise: float) -> float:
    """The daily dose after a gap that keeps the rise within its limit.

    Units: the lower bound of the uptake, because animals that saw alkalinity fall take
    up less. Range: all 0 or more. Raises: OutOfRangeError outside it.
    """
    within("the lower bound of the uptake", uptake_low, (0.0, inf))
    within("the net rise", net_rise, (0.0, inf))
    return min(within("the dose", planned, (0.0, inf)), uptake_low + net_rise)


def base_share(days_without_test: float) -> float:
    """The part of the base that goes on without any test.

    Range: 0 or more. Raises: OutOfRangeError outside it.
    """
    within("the days without a test", days_without_test, (0.0, inf))
    return 1.0 if days_without_test <= WHOLE_BASE_DAYS else LATE_BASE_SHARE


def may_correct(days_without_test: float) -> bool:
    """Whether the last test is young enough to correct anything.

    Range: 0 or more. Raises: OutOfRangeError outside it.
    """
    within("the days without a test", days_without_test, (0.0, inf))
    return days_without_test <= CORRECTION_DAYS
