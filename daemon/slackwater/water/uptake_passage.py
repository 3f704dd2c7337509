"""How time, doses and water changes move what is believed of level and uptake.

Floor 1. One subject: passages between tests. Laws here: what was delivered is put in,
not what was planned; time makes every error larger; a belief only goes forward.
Shape: days from any origin. Units: levels in one unit, uptake in it per day.
Source: Kalman 1960, Journal of Basic Engineering 82:35 (from memory), made linear on
each leg where uptake follows the level; uptake walks at random. Without a walk it gives
what least squares give.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import expm1, inf

from slackwater.water.ranges import within
from slackwater.water.uptake_belief import Addition, Belief, Change, Tuning

# Below it a series is used, because the difference of near numbers loses digits.
_SMALL = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """A stretch in which the same comes in all the time, and what ends it."""

    span: float
    rate: float
    at_end: tuple[Change, ...] = ()


@dataclass(slots=True, kw_only=True)
class Passage:
    """What some legs do to a belief: the level after them, and how errors are carried.

    `by_level` and `by_uptake` say how the level after depends on both before; the
    others are variances that time and changes bring.
    """

    level: float
    by_level: float = 1.0
    by_uptake: float = 0.0
    level_variance: float = 0.0
    covariance: float = 0.0
    uptake_variance: float = 0.0

    def carries(self, belief: Belief, day: float) -> Belief:
        """A belief after the passage, whatever its errors; its level is that of it."""
        a, b = self.by_level, self.by_uptake
        return Belief(
            day=day,
            level=self.level,
            uptake=belief.uptake,
            level_variance=a * a * belief.level_variance
            + 2 * a * b * belief.covariance
            + b * b * belief.uptake_variance
            + self.level_variance,
            covariance=a * belief.covariance
            + b * belief.uptake_variance
            + self.covariance,
            uptake_variance=belief.uptake_variance + self.uptake_variance,
        )


def predicted(
    belief: Belief, day: float, changes: Sequence[Change], tuning: Tuning
) -> Belief:
    """What is believed on a later day, before any test of that day.

    Shape: changes in any order; those after the day of the belief and until the day
    asked for take part. Range: a day not before that of the belief.
    Raises: OutOfRangeError outside it.
    """
    within("the day", day, (belief.day, inf))
    legs = legs_between(changes, belief.day, day)
    return passage(belief, legs, tuning).carries(belief, day)


def legs_between(
    changes: Sequence[Change], begin: float, end: float
) -> tuple[Leg, ...]:
    """The time between two days, cut wherever something changes.

    Shape: in order of time; empty when no time passes.
    """
    here = [one for one in changes if begin < one.day]
    spread = [
        one
        for one in here
        if isinstance(one, Addition) and one.since is not None and one.since < end
    ]
    cuts = {end, *(one.day for one in here), *(one.since or 0.0 for one in spread)}
    days = [begin, *sorted(day for day in cuts if begin < day <= end)]
    return tuple(_legs(days, here, spread))


def _legs(
    days: Sequence[float], here: Sequence[Change], spread: Sequence[Addition]
) -> Iterator[Leg]:
    for first, last in pairwise(days):
        rate = sum(
            one.rise / (one.day - one.since)
            for one in spread
            if one.since is not None and one.since <= first and last <= one.day
        )
        yield Leg(
            span=last - first,
            rate=rate,
            at_end=tuple(one for one in here if one.day == last),
        )


def passage(belief: Belief, legs: Sequence[Leg], tuning: Tuning) -> Passage:
    """What becomes of a belief's level and errors over some legs."""
    found = Passage(level=belief.level)
    for leg in legs:
        _pass(found, belief.uptake, leg, tuning)
        for change in leg.at_end:
            _change(found, change)
    return found


def _pass(found: Passage, uptake: float, leg: Leg, tuning: Tuning) -> None:
    """Time goes by: dA/dt = rate - U (1 + s (A - at)), s the steepness, 0 for none."""
    span, steep = leg.span, tuning.steepness
    share = tuning.share(found.level)
    fade = uptake * steep
    lasting, bend = _lasting(fade, span)
    now = leg.rate - uptake * share
    by_level = 1.0 - fade * lasting
    by_uptake = -share * lasting + now * steep * bend
    walk = tuning.uptake_walk * span
    found.level += now * lasting
    found.level_variance = (
        by_level**2 * found.level_variance
        + 2 * by_level * by_uptake * found.covariance
        + by_uptake**2 * found.uptake_variance
        + walk * by_uptake**2 / 3
        + tuning.level_walk * span
    )
    found.covariance = (
        by_level * found.covariance
        + by_uptake * found.uptake_variance
        + walk * by_uptake / 2
    )
    found.uptake_variance += walk
    found.by_uptake = by_level * found.by_uptake + by_uptake
    found.by_level *= by_level


def _lasting(fade: float, span: float) -> tuple[float, float]:
    """(1 - exp(-k t)) / k and how it bends with k; t and -t^2 / 2 where k is 0."""
    reach = fade * span
    if abs(reach) < _SMALL:
        return span * (1 - reach / 2), -(span**2) * (1 / 2 - reach / 3)
    lasting = -expm1(-reach) / fade
    return lasting, (span * (1 - fade * lasting) - lasting) / fade


def _change(found: Passage, change: Change) -> None:
    if isinstance(change, Addition):
        if change.since is None:
            found.level += change.rise
        found.level_variance += change.sd**2
        return
    kept = 1 - change.fraction
    found.level = kept * found.level + change.fraction * change.new_level
    found.level_variance *= kept**2
    found.covariance *= kept
    found.by_level *= kept
    found.by_uptake *= kept
