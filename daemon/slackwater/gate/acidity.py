"""What pH does to hydroxide and carbonate.

Floor 3. One subject: pH. Laws here: a pH probe may only inhibit; bicarbonate is never
held by it; a probe that cannot be believed inhibits hydroxide and nothing else.
Source: limits are common practice, no source; pH as a probe calibrated with NBS buffers
shows it. What hydroxide and carbonate lift follows from the carbonate system (Lueker et
al. 2000): 0.28 dKH lifts pH by 0.10 as hydroxide, by 0.05 as carbonate.
"""

from collections.abc import Iterator, Sequence
from datetime import timedelta
from statistics import median

from slackwater.facts.events import HoldRaised
from slackwater.facts.limits import WaterLimits, limits_of
from slackwater.facts.messages import Reading
from slackwater.facts.reasons import Code, Reason, because
from slackwater.gate.kinds import CARBONATE, HYDROXIDE
from slackwater.gate.moment import LineRule, Moment, PumpRule
from slackwater.gate.probes import (
    ROUNDING,
    has_calmed,
    known,
    newest,
    series_of,
    serving,
)
from slackwater.gate.watch import Seen

PH = "ph"
HALF_HOUR = timedelta(minutes=30)
HOUR = timedelta(hours=1)
# A dose shows in the water within this time (common practice, no source).
SHOWS_WITHIN_S = 900.0
# A median of fewer readings is a reading.
PAIR = 2


def hydroxide_looks(moment: Moment, tank: str) -> Iterator[Seen]:
    """PH above the limit for hydroxide, by any one probe."""
    limit = limits_of(moment.machine.limits, tank).ph_hydroxide
    yield from _too_high(moment, tank, limit, ("ph-hydroxide", HYDROXIDE))


def hydroxide_clears(moment: Moment, tank: str, _hold: HoldRaised) -> bool:
    """Back below it by the hysteresis, for long enough."""
    limits = limits_of(moment.machine.limits, tank)
    return _is_back(moment, tank, limits.ph_hydroxide - limits.ph_back)


def carbonate_looks(moment: Moment, tank: str) -> Iterator[Seen]:
    """PH above the limit for carbonate, by any one probe."""
    limit = limits_of(moment.machine.limits, tank).ph_carbonate
    yield from _too_high(moment, tank, limit, ("ph-carbonate", CARBONATE))


def carbonate_clears(moment: Moment, tank: str, _hold: HoldRaised) -> bool:
    """Back below it by the hysteresis, for long enough."""
    limits = limits_of(moment.machine.limits, tank)
    return _is_back(moment, tank, limits.ph_carbonate - limits.ph_back)


def rise_looks(moment: Moment, tank: str) -> Iterator[Seen]:
    """Half-hour medians that rise too fast, by any one probe."""
    limits = limits_of(moment.machine.limits, tank)
    for probe in serving(moment, tank, PH):
        rise = rise_per_hour(series_of(moment, probe), moment)
        if rise is not None and rise > limits.ph_rise_per_hour + ROUNDING:
            reason = because(
                Code.PH_RISE,
                probe=probe.id,
                rise=round(rise, 3),
                limit=limits.ph_rise_per_hour,
                minutes=60,
            )
            yield Seen(
                hold_id=f"ph-rise/{tank}", scope=f"raising/{tank}", reason=reason
            )


def rise_clears(moment: Moment, tank: str, hold: HoldRaised) -> bool:
    """No probe rises near the limit any more, and the least time has passed."""
    limits = limits_of(moment.machine.limits, tank)
    if not _has_lasted(moment, hold, limits):
        return False
    calm = limits.ph_rise_per_hour - limits.ph_back
    rises = (
        rise_per_hour(series_of(moment, probe), moment)
        for probe in serving(moment, tank, PH)
    )
    return all(rise is None or rise <= calm + ROUNDING for rise in rises)


