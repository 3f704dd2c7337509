"""What a tank consumes of each parameter, from tests of one method and deliveries.

Floor 3. One subject: uptake. Laws here: one method speaks at a time; "enough" is a
width, not a count; a stretch in which nobody recorded what was dosed begins the
series anew; a second estimate that knows nothing of the first must agree with it.
Units: canonical, a day.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import hypot, isfinite
from statistics import fmean

from slackwater.assessment.beginning import evidence_begins
from slackwater.assessment.cleaning import fallen
from slackwater.assessment.inflow import Inflow, day_of, outside_per_day
from slackwater.assessment.practice import ALKALINITY, MEQ_PER_L_IN_DKH
from slackwater.assessment.records import (
    BEFORE_DAYS,
    HALF_WIDTH_90,
    Point,
    Series,
    UptakeFound,
)
from slackwater.assessment.uptake_inputs import changes_between, tuning_of
from slackwater.facts.history import History
from slackwater.facts.tank import Machine, Tank
from slackwater.water.calcification import CALCIUM_MG_PER_MEQ
from slackwater.water.show import show_days
from slackwater.water.uptake import (
    DISAGREEMENT_SDS,
    Uptake,
    uptake_by_median_slope,
)
from slackwater.water.uptake_belief import Belief, Reading, Tuning
from slackwater.water.uptake_filter import Estimate, estimated

# Older tests say nothing about the uptake of today.
WINDOW_DAYS = 60.0
ENOUGH_SHARE = 0.15
ENOUGH_SPAN_DAYS = 4.0
UNKNOWN_SHARE = 0.05
FALL_SHARE = 0.20
CHECK_DAYS = 14.0
CHECK_SPAN_DAYS = 7.0
CHECK_TESTS = 5
FEWEST = 2
# A restart is no gap; whoever was away longer does not know what pumps did.
GAP_AT_LEAST = timedelta(hours=2)
TOO_WIDE = "its interval is too wide"

# An uptake known to this is known well enough, however small it is.
_ENOUGH_DKH = 0.05
_ENOUGH_SD = {
    ALKALINITY: _ENOUGH_DKH * MEQ_PER_L_IN_DKH,
    "calcium": _ENOUGH_DKH * MEQ_PER_L_IN_DKH * CALCIUM_MG_PER_MEQ,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What one uptake is found from."""

    history: History
    machine: Machine
    inflow: Inflow
    now: datetime

    @property
    def tank(self) -> Tank:
        """The tank that is looked at."""
        return self.machine.tanks[self.history.tank]

    @property
    def parameter(self) -> str:
        """What is consumed."""
        return self.inflow.parameter


def is_shown(found: UptakeFound) -> bool:
    """Whether tests show that something is used up.

    Else it is what was thought before any test: an estimate must begin somewhere, but
    over weeks that would empty a tank on paper.
    """
    is_sure = found.low_per_day > 0 and found.span_days >= ENOUGH_SPAN_DAYS
    return found.enough or is_sure


def uptake_found(
    all_series: Sequence[Series], evidence: Evidence
) -> UptakeFound | None:
    """The uptake by the method that tells it best; None where no method can.

    Shape: outliers are marked in the series. A method with enough evidence goes before
    one without, then the narrower one.
    """
    found = [
        uptake
        for series in all_series
        if (uptake := _of_series(series, evidence)) is not None
    ]
    if not found:
        return None
    return min(found, key=lambda one: (not one.enough, one.sd_per_day))


