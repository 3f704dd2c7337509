"""Where one parameter stands: on its sampling day, now, and against its band.

Floor 3. One subject: standings. Laws here: a posted sample never decides what changes
in the post; of several tests the one with the smallest error on this day speaks, and a
young one before an old one; what keeps its proportion is judged at salinity 35, with
both figures shown.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from math import hypot, isfinite

from slackwater.assessment.agreement import Agreement
from slackwater.assessment.carrying import (
    Carried,
    Consumption,
    carried,
    stated,
    uncredited,
)
from slackwater.assessment.inflow import Inflow, day_of, stated_uptake
from slackwater.assessment.practice import (
    CONSERVATIVE,
    CONSUMED,
    band_of,
    shelf_days,
    stop_above,
)
from slackwater.assessment.records import (
    Band,
    Confidence,
    Point,
    Series,
    Standing,
    UptakeFound,
    Word,
)
from slackwater.assessment.salting import Salt
from slackwater.assessment.series import quantification_limit
from slackwater.assessment.tank_days import day_at_tank
from slackwater.assessment.uptakes import is_shown
from slackwater.facts.history import History
from slackwater.facts.tank import Tank
from slackwater.facts.waters import OWN_TESTS_ONLY
from slackwater.water.parameters import PARAMETERS
from slackwater.water.seawater import STANDARD_SALINITY
from slackwater.water.show import show_level
from slackwater.water.trends import slope_sd, slope_theil1950

# A trend is looked for over so many days at least, and so many shelf lives.
TREND_DAYS = 14.0
TREND_SHELVES = 3.0
TREND_TESTS = 3
# Two tests contradict each other from so many standard deviations on.
CONTRADICTS_SDS = 3.0
_HALF_WIDTH_95 = 1.96


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What there is to judge one parameter from.

    `agreements` by method and lot; `salinity` now, None where it is not known, `salt`
    that of other days.
    """

    tank: Tank
    history: History
    now: datetime
    series: Sequence[Series]
    inflow: Inflow
    uptake: UptakeFound | None = None
    agreements: Mapping[tuple[str, str], Agreement] = field(default_factory=dict)
    salinity: float | None = None
    salt: Salt | None = None

    @property
    def parameter(self) -> str:
        """What is judged."""
        return self.inflow.parameter

    @property
    def told(self) -> UptakeFound | None:
        """The uptake that tests show; of what every reef uses up, else what is thought.

        Of that only how much is unknown; of the rest, whether there is any.
        """
        found = self.uptake
        if found is None or is_shown(found) or self.parameter in CONSUMED:
            return found
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Candidate:
    series: Series
    point: Point
    now: Carried
    age_days: float
    bias: float

    @property
    def rank(self) -> tuple[bool, float]:
        """Young before old; among the young the sure, among the old the younger."""
        is_old = self.age_days > shelf_days(self.series.parameter)
        return is_old, self.age_days if is_old else self.now.sd


def consumption_of(scene: Scene) -> Consumption:
    """What is used up a day: as tests show, else as stated, else unknown."""
    if scene.told is not None:
        return Consumption(per_day=scene.told.per_day, sd=scene.told.sd_per_day)
    known = stated_uptake(scene.tank, scene.parameter)
    return Consumption() if known is None else stated(*known)


