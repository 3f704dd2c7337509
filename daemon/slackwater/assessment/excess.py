"""The newest test above the level at which dosing ends: one judgement for all.

Floor 3. One subject: too much, as the newest test says it. Laws here: older tests and
what is reckoned from them never talk the newest one down; what a test of a post says of
what changes in the post is no test; a value speaks for its shelf life or until the next
one. What an assessment says and what a proposal raises both read it here.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from slackwater.assessment.inflow import day_of
from slackwater.assessment.practice import ALKALINITY, shelf_days, stop_above
from slackwater.assessment.records import Point, Series, Standing
from slackwater.facts.tank import Machine
from slackwater.facts.waters import ONE_WATER, OWN_TESTS_ONLY
from slackwater.water.parameters import PARAMETERS
from slackwater.water.show import show_level


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounded:
    """Series of one parameter beside the level that its newest test is held to.

    `bound` None: there is no such level.
    """

    series: Sequence[Series]
    bound: float | None
    now: datetime


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
    low only shortens.
    """
    newest = newest_test(found.parameter, bounded.series)
    if newest is None or bounded.bound is None:
        return found
    age_days = day_of(bounded.now) - day_of(newest.at)
    if age_days > shelf_days(found.parameter):
        return found
    if newest.value * _at_35(found) <= bounded.bound:
        return found
    name = found.parameter
    why = (
        f"the newest test, {show_level(name, newest.value)} of {newest.at:%Y-%m-%d}, "
        f"is above {show_level(name, bounded.bound)} and decides until the next one"
    )
    is_held = newest.use == "held"
    return replace(
        found,
        word="high",
        confidence="poor" if is_held else found.confidence,
        why=(why, *found.why),
        above=newest.value,
        above_age_days=age_days,
        bound=bounded.bound,
    )


def newest_test(parameter: str, all_series: Sequence[Series]) -> Point | None:
    """The newest test that may decide and is not known to stand out; None: none.

    Of several kits within half an hour the highest: a low one ends no stop at the gate
    either.
    """
    points = [
        point
        for one in all_series
        if one.provenance != "lab" or parameter not in OWN_TESTS_ONLY
        for point in one.points
        if point.use != "outlier" and not point.censored
    ]
    newest_at = max((one.at for one in points), default=None)
    visit = (one for one in points if newest_at and newest_at - one.at <= ONE_WATER)
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


def _at_35(found: Standing) -> float:
    """What brings a level to the salinity at which it is judged."""
    if found.level_35 is None or not found.level:
        return 1.0
    return found.level_35 / found.level
