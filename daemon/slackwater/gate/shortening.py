"""How far doses are shortened when the water is not known, or a gap lies behind.

Floor 3. One subject: the share of a dose that may run. Laws here: a share is never
above the whole; a correction runs only on sound evidence; lines of a group share the
smallest share of the group.
Units: shares in parts per million.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from slackwater.facts.reasons import Code, Reason, because
from slackwater.facts.rolling import DAY_MS, HOUR_MS
from slackwater.facts.tank import Tank
from slackwater.gate.alkalinity import water_doubts
from slackwater.gate.moment import ALKALINITY, Ask, LineRule, Moment

WHOLE = 1_000_000
# Base: what replaces four fifths of the uptake (design law; common practice).
BASE_PERCENT = 80
# Without a stated lower bound, uptake may be this much below its estimate.
LOW_PERCENT = 85
# The rise allowed while coming back keeps this distance from the net limit.
NET_PERCENT = 90
# Net limit where nobody stated one: 0.5 dKH a day (common practice, no source).
NET_DEFAULT_PEQ_PER_L = 178_326_230
# Uptake stops near 3 dKH in the model that coming back rests on.
DEAD_PEQ_PER_L = 1_069_957_380
USUAL_PEQ_PER_L = 2_853_219_680
RECOVERED_PPM = 900_000
DAY_HOURS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """The part of a dose that may run, with what led to it."""

    ppm: int = WHOLE
    reasons: tuple[Reason, ...] = ()


def share_of(moment: Moment, ask: Ask) -> Share:
    """The share for one dose; the whole when nothing speaks against it."""
    if ask.line is None or not ask.line.follows_alkalinity:
        return Share()
    tank = ask.dose.tank
    ppm, reasons = WHOLE, []
    doubts = water_doubts(moment, tank)
    if doubts:
        ppm = base_ppm(moment, tank, ask.line)
        reasons.extend(doubts)
    if tank in moment.state.resuming:
        allowed = resume_ppm(moment, tank)
        ppm = min(ppm, allowed)
        reasons.append(because(Code.RESUMING, share_percent=allowed // 10_000))
    return Share(ppm=min(ppm, WHOLE), reasons=tuple(reasons))


def planned_per_day(moment: Moment, tank: str) -> tuple[int, int]:
    """Alkalinity a day of this tank's lines: (maintenance, all), pico-equivalents."""
    return moment.rules.alkalinity.get(tank, (0, 0))


def base_ppm(moment: Moment, tank: str, rule: LineRule) -> int:
    """The share that gives the base: never more than the plan, no corrections."""
    if rule.line.purpose == "correction":
        return 0
    maintenance, _ = planned_per_day(moment, tank)
    uptake = moment.machine.tanks[tank].uptake.get(ALKALINITY)
    if uptake is None or maintenance <= 0:
        return WHOLE * BASE_PERCENT // 100
    base = min(uptake.estimate * BASE_PERCENT // 100, uptake.low)
    base = max(base - _outside(moment, tank), 0)
    return min(WHOLE, base * WHOLE // maintenance)


def _outside(moment: Moment, tank: str) -> int:
    return moment.rules.outside.get(tank, 0)


def must_resume(moment: Moment, tank: str) -> bool:
    """Less than half of a day's planned alkalinity came in the last 24 h."""
    wanting_ms = moment.state.wanting.get(tank)
    # Nothing came short within the day: no sum needs to be looked at.
    if wanting_ms is None or wanting_ms <= moment.proven_ms - DAY_MS:
        return False
    _, plan = planned_per_day(moment, tank)
    key = f"{tank}/{ALKALINITY}"
    wanted = moment.state.planned.get(key)
    if plan <= 0 or wanted is None:
        return False
    since_ms = moment.proven_ms - DAY_MS
    planned = wanted.since(since_ms)
    given = moment.state.believed.get(key)
    believed = 0 if given is None else given.since(since_ms)
    return 2 * planned >= plan and 2 * believed < planned


def resume_ppm(moment: Moment, tank_id: str) -> int:
    """The share of the plan under which the rise stays below the net limit."""
    _, plan = planned_per_day(moment, tank_id)
    if plan <= 0:
        return WHOLE
    tank = moment.machine.tanks[tank_id]
    net = _net_limit(tank)
    uptake = tank.uptake.get(ALKALINITY)
    low = plan * LOW_PERCENT // 100 if uptake is None else uptake.low
    low = max(low, plan - net)
    left_ppm = uptake_left_ppm(moment, tank)
    allowed = net * NET_PERCENT // 100 + low * left_ppm // WHOLE
    allowed = max(allowed - _outside(moment, tank_id), 0)
    return min(WHOLE, allowed * WHOLE // plan)


def _net_limit(tank: Tank) -> int:
    cap = tank.caps.get(ALKALINITY)
    if cap is not None and cap.net_rise is not None:
        return cap.net_rise
    return NET_DEFAULT_PEQ_PER_L * tank.net_ul // 1_000_000


def uptake_left_ppm(moment: Moment, tank: Tank) -> int:
    """How much of its usual uptake the tank still has, after what it was given.

    A one-box model: uptake falls in proportion to alkalinity above 3 dKH (the same
    model the design's resuming figures were computed with). Starts at the whole
    when pumps were enabled or six weeks ago, whichever is later.
    """
    hours: Mapping[int, int] = moment.state.hours.get(tank.id, {})
    first = moment.state.stage_since_ms // HOUR_MS
    if hours:
        first = max(first, next(iter(hours)))
    last = moment.proven_ms // HOUR_MS
    _, plan = planned_per_day(moment, tank.id)
    uptake = tank.uptake.get(ALKALINITY)
    usual = plan + _outside(moment, tank.id) if uptake is None else uptake.estimate
    span = (USUAL_PEQ_PER_L - DEAD_PEQ_PER_L) * tank.net_ul // 1_000_000
    outside_hour = _outside(moment, tank.id) / DAY_HOURS
    left, per_hour = 1.0, usual / DAY_HOURS
    for hour in range(first, last):
        given = hours.get(hour, 0) + outside_hour
        left = min(max(left + (given - per_hour * left) / span, 0.0), 1.0)
    return int(left * WHOLE)


def thin(volume_ul: int, ppm: int, ordinal: int, smallest_ul: int) -> int:
    """The volume of one shortened dose, 0 when it is the turn of none.

    Below the smallest reliable dose, whole smallest doses are given at evenly chosen
    ordinals of the day instead; nothing is carried over and the day's sum stays at
    or below its share.
    """
    share_ul = volume_ul * ppm // WHOLE
    if share_ul >= smallest_ul:
        return share_ul
    step = smallest_ul * WHOLE
    before = (ordinal - 1) * volume_ul * ppm // step
    after = ordinal * volume_ul * ppm // step
    return smallest_ul if after > before and smallest_ul <= volume_ul else 0