def jump_looks(moment: Moment, tank: str) -> Iterator[Seen]:
    """PH that rose within a quarter of an hour of an own dose."""
    if not moment.state.flows:
        return
    limits = limits_of(moment.machine.limits, tank)
    for pump in moment.rules.pumps.values():
        if pump.pump.tank != tank or not pump.kinds & {HYDROXIDE, CARBONATE}:
            continue
        for probe in serving(moment, tank, PH):
            rise = rise_after(moment, pump, series_of(moment, probe))
            if rise is not None and rise > limits.ph_rise_after_dose + ROUNDING:
                reason = because(
                    Code.PH_RISE,
                    probe=probe.id,
                    rise=round(rise, 3),
                    limit=limits.ph_rise_after_dose,
                    after=pump.pump.id,
                )
                yield Seen(
                    hold_id=f"ph-jump/{tank}", scope=f"raising/{tank}", reason=reason
                )


def jump_clears(moment: Moment, tank: str, hold: HoldRaised) -> bool:
    """The least time has passed: the next dose is judged by itself."""
    return _has_lasted(moment, hold, limits_of(moment.machine.limits, tank))


def unknown_refuses(
    moment: Moment, pump: PumpRule, _line: LineRule
) -> Iterator[Reason]:
    """Hydroxide waits while pH is not known."""
    if HYDROXIDE not in pump.kinds:
        return
    for doubt in known(moment, pump.pump.tank, PH).doubts:
        yield because(Code.PH_UNKNOWN, doubt=str(doubt.code), **doubt.figures)


def rise_per_hour(series: Sequence[Reading], moment: Moment) -> float | None:
    """The last half hour's median less that of the half hour an hour before it.

    None when either half hour has fewer than two readings, or the newest is more than
    an hour old.
    """
    if not series or moment.now.utc - series[-1].at > HOUR:
        return None
    newest_at = series[-1].at
    late: list[float] = []
    early: list[float] = []
    for reading in reversed(series):
        age = newest_at - reading.at
        if age >= HOUR + HALF_HOUR:
            break
        if age < HALF_HOUR:
            late.append(reading.value)
        elif age >= HOUR:
            early.append(reading.value)
    if min(len(late), len(early)) < PAIR:
        return None
    return median(late) - median(early)


def rise_after(
    moment: Moment, pump: PumpRule, series: Sequence[Reading]
) -> float | None:
    """How far pH rose from before the pump's last run until now.

    None when that run is more than a quarter of an hour old, or nothing was read on
    both sides of it.
    """
    flow = moment.state.flows.get(pump.pump.id)
    if flow is None or not series:
        return None
    since_s = (moment.proven_ms - flow.end_ms) / 1000
    if since_s > SHOWS_WITHIN_S:
        return None
    run_s = moment.machine.nodes[pump.pump.node].cut_limit_ms / 1000
    run_s += moment.machine.timing.deadline_s
    begun = moment.now.utc - timedelta(seconds=since_s + run_s)
    before = next((r for r in reversed(series) if r.at <= begun), None)
    last = series[-1]
    if before is None or last.at <= begun or begun - before.at > HALF_HOUR:
        return None
    return last.value - before.value


def _too_high(
    moment: Moment, tank: str, limit: float, named: tuple[str, str]
) -> Iterator[Seen]:
    name, scope = named
    for reading in newest(moment, tank, PH):
        if reading.value > limit:
            reason = because(
                Code.PH_HIGH,
                probe=reading.probe,
                ph=round(reading.value, 3),
                limit=limit,
            )
            yield Seen(hold_id=f"{name}/{tank}", scope=f"{scope}/{tank}", reason=reason)


def _is_back(moment: Moment, tank: str, limit: float) -> bool:
    return has_calmed(moment, tank, PH, lambda value: value <= limit + ROUNDING)


def _has_lasted(moment: Moment, hold: HoldRaised, limits: WaterLimits) -> bool:
    lasted_s = (moment.now.utc - hold.at).total_seconds()
    return lasted_s >= limits.hold_at_least_s