def _of_series(series: Series, evidence: Evidence) -> UptakeFound | None:
    points = _usable(series, evidence)
    if len(points) < FEWEST:
        return None
    tuning = _tuning(points, evidence, evidence.now)
    estimate = _estimate(points, evidence, evidence.now)
    used = [point for place, point in enumerate(points) if place not in estimate.held]
    usual, before = estimate.now, _before(points, evidence, estimate.now)
    now = usual.at_its_level(tuning)
    recent = _recent(used, evidence, estimate.since)
    check = _check(recent, evidence)
    outside = outside_per_day(evidence.machine, evidence.tank.id, evidence.parameter)
    found = UptakeFound(
        parameter=evidence.parameter,
        per_day=now.uptake,
        sd_per_day=now.uptake_sd,
        level=now.level,
        level_sd=now.level_sd,
        at=used[-1].at,
        tests=len(used),
        span_days=_span(used),
        provenance=series.provenance,
        method=series.method,
        enough=False,
        is_net_balance=outside is None,
        held=(*(points[place] for place in estimate.held), *_apart(series, evidence)),
        check_per_day=check.per_day if check else None,
        check_sd=check.sd if check and isfinite(check.sd) else None,
        at_target_per_day=usual.uptake if tuning.follows else None,
        at_target_sd=usual.uptake_sd,
        return_days=tuning.follows.return_days(usual.uptake)
        if tuning.follows and usual.uptake > 0
        else None,
        frozen=check is not None and _disagree(_over(recent, usual, tuning), check),
        before_per_day=before.uptake if before else None,
        before_sd=before.uptake_sd if before else None,
        fell=before is not None and _fell(now, before),
        falls=_falls(used, evidence.inflow),
        delivered_per_day=_delivered_per_day(used, evidence.inflow),
    )
    why_not = tuple(_why_not(found, evidence))
    return replace(
        found, why_not=why_not, enough=not why_not, wide=why_not == (TOO_WIDE,)
    )


def _apart(series: Series, evidence: Evidence) -> Iterator[Point]:
    """A newest test that contradicts itself waits for a retest like one held."""
    yield from (
        point
        for point in series.points[-1:]
        if point.apart and point.at <= evidence.now
    )


def _over(recent: Sequence[Point], usual: Belief, tuning: Tuning) -> Belief:
    """The uptake at the level of the tests that the second estimate is made from."""
    level = fmean(one.value for one in recent)
    # The mean of some days is not the last one: it may have walked meanwhile.
    walked = tuning.uptake_walk * _span(recent) / 3
    then = replace(usual, level=level, uptake_variance=usual.uptake_variance + walked)
    return then.at_its_level(tuning)


def _disagree(now: Belief, check: Uptake) -> bool:
    apart = abs(now.uptake - check.per_day)
    return apart > DISAGREEMENT_SDS * hypot(now.uptake_sd, check.sd)


def _fell(now: Belief, before: Belief) -> bool:
    """Whether the uptake lies a fifth below what it was, and outside its interval."""
    fall = before.uptake - now.uptake
    sure = HALF_WIDTH_90 * hypot(now.uptake_sd, before.uptake_sd)
    return fall > max(FALL_SHARE * before.uptake, sure)


def _usable(series: Series, evidence: Evidence) -> list[Point]:
    begin = evidence.now - timedelta(days=WINDOW_DAYS)
    known = evidence_begins(evidence.history, evidence.machine, evidence.inflow)
    begin = max(begin, known or begin)
    if evidence.inflow.days:
        long = [
            gap.ends
            for gap in evidence.history.gaps
            if gap.ends - gap.begins >= GAP_AT_LEAST and gap.ends <= evidence.now
        ]
        begin = max([begin, *long])
    return [
        point
        for point in series.points
        if point.at >= begin
        and point.use != "outlier"
        and not point.censored
        # What contradicts itself tells no uptake.
        and not point.apart
    ]


def _estimate(points: Sequence[Point], evidence: Evidence, until: datetime) -> Estimate:
    tests = [
        Reading(day=day_of(point.at), level=point.value, sd=point.sd)
        for point in points
    ]
    return estimated(
        tests,
        tuple(changes_between(tests, evidence.inflow, day_of(until))),
        _tuning(points, evidence, until),
        now_day=day_of(until),
    )


def _tuning(points: Sequence[Point], evidence: Evidence, until: datetime) -> Tuning:
    days = day_of(points[0].at), day_of(until)
    return tuning_of(evidence.tank, evidence.inflow, days)


