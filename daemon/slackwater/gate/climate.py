"""What temperature and salinity do to doses.

Floor 3. One subject: the state of the water that every dose meets. Laws here: too far
off stops, either way; what is not known shortens; salinity is judged by probes, else by
the newest hand test.
Source: common practice, no source.
"""

from collections.abc import Iterator
from datetime import timedelta

from slackwater.facts.events import HoldRaised
from slackwater.facts.limits import SALINITY as USUAL_SALINITY
from slackwater.facts.limits import WaterLimits, limits_of
from slackwater.facts.reasons import Code, Reason, because
from slackwater.gate.moment import LineRule, Moment, PumpRule
from slackwater.gate.probes import (
    ROUNDING,
    has_calmed,
    known,
    newest,
    newest_test,
    serving,
)
from slackwater.gate.scopes import covers
from slackwater.gate.watch import Doubt, Seen

TEMPERATURE, SALINITY = "temperature", "salinity"
# Salinity moves slowly where evaporation is made up for.
TEST_COUNTS = timedelta(days=30)


def warmth_looks(moment: Moment, tank: str) -> Iterator[Seen]:
    """Too warm or too cool for corrections and carbon, by any one probe."""
    limits = limits_of(moment.machine.limits, tank)
    span = (limits.temperature_cool, limits.temperature_warm)
    yield from _outside(moment, tank, span, "temperature")


def warmth_clears(moment: Moment, tank: str, _hold: HoldRaised) -> bool:
    """Inside again by the hysteresis, for long enough."""
    limits = limits_of(moment.machine.limits, tank)
    span = (limits.temperature_cool, limits.temperature_warm)
    return _is_inside(moment, tank, span, limits)


def heat_looks(moment: Moment, tank: str) -> Iterator[Seen]:
    """Too hot or too cold for any dose, by any one probe."""
    limits = limits_of(moment.machine.limits, tank)
    span = (limits.temperature_cold, limits.temperature_hot)
    yield from _outside(moment, tank, span, "temperature-far")


def heat_clears(moment: Moment, tank: str, _hold: HoldRaised) -> bool:
    """Inside again by the hysteresis, for long enough."""
    limits = limits_of(moment.machine.limits, tank)
    span = (limits.temperature_cold, limits.temperature_hot)
    return _is_inside(moment, tank, span, limits)


def temperature_doubts(moment: Moment, tank: str) -> Iterator[Doubt]:
    """A temperature that is not known shortens every dose."""
    yield from _doubts(moment, tank, TEMPERATURE)


def salinity_doubts(moment: Moment, tank: str) -> Iterator[Doubt]:
    """A salinity that is not known shortens every dose."""
    yield from _doubts(moment, tank, SALINITY)


def off_looks(moment: Moment, tank: str) -> Iterator[Seen]:
    """Too far off for mineral corrections, by any one probe."""
    limits = limits_of(moment.machine.limits, tank)
    yield from _off(moment, tank, limits.salinity_off, "salinity")


def off_clears(moment: Moment, tank: str, _hold: HoldRaised) -> bool:
    """Near again by the hysteresis, for long enough."""
    limits = limits_of(moment.machine.limits, tank)
    return _is_near(moment, tank, limits.salinity_off - limits.salinity_back)


def far_looks(moment: Moment, tank: str) -> Iterator[Seen]:
    """Too far off for any dose, by any one probe."""
    limits = limits_of(moment.machine.limits, tank)
    yield from _off(moment, tank, limits.salinity_far, "salinity-far")


def far_clears(moment: Moment, tank: str, _hold: HoldRaised) -> bool:
    """Near again by the hysteresis, for long enough."""
    limits = limits_of(moment.machine.limits, tank)
    return _is_near(moment, tank, limits.salinity_far - limits.salinity_back)


def test_refuses(moment: Moment, pump: PumpRule, line: LineRule) -> Iterator[Reason]:
    """Where no probe serves, the newest hand test of salinity speaks."""
    tank = pump.pump.tank
    if f"{tank}/{SALINITY}" not in moment.state.levels:
        return
    if serving(moment, tank, SALINITY):
        return
    value = newest_test(moment, tank, SALINITY, TEST_COUNTS)
    if value is None:
        return
    limits = limits_of(moment.machine.limits, tank)
    for scope, limit, code in (
        ("water", limits.salinity_far, Code.SALINITY_FAR),
        ("minerals", limits.salinity_off, Code.SALINITY_OFF),
    ):
        off = abs(value - target_of(moment, tank))
        if off > limit + ROUNDING and covers(f"{scope}/{tank}", pump, line):
            yield because(code, tested=round(value, 2), off=round(off, 2), limit=limit)
            return


def target_of(moment: Moment, tank: str) -> float:
    """The salinity a tank should have."""
    return moment.machine.tanks[tank].targets.get(SALINITY, USUAL_SALINITY)


_SCOPES = {
    "temperature": ("extras", Code.TEMPERATURE_OFF),
    "temperature-far": ("water", Code.TEMPERATURE_FAR),
    "salinity": ("minerals", Code.SALINITY_OFF),
    "salinity-far": ("water", Code.SALINITY_FAR),
}


def _outside(
    moment: Moment, tank: str, span: tuple[float, float], name: str
) -> Iterator[Seen]:
    scope, code = _SCOPES[name]
    low, high = span
    for reading in newest(moment, tank, TEMPERATURE):
        if not low <= reading.value <= high:
            reason = because(
                code,
                probe=reading.probe,
                temperature_degc=round(reading.value, 2),
                low_degc=low,
                high_degc=high,
            )
            yield Seen(hold_id=f"{name}/{tank}", scope=f"{scope}/{tank}", reason=reason)


def _is_inside(
    moment: Moment, tank: str, span: tuple[float, float], limits: WaterLimits
) -> bool:
    low, high = span[0] + limits.temperature_back, span[1] - limits.temperature_back
    return has_calmed(moment, tank, TEMPERATURE, lambda value: low <= value <= high)


def _off(moment: Moment, tank: str, limit: float, name: str) -> Iterator[Seen]:
    scope, code = _SCOPES[name]
    for reading in newest(moment, tank, SALINITY):
        off = abs(reading.value - target_of(moment, tank))
        if off > limit + ROUNDING:
            reason = because(
                code,
                probe=reading.probe,
                salinity=round(reading.value, 2),
                off=round(off, 2),
                limit=limit,
            )
            yield Seen(hold_id=f"{name}/{tank}", scope=f"{scope}/{tank}", reason=reason)


def _is_near(moment: Moment, tank: str, limit: float) -> bool:
    def is_near(value: float) -> bool:
        # Asked of readings alone: a tank that was taken away has none, and no target.
        return abs(value - target_of(moment, tank)) <= limit + ROUNDING

    return has_calmed(moment, tank, SALINITY, is_near)


def _doubts(moment: Moment, tank: str, parameter: str) -> Iterator[Doubt]:
    found = known(moment, tank, parameter)
    for reason in found.doubts:
        yield Doubt(scope=f"water/{tank}", reason=reason, for_s=found.for_s)
