"""What a person should know, from alarm to note.

Floor 3. One subject: notices. Laws here: an alarm ends every correction of the tank, so
that a level which dosing mends is none; what is to be acted on is an alarm from the
first sample on, and ends corrections from the second; each notice has its figures.
Source: thresholds are common practice, no source.
"""

from collections.abc import Iterator, Mapping

from slackwater.assessment.agreement import days_uncompared
from slackwater.assessment.answer_words import answer_notice
from slackwater.assessment.beginning import before_notice
from slackwater.assessment.excess import excess_words
from slackwater.assessment.inflow import stated_uptake
from slackwater.assessment.metal_advice import is_pressing
from slackwater.assessment.picture import Picture
from slackwater.assessment.practice import CONSUMED, DANGERS, Danger
from slackwater.assessment.records import BEFORE_DAYS, Notice, Weight
from slackwater.assessment.series import (
    apart_words,
    far_replicates,
    kit_biases,
    without_bias,
)
from slackwater.assessment.uptakes import is_shown
from slackwater.water.parameters import PARAMETERS
from slackwater.water.show import show_count, show_figure, show_level

# Mended by dosing more or less, which an alarm would forbid.
_MENDED_BY_DOSING = frozenset(
    {"alkalinity", "calcium", "magnesium", "potassium", "strontium", "iodine"}
)
_CALCIUM_CHECK = "calcium-alkalinity"
# Whether a trace is acted on, and whether two samples say so: one result that is only
# watched is a hypothesis, and worries nobody. One that somebody doses is explained.
_TRACE_WEIGHTS: Mapping[tuple[bool, bool], Weight] = {
    (True, True): "alarm",
    (True, False): "warning",
    (False, True): "warning",
    (False, False): "note",
}
_ORDER: tuple[Weight, ...] = ("alarm", "warning", "note")


def notices(picture: Picture) -> tuple[Notice, ...]:
    """Every notice, alarms first, then by parameter."""
    found = [
        notice
        for source in (
            _dangers,
            _above,
            _uptakes,
            answer_notice,
            _traces,
            _checks,
            _series,
            _biases,
            _uncompared,
            _before,
        )
        for notice in source(picture)
    ]
    return tuple(
        sorted(
            found, key=lambda one: (_ORDER.index(one.weight), one.parameter, one.code)
        )
    )


def _dangers(picture: Picture) -> Iterator[Notice]:
    for parameter, danger in DANGERS.items():
        level = picture.fresh(parameter)
        if level is None:
            continue
        name = PARAMETERS[parameter].name
        shown, figures = show_level(parameter, level), {"level": level}
        if danger.above is not None and level > danger.above:
            yield Notice(
                code="level-too-high",
                weight=_weight(parameter),
                parameter=parameter,
                text=f"{name} is dangerously high at {shown}",
                figures={**figures, "limit": danger.above},
            )
        yield from _too_low(parameter, level, danger)


def _uncompared(picture: Picture) -> Iterator[Notice]:
    """Samples beside which no home test is near enough to say anything."""
    for parameter, all_series in picture.series.items():
        found = picture.uptakes.get(parameter)
        stated = stated_uptake(picture.tank, parameter)
        by_tests = found is not None and (is_shown(found) or parameter in CONSUMED)
        known = stated is not None or by_tests
        apart = days_uncompared(all_series, is_known=known, now=picture.now)
        if apart is None:
            continue
        why = "" if known else " and its uptake is not known"
        yield Notice(
            code="not-compared",
            weight="note",
            parameter=parameter,
            text=f"laboratory and home test of {parameter} cannot be compared: "
            f"{apart:.0f} days lie between them{why}; test {parameter} on the day the "
            f"next sample is taken{'' if known else ', or state its uptake'}",
            figures={"days_apart": apart},
        )


def _above(picture: Picture) -> Iterator[Notice]:
    """The newest test above the level at which nothing is raised any more."""
    for parameter, found in picture.standings.items():
        if told := excess_words(found):
            yield Notice(
                code="tested-too-high",
                weight="warning",
                parameter=parameter,
                text=f"{told}; test it again",
                figures={"tested": found.above, "bound": found.bound},
            )


def _too_low(parameter: str, level: float, danger: Danger) -> Iterator[Notice]:
    if danger.below is None or level >= danger.below:
        return
    yield Notice(
        code="level-too-low",
        weight=_weight(parameter),
        parameter=parameter,
        text=f"{PARAMETERS[parameter].name} is dangerously low at "
        f"{show_level(parameter, level)}",
        figures={"level": level, "limit": danger.below},
    )


def _weight(parameter: str) -> Weight:
    return "warning" if parameter in _MENDED_BY_DOSING else "alarm"


