"""What an uptake is estimated from, and what is thought of it before any test.

Floor 3. One subject: inputs of the estimator. Laws here: what was delivered is put in,
by the day; nothing is thought impossible that a tank may do.
Units: canonical, a day; days since `inflow.ORIGIN`.
Source: all figures are common practice, no source.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from math import ceil

from slackwater.assessment.inflow import Exchange as WaterExchange
from slackwater.assessment.inflow import Inflow, stated_uptake
from slackwater.assessment.practice import (
    ALKALINITY,
    MEQ_PER_L_IN_DKH,
    floor_sd,
    home_sd,
    usual_target,
)
from slackwater.facts.tank import Tank
from slackwater.water.calcification import CALCIUM_MG_PER_MEQ
from slackwater.water.parameters import parameter_named
from slackwater.water.uptake_belief import (
    Addition,
    Change,
    Exchange,
    Follows,
    Reading,
    Tuning,
)
from slackwater.water.uptake_filter import SHOCKS, alkalinity_tuning

# The largest uptake that is thought of where nothing is dosed: alkalinity 2 dKH a day,
# calcium and magnesium with it, others a share of nature.
_USUAL_MOST_DKH = 2.0
_MAGNESIUM_PER_DKH = 0.7
USUAL_MOST = {
    ALKALINITY: _USUAL_MOST_DKH * MEQ_PER_L_IN_DKH,
    "calcium": _USUAL_MOST_DKH * MEQ_PER_L_IN_DKH * CALCIUM_MG_PER_MEQ,
    "magnesium": _USUAL_MOST_DKH * _MAGNESIUM_PER_DKH,
}
_USUAL_MOST_SHARE = 0.02
# Uptake walks by so much of itself a day in a day: a tank that grows by a tenth in a
# month, give or take, is a lively one. What is faster is a jump.
_WALK_SHARE = 0.006
_LEAST_WALK_DKH = 0.003
# Elements are tested seldom, by kits that scatter: they may walk further.
_ELEMENT_WALK_SHARE = 0.03
# Corals build nothing below; the way back after a gap counts on it too. A target so
# low that this would be near counts as the least there is.
REST_DKH = 3.0
LEAST_TARGET_DKH = 6.0
# Steps and slips of elements, in errors of a test at home.
_STEP_SDS = 7.0
_SLIP_SDS = 10.0
_LEAST_JUMP_SHARE = 0.05


def tuning_of(tank: Tank, inflow: Inflow, days: tuple[float, float]) -> Tuning:
    """What is thought of an uptake before its first test: 0 to the largest dose.

    Twice a stated uptake and what is usual widen it, so that a dose that is far too
    small does not make the uptake small.
    """
    parameter = inflow.parameter
    natural = parameter_named(parameter, where="").natural or 0.0
    stated, _ = stated_uptake(tank, parameter) or (0.0, 0.0)
    largest = inflow.largest_day(*days)
    usual_most = USUAL_MOST.get(parameter, _USUAL_MOST_SHARE * natural)
    most = max(largest, 2 * stated, usual_most)
    if parameter != ALKALINITY:
        return _of_an_element(parameter, most)
    walk = _WALK_SHARE * (max(largest, stated) or most)
    return replace(
        alkalinity_tuning(most),
        uptake_walk=max(walk, _LEAST_WALK_DKH * MEQ_PER_L_IN_DKH) ** 2,
        follows=Follows(
            at=max(usual_target(tank), LEAST_TARGET_DKH * MEQ_PER_L_IN_DKH),
            rest=REST_DKH * MEQ_PER_L_IN_DKH,
        ),
    )


def _of_an_element(parameter: str, most: float) -> Tuning:
    natural = parameter_named(parameter, where="").natural or 1.0
    sd = home_sd(parameter, natural)
    usual = alkalinity_tuning(most)
    return replace(
        usual,
        least_test_sd=floor_sd(parameter),
        uptake_walk=(_ELEMENT_WALK_SHARE * most) ** 2,
        shocks=replace(
            SHOCKS,
            least_jump=_LEAST_JUMP_SHARE * most,
            step_sd=_STEP_SDS * sd,
            slip_sd=_SLIP_SDS * sd,
        ),
    )


def changes_between(
    tests: Sequence[Reading], inflow: Inflow, until: float
) -> Iterator[Change]:
    """Everything that came in, by the day, cut at tests and water changes.

    Uptake follows the level, so it matters when something came, to the day.
    """
    exchanges = inflow.within(tests[0].day, until)
    moments = {test.day for test in tests} | {one.day for one in exchanges}
    days = sorted(_by_day(sorted({*moments, until})))
    for begin, end in pairwise(days):
        yield Addition(since=begin, day=end, rise=inflow.added(begin, end))
        for exchange in exchanges:
            if exchange.day == end:
                yield _exchanged(exchange, tests)


def _by_day(moments: Sequence[float]) -> Iterator[float]:
    """Moments, with whole days after each of them until the next."""
    for begin, end in pairwise(moments):
        yield from (begin + day for day in range(ceil(end - begin)))
    yield moments[-1]


def _exchanged(exchange: WaterExchange, tests: Sequence[Reading]) -> Change:
    if exchange.level is not None:
        return Exchange(
            day=exchange.day, fraction=exchange.share, new_level=exchange.level
        )
    near = min(tests, key=lambda test: abs(test.day - exchange.day))
    step, sd = exchange.moved(near.level)
    return Addition(day=exchange.day, rise=step, sd=sd)
