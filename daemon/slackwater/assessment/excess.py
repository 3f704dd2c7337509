"""The newest test above the level at which dosing ends: one judgement for all.

Floor 3. One subject: too much, as the newest test says it. Laws here: older tests and
what is reckoned from them never talk the newest one down, and neither does a lower one
of the same half hour; what a test of a post says of what changes there is no test; a
value speaks for its shelf life or until the next one. What an assessment says and what
a proposal raises both read it here.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from slackwater.assessment.inflow import day_of
from slackwater.assessment.practice import ALKALINITY, shelf_days, stop_above
from slackwater.assessment.records import Point, Series, Single, Standing
from slackwater.assessment.salting import Salt
from slackwater.assessment.tank_days import day_at_tank
from slackwater.facts.tank import Machine, Tank
from slackwater.facts.waters import ONE_WATER, OWN_TESTS_ONLY
from slackwater.water.parameters import PARAMETERS
from slackwater.water.seawater import STANDARD_SALINITY
from slackwater.water.show import show_level


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounded:
    """Series of one parameter beside the level that its newest test is held to.

    `bound` None: there is no such level. `salt` is the salinity beside each test.
    """

    tank: Tank
    series: Sequence[Series]
    bound: float | None
    now: datetime
    salt: Salt | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Newest:
    """One reading of the newest test, with the test and the series that it is in."""

    series: Series
    point: Point
    at: datetime
    value: float

    def is_in(self, found: Standing) -> bool:
        """Whether a level was made with it."""
        own = self.series.provenance, self.series.method, self.point.at
        return own == (found.provenance, found.method, found.sampled_at)


def bound_of(parameter: str, machine: Machine, tank: str) -> float | None:
    """The level above which nothing is raised: the guard's ceiling where it is lower.

    Units: canonical.
    """
    bound = stop_above(parameter, machine.tanks[tank])
    guard = machine.guards.get(tank)
    if parameter != ALKALINITY or guard is None:
        return bound
    return guard.ceiling if bound is None else min(bound, guard.ceiling)


def held_to(found: Standing, bounded: Bounded) -> Standing:
    """A standing that says so where the newest test lies above the bound.

    A test that still waits for a retest counts too: too much stops, what is missing or
    low only shortens. Where other tests say less, it is the level all the same.
    """
    newest = newest_test(found.parameter, bounded.series)
    if newest is None or bounded.bound is None:
        return found
    age_days = day_of(bounded.now) - day_of(newest.at)
    if age_days > shelf_days(found.parameter):
        return found
    if newest.value * _at_35(found, bounded, newest.at) <= bounded.bound:
        return found
    held = replace(
        found,
        word="high",
        confidence="poor" if newest.point.use == "held" else found.confidence,
        why=(_why(bounded, newest, bounded.bound), *found.why),
        above=newest.value,
        above_age_days=age_days,
        bound=bounded.bound,
    )
    if newest.is_in(found):
        return held
    return _instead(held, newest, _at_35(found, bounded, newest.at))


def _why(bounded: Bounded, newest: Newest, bound: float) -> str:
    name, day = newest.series.parameter, day_at_tank(bounded.tank, newest.at)
    return (
        f"the newest test, {show_level(name, newest.value)} of {day}, "
        f"is above {show_level(name, bound)} and decides until the next one"
    )


def _instead(held: Standing, newest: Newest, to_35: float) -> Standing:
    """The newest test in the place of a lower level that other tests say.

    One of the two is wrong, and nobody knows which: the error is half of what lies
    between them.
    """
    told = held.level if held.confidence != "none" else None
    if told is not None and told >= newest.value:
        return held
    name, point = held.parameter, newest.point
    others = () if told is None else (f"other tests say {show_level(name, told)}",)
    why, *more = held.why
    return replace(
        held,
        confidence="poor",
        why=("; ".join((why, *others)), *more),
        provenance=newest.series.provenance,
        method=newest.series.method,
        sampled_at=newest.at,
        age_days=held.above_age_days,
        sampled=newest.value,
        sampled_sd=point.sd,
        bias=point.bias,
        censored=False,
        level=newest.value,
        level_sd=max(point.sd, (newest.value - (told or newest.value)) / 2),
        level_35=None if held.level_35 is None else newest.value * to_35,
        gainsaid_by=told,
    )


def newest_test(parameter: str, all_series: Sequence[Series]) -> Newest | None:
    """The newest test that may decide and is not known to stand out; None: none.

    Of several readings within half an hour, of one kit or more, the highest, and each
    by itself: a low one ends no stop at the gate either, and no mean does.
    """
    found = [
        Newest(series=series, point=point, at=one.at, value=one.value)
        for series in all_series
        if series.provenance != "lab" or parameter not in OWN_TESTS_ONLY
        for point in series.points
        if (point.use != "outlier" or point.apart) and not point.censored
        for one in point.singles or (Single(at=point.at, value=point.value),)
    ]
    newest_at = max((one.at for one in found), default=None)
    visit = (one for one in found if newest_at and newest_at - one.at <= ONE_WATER)
    return max(visit, key=lambda one: (one.value, one.at), default=None)


def excess_words(found: Standing) -> str:
    """A sentence for a standing that is above its bound; empty where it is not."""
    if found.above is None or found.bound is None:
        return ""
    name = found.parameter
    return (
        f"{PARAMETERS[name].name} was tested at {show_level(name, found.above)}, above "
        f"{show_level(name, found.bound)}: nothing raises it until a test is below that"
    )


def _at_35(found: Standing, bounded: Bounded, at: datetime) -> float:
    """What brings a test of a moment to the salinity at which it is judged."""
    if found.level_35 is None or not found.level:
        return 1.0
    own = bounded.salt.beside(at) if bounded.salt else None
    return STANDARD_SALINITY / own if own else found.level_35 / found.level
