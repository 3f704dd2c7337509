"""Whether laboratory and home tests say the same, and what lies between them.

Floor 3. One subject: two ways of testing one water. Laws here: a laboratory's sample is
compared with the home test nearest to it, both carried to the same day, and over more
days only where the uptake is known; what the water did in between is nobody's bias, and
neither is a difference within its own error; a disagreement is answered by a standard,
never by a dose.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import hypot, sqrt

from slackwater.assessment.carrying import Carried, Consumption, carried
from slackwater.assessment.inflow import Inflow, day_of
from slackwater.assessment.records import HALF_WIDTH_90, Point, Series
from slackwater.assessment.uptake_inputs import USUAL_MOST
from slackwater.facts.history import History

# Tests further apart in time give no running difference: common practice, no source.
PAIR_WITHIN_DAYS = 3.0
# So far apart they may still be disputed, where the uptake between them is known: its
# error grows by the day and is counted. Common practice, no source.
DISPUTE_WITHIN_DAYS = 14.0
# A sample older than this is no news that nothing could be compared with it.
SEASON_DAYS = 60.0
# The running difference is that of so many pairs, the newest ones.
RUNNING_PAIRS = 3
DISAGREE_SDS = 3.0
# What the water did in between may be so much of the error of the two tests: beyond
# that a difference tells of the uptake and not of the kit. Common practice, no source.
BETWEEN_SHARE = 0.5
# What changes in a bottle in the post, so that a difference proves nothing.
PERISHABLE = frozenset({"ph", "nitrate", "phosphate", "temperature"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """A laboratory's result less the home test beside it, on the later of both days.

    `days_apart` lie between the two samples; `between_sd` is the part of `sd` that what
    the water did meanwhile has in it.
    """

    at: datetime
    difference: float
    sd: float
    days_apart: float = 0.0
    between_sd: float = 0.0

    @property
    def tests_sd(self) -> float:
        """The error of the two tests themselves."""
        return sqrt(max(self.sd**2 - self.between_sd**2, 0.0))

    @property
    def tells_the_kit(self) -> bool:
        """Whether so little lies between that the difference is the kit's."""
        is_near = self.days_apart <= PAIR_WITHIN_DAYS
        return is_near and self.between_sd <= BETWEEN_SHARE * self.tests_sd

    @property
    def disagrees(self) -> bool:
        """Whether the two differ by more than their errors explain."""
        return abs(self.difference) > DISAGREE_SDS * self.sd


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """The running difference, laboratory less home test, of one home series.

    `pairs` are those that tell of the kit, for a running difference, which is 0 without
    any; `newest` may lie further apart. `disputed`: the newest pair disagrees, and no
    standard was tried since with a kit of that lot.
    """

    running: float
    sd: float
    pairs: tuple[Pair, ...]
    newest: Pair
    disputed: bool

    @property
    def bias(self) -> tuple[float, float]:
        """What tests of the series read too low, with its error; none unless proven.

        Nothing while it is disputed, and nothing within its own 90 % interval: what may
        be chance moves no level.
        """
        if self.disputed or abs(self.running) <= HALF_WIDTH_90 * self.sd:
            return 0.0, 0.0
        return self.running, self.sd


def agreements(
    all_series: Sequence[Series],
    history: History,
    inflow: Inflow,
    consumption: Consumption,
) -> Mapping[tuple[str, str], Agreement]:
    """The agreement of each home series that can be compared, by method and lot."""
    laboratory = [
        point
        for series in all_series
        if series.provenance == "lab"
        for point in series.points
        if not point.censored
    ]
    laboratory.sort(key=lambda point: point.at)
    found = {}
    for series in all_series:
        if series.provenance == "lab" or inflow.parameter in PERISHABLE:
            continue
        pairs = [
            pair
            for point in laboratory
            if (pair := _pair(point, series, inflow, consumption)) is not None
            # Over what nobody knows only a disagreement says anything.
            and (pair.tells_the_kit or pair.disagrees)
        ]
        if pairs:
            found[series.method, series.lot] = _agreement(pairs, series, history)
    return found


def days_uncompared(
    all_series: Sequence[Series], *, is_known: bool, now: datetime
) -> float | None:
    """How far the newest sample lies from the home test nearest to it, if too far.

    Range: `is_known` says whether the uptake between them is. None where there is
    nothing to compare, or where it is near enough; samples of another season are left.
    """
    samples, tests = (
        [
            point.at
            for series in all_series
            if series.provenance == provenance and series.parameter not in PERISHABLE
            for point in series.points
            if point.use == "used" and not point.censored
        ]
        for provenance in ("lab", "hand")
    )
    sample = max(samples, default=None)
    if sample is None or not tests or day_of(now) - day_of(sample) > SEASON_DAYS:
        return None
    apart = min(abs(day_of(one) - day_of(sample)) for one in tests)
    most = DISPUTE_WITHIN_DAYS if is_known else PAIR_WITHIN_DAYS
    return apart if apart > most else None


def _pair(
    point: Point, series: Series, inflow: Inflow, consumption: Consumption
) -> Pair | None:
    usable = [one for one in series.points if one.use == "used" and not one.censored]
    if not usable:
        return None
    near = min(usable, key=lambda one: abs(one.at - point.at))
    days_apart = abs(day_of(near.at) - day_of(point.at))
    is_known = consumption.per_day is not None
    if days_apart > (DISPUTE_WITHIN_DAYS if is_known else PAIR_WITHIN_DAYS):
        return None
    early, late = sorted((near, point), key=lambda one: one.at)
    brought = carried(
        Carried(level=early.value, sd=early.sd, day=day_of(early.at)),
        day_of(late.at),
        inflow,
        consumption,
    )
    difference = late.value - brought.level
    between = sqrt(max(brought.sd**2 - early.sd**2, 0.0))
    if not is_known:
        between = hypot(between, _guessed_sd(inflow.parameter, days_apart))
    return Pair(
        at=late.at,
        difference=difference if late is point else -difference,
        sd=hypot(early.sd, late.sd, near.bias_sd, between),
        days_apart=days_apart,
        between_sd=between,
    )


def _guessed_sd(parameter: str, days: float) -> float:
    """What is consumed in every reef may have fallen by anything up to the most."""
    return USUAL_MOST.get(parameter, 0.0) * days / sqrt(3)


def _agreement(pairs: Sequence[Pair], series: Series, history: History) -> Agreement:
    last = pairs[-1]
    near = [one for one in pairs if one.tells_the_kit]
    newest = near[-RUNNING_PAIRS:]
    count = max(len(newest), 1)
    own = sqrt(sum(pair.tests_sd**2 for pair in newest)) / count
    # An uptake that is wrong is wrong in every pair alike.
    shared = sum(pair.between_sd for pair in newest) / count
    tried = any(
        check.parameter == series.parameter
        and check.method == series.method
        # Tests of a lot that was tried stand in the series of no lot.
        and series.lot in {"", check.lot}
        and check.taken_at >= last.at
        for check in history.standards
    )
    return Agreement(
        running=sum(pair.difference for pair in newest) / count,
        sd=hypot(own, shared),
        pairs=tuple(near),
        newest=last,
        disputed=last.disagrees and not tried,
    )
