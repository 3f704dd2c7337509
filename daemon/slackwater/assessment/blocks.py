"""What may not be dosed, corrected or changed now.

Floor 3. One subject: blocks that bind every proposal. Laws here: a contaminant is never
answered by a dose; salinity comes before every element; where tests dispute, nothing
is corrected; each block says why.
Source: thresholds are common practice, no source.
"""

from collections.abc import Iterator

from slackwater.assessment.excess import excess_words
from slackwater.assessment.picture import Picture
from slackwater.assessment.practice import ALKALINITY, CONSERVATIVE
from slackwater.assessment.records import Block
from slackwater.assessment.trace_bands import is_trace
from slackwater.assessment.unconfirmed import unconfirmed
from slackwater.facts.proposal import Ground
from slackwater.water.nutrients import (
    CARBON_HOTTEST_CELSIUS,
    CARBON_LEAST_NITRATE,
    CARBON_LEAST_PHOSPHATE,
)
from slackwater.water.parameters import PARAMETERS
from slackwater.water.show import show_figure, show_level

SALINITY_TASK_OFF = 0.5
SALINITY_CORRECTIONS_OFF = 1.0
SALINITY_ALL_OFF = 3.0
# Corrections end outside the first pair, everything outside the second, degC.
TEMPERATURE_CORRECTIONS = (21.0, 29.5)
TEMPERATURE_ALL = (18.0, 32.0)
# A carbon source with nothing left to eat starves the water, mg/L.
CARBON_LEAST = {
    "nitrate": CARBON_LEAST_NITRATE,
    "phosphate": CARBON_LEAST_PHOSPHATE,
}
CARBON = "carbon"
TEMPERATURE = "temperature"
CALCIUM = "calcium"
_APART = "Its tests of one half hour contradict each other: test again."
_HELD = "The newest test does not fit and waits for a retest."


def blocks(picture: Picture) -> tuple[Block, ...]:
    """Every block, sorted by parameter, each once."""
    found = {
        block
        for source in (
            _salinity,
            _temperature,
            _too_high,
            _newest_too_high,
            _apart,
            _traces,
            _disputed,
            _uptakes,
            _incoherent,
            _carbon,
            _unconfirmed,
        )
        for block in source(picture)
    }
    return tuple(sorted(found, key=lambda one: (one.parameter, one.stops, one.text)))


def _salinity(picture: Picture) -> Iterator[Block]:
    off = picture.salinity_off
    if off is None or abs(off) <= SALINITY_CORRECTIONS_OFF:
        return
    all_off = abs(off) > SALINITY_ALL_OFF
    for parameter in sorted(picture.dosed):
        if all_off or parameter in CONSERVATIVE or is_trace(parameter):
            yield Block(
                parameter=parameter,
                stops="dose" if all_off else "correction",
                ground=Ground.SALINITY,
                text=f"Salinity is off by {off:+.1f}: correct that first.",
            )


def _temperature(picture: Picture) -> Iterator[Block]:
    celsius = picture.fresh(TEMPERATURE)
    if celsius is None or _within(celsius, TEMPERATURE_CORRECTIONS):
        return
    all_off = not _within(celsius, TEMPERATURE_ALL)
    for parameter in sorted(picture.dosed):
        yield Block(
            parameter=parameter,
            stops="dose" if all_off else "correction",
            ground=Ground.BLOCKED,
            text=f"The water has {celsius:.1f} degC: bring that right first.",
        )


def _within(number: float, bounds: tuple[float, float]) -> bool:
    return bounds[0] <= number <= bounds[1]


def _too_high(picture: Picture) -> Iterator[Block]:
    """Elements above the level at which dosing ends.

    Not alkalinity: a tank that uses up 3 dKH a day is empty before the next test, so
    that it is led down by withholding a part, and the gate stops doses by the hour.
    """
    for parameter, found in picture.standings.items():
        if parameter == ALKALINITY:
            continue
        level = picture.fresh(parameter)
        judged = found.level_35 if found.level_35 is not None else level
        if level is None or judged is None or found.stop_above is None:
            continue
        if judged > found.stop_above:
            yield Block(
                parameter=parameter,
                stops="dose",
                ground=Ground.BLOCKED,
                text=f"{PARAMETERS[parameter].name.capitalize()} is above "
                f"{show_level(parameter, found.stop_above)}, where dosing of it ends.",
            )