def _uptakes(picture: Picture) -> Iterator[Notice]:
    for parameter, found in picture.uptakes.items():
        if found.fell and found.before_per_day is not None:
            share = 1 - found.per_day / found.before_per_day
            yield Notice(
                code="uptake-fell",
                weight="warning",
                parameter=parameter,
                text=f"the tank uses up {100 * share:.0f} % less {parameter} than "
                f"{BEFORE_DAYS:.0f} days ago: look at the animals, this is the "
                "earliest sign of trouble",
                figures={
                    "per_day": found.per_day,
                    "before_per_day": found.before_per_day,
                },
            )
        if found.frozen:
            yield Notice(
                code="estimates-disagree",
                weight="alarm",
                parameter=parameter,
                text=f"two ways of estimating the uptake of {parameter} disagree: the "
                "dose stays as it is; test again on three days",
                figures={
                    "per_day": found.per_day,
                    "check_per_day": found.check_per_day,
                },
            )


def _before(picture: Picture) -> Iterator[Notice]:
    without = {
        name
        for name in picture.before
        if name not in picture.uptakes or not picture.uptakes[name].enough
    }
    return before_notice(
        picture.before,
        picture.history,
        is_pressing=any(picture.before[name] for name in without & picture.dosed),
    )


def _traces(picture: Picture) -> Iterator[Notice]:
    for parameter, found in picture.traces.items():
        if found.stage not in {"watch", "act"}:
            continue
        word = "confirmed" if found.confirmed else "seen once"
        yield Notice(
            code=f"trace-{found.stage}",
            weight="alarm"
            if is_pressing(found, picture)
            else _TRACE_WEIGHTS[found.stage == "act", found.confirmed],
            parameter=parameter,
            text=f"{parameter} {show_figure(max(found.value, found.at_most))} ug/L, "
            f"{word}; likely from {found.sources}",
            figures={"value": found.value, "watch": found.watch, "act": found.act},
        )


def _checks(picture: Picture) -> Iterator[Notice]:
    for check in picture.checks:
        if check.holds is False:
            yield Notice(
                code=check.name,
                weight="alarm" if check.name == _CALCIUM_CHECK else "warning",
                parameter="calcium" if check.name == _CALCIUM_CHECK else "",
                text=check.text,
                figures=check.figures,
            )


def _series(picture: Picture) -> Iterator[Notice]:
    for parameter, all_series in picture.series.items():
        outliers = [
            point
            for series in all_series
            for point in series.points
            if point.use == "outlier"
        ]
        if outliers:
            yield Notice(
                code="outliers",
                weight="note",
                parameter=parameter,
                text=f"{_outlying(len(outliers), parameter)}, the newest on "
                f"{picture.day(outliers[-1].at)}",
                figures={"count": len(outliers)},
            )
        apart = picture.apart(parameter)
        if apart is not None:
            yield Notice(
                code="tests-apart",
                weight="warning",
                parameter=parameter,
                text=f"tests of {parameter} within half an hour on "
                f"{picture.day(apart.at)} contradict each other, "
                f"{apart_words(parameter, apart)}: they are no one value, and the "
                "highest counts until a test half an hour later or more",
                figures={"highest": apart.value, "spread": apart.sd},
            )
        for one in far_replicates(picture.history, parameter, picture.now):
            yield Notice(
                code="replicates-apart",
                weight="note",
                parameter=parameter,
                text=f"replicates of {parameter} on {picture.day(one.taken_at)} lie "
                "too far apart: test again with care",
                figures={"spread": one.spread},
            )


def _outlying(count: int, parameter: str) -> str:
    verbs = "stands out and is" if count == 1 else "stand out and are"
    return f"{show_count(count, 'test')} of {parameter} {verbs} not used"


def _biases(picture: Picture) -> Iterator[Notice]:
    """A bias that is not taken off, because another kit was tried."""
    for parameter in picture.series:
        one = without_bias(picture.history, parameter, picture.now)
        if one is None:
            continue
        tried = kit_biases(picture.history, parameter)
        is_lot = any(method == one.method for method, _ in tried)
        known = " and ".join(_kit(method, lot) for method, lot in sorted(tried))
        yield Notice(
            code="bias-not-applied",
            weight="note",
            parameter=parameter,
            text=f"no bias is taken off {parameter} by {_kit(one.method, one.lot)}: a "
            f"standard was tried with another {'lot' if is_lot else 'method'}, {known}",
        )


def _kit(method: str, lot: str) -> str:
    """A method and its lot, as people wrote them down."""
    return f"{method or 'no method'}, {f'lot {lot}' if lot else 'no lot'}"
