"""Traces and contaminants: nature, what a laboratory can see, and practice.

Floor 3. One subject: laboratory results of what should hardly be there. Laws here: one
result is a hypothesis and a second sample confirms it; what was dosed since counts in
full, less only uptake that is proven; nothing here is ever answered by a dose.
Units: micrograms per litre.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from slackwater.assessment.carrying import Carried, Consumption, carried
from slackwater.assessment.inflow import Inflow, day_of
from slackwater.assessment.practice import CONSERVATIVE, SALINITY
from slackwater.assessment.records import Point, Series, Stage, TraceStanding
from slackwater.assessment.series import quantification_limit
from slackwater.assessment.trace_bands import TraceBand, likely_sources, trace_band
from slackwater.facts.history import History
from slackwater.facts.tank import TraceLimits
from slackwater.water.parameters import PARAMETERS
from slackwater.water.seawater import STANDARD_SALINITY

# Two bottles filled on one day are one sample.
ANOTHER_SAMPLE_DAYS = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What there is to judge traces from.

    `proven` uptake a day and the operator's own `bands`, by parameter.
    """

    history: History
    series: Mapping[str, Sequence[Series]]
    inflows: Mapping[str, Inflow]
    proven: Mapping[str, float]
    now: datetime
    bands: Mapping[str, TraceLimits] = field(default_factory=dict)


def trace_standing(parameter: str, seen: Seen) -> TraceStanding | None:
    """Where a trace or contaminant stands; None where no laboratory looked."""
    points = _laboratory_points(parameter, seen)
    if not points:
        return None
    newest = points[-1]
    limit = quantification_limit(seen.history, parameter)
    band = trace_band(parameter, limit, seen.bands.get(parameter))
    # A censored result is its limit: nothing can be above it.
    value = _value(newest)
    salt = _salt_share(parameter, newest, seen)
    at_most = _at_most(newest, parameter, seen)
    stage = _stage(newest, max(value, at_most) / salt, band, limit)
    before = _sample_before(points)
    return TraceStanding(
        parameter=parameter,
        stage=stage,
        value=value,
        at_most=at_most,
        sampled_at=newest.at,
        age_days=day_of(seen.now) - day_of(newest.at),
        natural=PARAMETERS[parameter].natural,
        limit=limit,
        watch=band.watch,
        act=band.act,
        bands_source=band.source,
        confirmed=before is not None
        and stage in {"watch", "act"}
        and not before.censored
        and before.value / salt >= band.watch,
        by_salinity=value >= band.watch > value / salt,
        sources=likely_sources(parameter),
        censored=newest.censored,
    )


def _laboratory_points(parameter: str, seen: Seen) -> list[Point]:
    points = [
        point
        for series in seen.series.get(parameter, ())
        if series.provenance == "lab"
        for point in series.points
    ]
    return sorted(points, key=lambda point: point.at)


def _value(point: Point) -> float:
    return 2 * point.value if point.censored else point.value


def _at_most(newest: Point, parameter: str, seen: Seen) -> float:
    start = Carried(level=_value(newest), sd=newest.sd, day=day_of(newest.at))
    proven = Consumption(per_day=seen.proven.get(parameter, 0.0))
    now = carried(start, day_of(seen.now), seen.inflows[parameter], proven)
    return now.level


def _stage(newest: Point, level: float, band: TraceBand, limit: float | None) -> Stage:
    if level >= band.act:
        return "act"
    if level >= band.watch:
        return "watch"
    if newest.censored or newest.value < (limit or 0.0):
        return "not seen"
    return "usual"


def _sample_before(points: Sequence[Point]) -> Point | None:
    newest = points[-1]
    earlier = [
        point
        for point in points
        if day_of(newest.at) - day_of(point.at) > ANOTHER_SAMPLE_DAYS
    ]
    return earlier[-1] if earlier else None


def _salt_share(parameter: str, newest: Point, seen: Seen) -> float:
    """How much salinity alone raises a level that keeps its proportion; 1 for others.

    The salinity is that of the test nearest to the sample.
    """
    if parameter not in CONSERVATIVE:
        return 1.0
    tests = [
        point
        for series in seen.series.get(SALINITY, ())
        for point in series.points
        if point.use == "used"
    ]
    if not tests:
        return 1.0
    near = min(tests, key=lambda point: abs(point.at - newest.at))
    return near.value / STANDARD_SALINITY