def marked(all_series: Sequence[Series], found: UptakeFound) -> tuple[Series, ...]:
    """The series, with what the estimate held said of the tests it was made from.

    A held test that others followed is an outlier; the newest one waits for a retest.
    """
    return tuple(
        _marked(one, found)
        if (one.provenance, one.method) == (found.provenance, found.method)
        else one
        for one in all_series
    )


def _marked(series: Series, found: UptakeFound) -> Series:
    held = {point.at for point in found.held}
    told = [place for place, point in enumerate(series.points) if not point.apart]
    last = max(told, default=-1)
    points = []
    for place, point in enumerate(series.points):
        if point.at in held and not point.apart:
            points.append(replace(point, use="held" if place == last else "outlier"))
        elif place == last:
            points.append(replace(point, use="used"))
        else:
            points.append(point)
    return replace(series, points=tuple(points))


def _before(points: Sequence[Point], evidence: Evidence, now: Belief) -> Belief | None:
    """What was believed some days ago, at the level of today, where it was known."""
    then = evidence.now - timedelta(days=BEFORE_DAYS)
    early = [point for point in points if point.at <= then]
    if len(early) < FEWEST:
        return None
    tuning = _tuning(early, evidence, then)
    believed = replace(_estimate(early, evidence, then).now, level=now.level)
    belief = believed.at_its_level(tuning)
    is_known = _is_narrow(belief.uptake, belief.uptake_sd, evidence.parameter)
    return belief if is_known else None


def _recent(used: Sequence[Point], evidence: Evidence, since_day: float) -> list[Point]:
    """The tests of the last days, none from before something broke in."""
    since = evidence.now - timedelta(days=CHECK_DAYS)
    return [one for one in used if one.at >= since and day_of(one.at) >= since_day]


def _check(recent: Sequence[Point], evidence: Evidence) -> Uptake | None:
    """The uptake of the last days by the median slope, where there are tests for it."""
    if len(recent) < CHECK_TESTS or _span(recent) < CHECK_SPAN_DAYS:
        return None
    less = fallen(recent, evidence.inflow)
    return uptake_by_median_slope(
        [one.day for one in less], [one.value for one in less], [0.0] * len(less)
    )


def _falls(used: Sequence[Point], inflow: Inflow) -> bool:
    """Whether the newest test, less what came in, lies surely below the first."""
    less = fallen(used, inflow)
    first, last = less[0], less[-1]
    return first.value - last.value > HALF_WIDTH_90 * hypot(first.sd, last.sd)


def _delivered_per_day(used: Sequence[Point], inflow: Inflow) -> float:
    began, ended = day_of(used[0].at), day_of(used[-1].at)
    return inflow.delivered(began, ended) / (ended - began)


def _why_not(found: UptakeFound, evidence: Evidence) -> Iterator[str]:
    """What keeps an uptake from carrying a proposal, a sentence each."""
    per_day, sd = found.per_day, found.sd_per_day
    if found.at_target_per_day is not None:
        per_day, sd = found.at_target_per_day, found.at_target_sd
    if not _is_narrow(per_day, sd, found.parameter):
        yield TOO_WIDE
    if found.span_days < ENOUGH_SPAN_DAYS:
        yield (
            f"its tests span {show_days(found.span_days)} days, less than "
            f"{ENOUGH_SPAN_DAYS:g}"
        )
    unknown = evidence.history.unknown_share.get(found.parameter, 0.0)
    if unknown > UNKNOWN_SHARE:
        yield f"of {100 * unknown:.0f} % of the volume nobody knows whether it flowed"
    if found.frozen:
        yield "two ways of estimating it disagree"
    if found.held and found.held[-1].at > found.at:
        yield "the newest test does not fit and waits for a retest"


def _is_narrow(per_day: float, sd: float, parameter: str) -> bool:
    return sd < max(ENOUGH_SHARE * per_day, _ENOUGH_SD.get(parameter, 0.0))


def _span(points: Sequence[Point]) -> float:
    return day_of(points[-1].at) - day_of(points[0].at)