def standing(scene: Scene) -> Standing:
    """Where the parameter of a scene stands."""
    parameter = scene.parameter
    band = band_of(parameter, scene.tank)
    found = tuple(_candidates(scene))
    best = min(found, key=lambda one: one.rank, default=None)
    limit = quantification_limit(scene.history, parameter)
    if best is None:
        return Standing(
            parameter=parameter,
            word="unknown",
            confidence="none",
            why=("no test of it is known",),
            natural=PARAMETERS[parameter].natural,
            band=band,
            limit=limit,
            target=scene.tank.targets.get(parameter),
            stop_above=stop_above(parameter, scene.tank),
            shelf_days=shelf_days(parameter),
        )
    level_35 = _at_35(best, scene)
    judged = best.now.level if level_35 is None else level_35
    is_old, _ = best.rank
    trend, trend_sd = _trend(best.series, scene)
    waits = _waiting(best, scene)
    return Standing(
        parameter=parameter,
        word="too old" if is_old else _word(judged, band),
        confidence="none" if is_old else _confidence(best.now, band),
        why=(*_why(best, scene), *_younger_words(best, found, scene.tank)),
        provenance=best.series.provenance,
        method=best.series.method,
        sampled_at=best.point.at,
        age_days=best.age_days,
        shelf_days=shelf_days(parameter),
        sampled=best.point.value + best.bias,
        sampled_sd=hypot(best.point.sd, best.point.bias_sd),
        bias=best.point.bias - best.bias,
        censored=best.point.censored,
        level=best.now.level,
        level_sd=best.now.sd,
        level_35=level_35,
        uncredited=_uncredited(best, scene),
        natural=PARAMETERS[parameter].natural,
        limit=limit,
        band=band,
        target=scene.tank.targets.get(parameter),
        stop_above=stop_above(parameter, scene.tank),
        waiting=waits,
        waiting_age_days=_age_days(waits, scene),
        trend_per_day=trend,
        trend_sd=trend_sd,
    )


def _candidates(scene: Scene) -> Iterator[_Candidate]:
    consumption = consumption_of(scene)
    for series in scene.series:
        if series.provenance == "lab" and scene.parameter in OWN_TESTS_ONLY:
            continue
        for point in _speaking(series):
            bias, bias_sd = _laboratory_bias(series, scene)
            start = Carried(
                level=point.value + bias,
                sd=hypot(point.sd, point.bias_sd, bias_sd),
                day=day_of(point.at),
            )
            yield _Candidate(
                series=series,
                point=point,
                now=_filtered(series, point, scene)
                or carried(start, day_of(scene.now), scene.inflow, consumption),
                age_days=day_of(scene.now) - day_of(point.at),
                bias=bias,
            )


def _speaking(series: Series) -> Iterator[Point]:
    """The newest test that fits, and a newest one that contradicts itself.

    The latter is so unsure that it speaks only where no other young one is there.
    """
    used = [point for point in series.points if point.use == "used"]
    yield from used[-1:]
    yield from (point for point in series.points[-1:] if point.apart)


def _waiting(best: _Candidate, scene: Scene) -> Point | None:
    """A test that is newer than the one that speaks and does not fit the others."""
    held = (
        series.points[-1]
        for series in scene.series
        if series.provenance != "lab" or scene.parameter not in OWN_TESTS_ONLY
        if series.points[-1].use == "held" and series.points[-1].at > best.point.at
    )
    return max(held, key=lambda one: one.at, default=None)


def _age_days(point: Point | None, scene: Scene) -> float | None:
    return None if point is None else day_of(scene.now) - day_of(point.at)


def _laboratory_bias(series: Series, scene: Scene) -> tuple[float, float]:
    """What home tests of an element read too low, as laboratories say."""
    found = scene.agreements.get((series.method, series.lot))
    if found is None or series.provenance == "lab":
        return 0.0, 0.0
    return (0.0, 0.0) if scene.parameter in OWN_TESTS_ONLY else found.bias


def _filtered(series: Series, point: Point, scene: Scene) -> Carried | None:
    """The level that all tests of the method say together, where they were asked."""
    uptake = scene.told
    if uptake is None or (uptake.provenance, uptake.method, uptake.at) != (
        series.provenance,
        series.method,
        point.at,
    ):
        return None
    bias, bias_sd = _laboratory_bias(series, scene)
    return Carried(
        level=max(uptake.level + bias, 0.0),
        sd=hypot(uptake.level_sd, point.bias_sd, bias_sd),
        day=day_of(scene.now),
    )


def _at_35(best: _Candidate, scene: Scene) -> float | None:
    """The level as it would be at salinity 35, by the salinity of its own water."""
    if scene.parameter not in CONSERVATIVE or not scene.salinity:
        return None
    own = scene.salt.of_level(best.point.at, scene.now) if scene.salt else None
    return best.now.level * STANDARD_SALINITY / (own or scene.salinity)