def _newest_too_high(picture: Picture) -> Iterator[Block]:
    """Whatever else is reckoned: a newest test above its bound raises nothing."""
    for parameter, found in picture.standings.items():
        if told := excess_words(found):
            yield Block(
                parameter=parameter,
                stops="rise",
                ground=Ground.ABOVE_BOUND,
                text=f"{told}.",
            )


def _apart(picture: Picture) -> Iterator[Block]:
    """Readings of one water that contradict each other: the higher may be right."""
    for parameter in picture.series:
        if picture.apart(parameter) is not None:
            yield Block(
                parameter=parameter,
                stops="rise",
                ground=Ground.BLOCKED,
                text=_APART,
            )


def _traces(picture: Picture) -> Iterator[Block]:
    for parameter, found in picture.traces.items():
        if found.stage == "act":
            yield Block(
                parameter=parameter,
                stops="dose",
                ground=Ground.BLOCKED,
                text=f"{parameter.capitalize()} may be at "
                f"{show_figure(found.at_most)} ug/L, act is "
                f"{show_figure(found.act)}: none of it is dosed.",
            )
        elif found.stage == "watch":
            yield Block(
                parameter=parameter,
                stops="correction",
                ground=Ground.BLOCKED,
                text=f"{parameter.capitalize()} is being watched: it is not raised.",
            )


def _disputed(picture: Picture) -> Iterator[Block]:
    for parameter in picture.agreements:
        found = picture.disputed(parameter)
        if found is not None:
            yield Block(
                parameter=parameter,
                stops="correction",
                ground=Ground.DISAGREEMENT,
                text="Laboratory and home tests disagree: test a standard.",
            )


def _uptakes(picture: Picture) -> Iterator[Block]:
    for parameter, found in picture.uptakes.items():
        if found.frozen:
            yield Block(
                parameter=parameter,
                stops="change",
                ground=Ground.LITTLE_EVIDENCE,
                text="Two ways of estimating its uptake disagree: the dose stays.",
            )
    for parameter in picture.series:
        if picture.held(parameter) is not None:
            yield Block(
                parameter=parameter,
                stops="correction",
                ground=Ground.LITTLE_EVIDENCE,
                text=_HELD if picture.apart(parameter) is None else _APART,
            )


def _incoherent(picture: Picture) -> Iterator[Block]:
    for check in picture.checks:
        if check.name == "calcium-alkalinity" and check.holds is False:
            yield Block(
                parameter=CALCIUM,
                stops="correction",
                ground=Ground.BLOCKED,
                text="Calcium and alkalinity are not used up together.",
            )


def _unconfirmed(picture: Picture) -> Iterator[Block]:
    """What was told from afar ends what would raise; what leads down goes on."""
    for told in unconfirmed(picture):
        parameter = told.parameter
        level = picture.fresh(parameter)
        target = picture.tank.targets.get(parameter)
        if level is None or target is None or level <= target:
            yield Block(
                parameter=parameter,
                stops="correction",
                ground=Ground.LITTLE_EVIDENCE,
                text=f"{told.text} Confirm or refuse it first.",
            )


def _carbon(picture: Picture) -> Iterator[Block]:
    if CARBON not in picture.dosed:
        return
    celsius = picture.fresh(TEMPERATURE)
    if celsius is not None and celsius > CARBON_HOTTEST_CELSIUS:
        yield Block(
            parameter=CARBON,
            stops="dose",
            ground=Ground.BLOCKED,
            text=f"The water has {celsius:.1f} degC: no carbon.",
        )
    for parameter, least in CARBON_LEAST.items():
        level = picture.fresh(parameter)
        if level is not None and level < least:
            yield Block(
                parameter=CARBON,
                stops="dose",
                ground=Ground.BLOCKED,
                text=f"{parameter.capitalize()} is below "
                f"{show_level(parameter, least)}: no carbon.",
            )