def _uncredited(best: _Candidate, scene: Scene) -> float:
    """What came in since its sample and is not in the level."""
    begin, end = day_of(best.point.at), day_of(scene.now)
    return uncredited(begin, end, scene.inflow, consumption_of(scene))


def _word(judged: float, band: Band | None) -> Word:
    if band is None:
        return "no band"
    if judged < band.low:
        return "low"
    return "high" if judged > band.high else "in band"


def _confidence(now: Carried, band: Band | None) -> Confidence:
    """How well the band can be told: by twice the error against its width."""
    width = now.level / 3 if band is None else band.high - band.low
    if 2 * now.sd <= width / 2:
        return "good"
    return "fair" if 2 * now.sd <= width else "poor"


def _why(best: _Candidate, scene: Scene) -> Iterator[str]:
    waits = _waiting(best, scene)
    if waits is not None:
        told = show_level(scene.parameter, waits.raw)
        yield (
            f"the newest test, {told} of {day_at_tank(scene.tank, waits.at)}, stands "
            "apart and waits for a retest; until then it is in no level here"
        )
    shelf = shelf_days(scene.parameter)
    if best.age_days > shelf:
        which = "newest test" if waits is None else "newest test that fits"
        yield f"the {which} is {best.age_days:.0f} days old and counts {shelf:.0f}"
    if best.point.censored:
        yield "nothing was seen; half of the limit is shown"
    if best.point.apart:
        yield (
            "tests of one half hour contradict each other, the highest is shown: test "
            "again"
        )
    if best.point.bias:
        yield "the bias of the kit is taken off"
    if best.bias:
        yield "brought to the laboratory's scale"
    if scene.parameter in CONSERVATIVE and not scene.salinity:
        yield "salinity is not known, so it is judged as it is"
    begin = day_of(best.point.at)
    if _uncredited(best, scene):
        yield "its uptake is not known: what was added since only widens the error"
    if consumption_of(scene).per_day and begin < scene.inflow.known_from:
        yield "nobody told what was dosed: what is used up only widens the error"


def _younger_words(
    best: _Candidate, found: Sequence[_Candidate], tank: Tank
) -> Iterator[str]:
    """That a test younger than a report does not speak, because that is surer."""
    younger = min(found, key=lambda one: one.age_days)
    if best.series.provenance != "lab" or younger.age_days >= best.age_days:
        return
    # The sure and old one was carried to now; what it does not know is what happened.
    apart = abs(younger.now.level - best.now.level)
    ask = apart > CONTRADICTS_SDS * hypot(younger.now.sd, best.now.sd)
    told, day = _as_read(younger), day_at_tank(tank, younger.point.at)
    by = "by hand" if younger.series.provenance == "hand" else "elsewhere"
    then = "; they contradict each other: test again" if ask else ""
    yield (
        f"a younger test {by} of {day} says {told} and counts "
        f"less, for the laboratory is surer{then}"
    )


def _as_read(one: _Candidate) -> str:
    """What was read; where it means something else by now, that beside it."""
    name, point = one.series.parameter, one.point
    if point.censored:
        # Half of its limit is what it counts as.
        return f"below {show_level(name, 2 * point.raw)}"
    told = show_level(name, point.raw)
    if one.bias:
        meant = show_level(name, point.value + one.bias)
        return f"{told}, on the laboratory's scale {meant},"
    if point.bias:
        return f"{told}, {show_level(name, point.value)} without the bias of its kit,"
    return told


def _trend(series: Series, scene: Scene) -> tuple[float | None, float | None]:
    """What the level itself does a day, and the standard deviation of that."""
    length = max(TREND_DAYS, TREND_SHELVES * shelf_days(scene.parameter))
    since = scene.now - timedelta(days=length)
    used = [
        point
        for point in series.points
        if point.use == "used" and point.at >= since and not point.censored
    ]
    if len(used) < TREND_TESTS:
        return None, None
    days = [day_of(point.at) for point in used]
    slope = slope_theil1950(days, [point.value for point in used])
    sd = (slope.high - slope.low) / (2 * _HALF_WIDTH_95)
    if not isfinite(sd):
        sd = slope_sd(days, max(point.sd for point in used))
    return slope.slope, sd
