"""How far doses are shortened when the water is not known, or a gap lies behind.

Floor 3. One subject: the share of a dose that may run. Laws here: a share is never
above the whole; a correction runs only on sound evidence; lines of a group share the
smallest share of the group.
Units: shares in parts per million.
"""

from dataclasses import dataclass

from slackwater.facts.reasons import Code, Reason, because
from slackwater.gate.alkalinity import alkalinity_probes, water_doubts
from slackwater.gate.moment import ALKALINITY, Ask, LineRule, Moment
from slackwater.gate.resuming import (
    WHOLE,
    outside_per_day,
    planned_per_day,
    resume_ppm,
)

# After the configured time without evidence, nine tenths of the base (common
# practice): long silence of the probe is no reason for silence of the pumps.
LONG_PERCENT = 90
# Base: what replaces four fifths of the uptake (design law; common practice).
BASE_PERCENT = 80


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """The part of a dose that may run, with what led to it."""

    ppm: int = WHOLE
    reasons: tuple[Reason, ...] = ()


WHOLE_DOSE = Share()


def share_of(moment: Moment, ask: Ask) -> Share:
    """The share for one dose; the whole when nothing speaks against it."""
    if ask.line is None or not ask.line.follows_alkalinity:
        return WHOLE_DOSE
    tank = ask.dose.tank
    ppm, reasons = WHOLE, []
    doubts = water_doubts(moment, tank)
    if doubts:
        ppm = base_ppm(moment, tank, ask.line)
        if unknown_for_s(moment, tank) > moment.machine.timing.base_for_s:
            ppm = ppm * LONG_PERCENT // 100
        reasons.extend(doubts)
    if tank in moment.state.resuming:
        allowed = resume_ppm(moment, tank)
        ppm = min(ppm, allowed)
        reasons.append(because(Code.RESUMING, share_percent=allowed // 10_000))
    return Share(ppm=min(ppm, WHOLE), reasons=tuple(reasons))


def unknown_for_s(moment: Moment, tank: str) -> float:
    """Seconds since any alkalinity probe of the tank was last heard.

    Where none ever was, since the plan took over.
    """
    heard = [
        series[-1].at
        for probe in alkalinity_probes(moment, tank)
        if (series := moment.sight.readings.get(probe.id))
    ]
    if moment.approval is not None:
        heard.append(moment.approval.takes_over_at)
    return (moment.now.utc - max(heard)).total_seconds() if heard else 0.0


def base_ppm(moment: Moment, tank: str, rule: LineRule) -> int:
    """The share that gives the base: never more than the plan, no corrections."""
    if rule.line.purpose == "correction":
        return 0
    maintenance, _ = planned_per_day(moment, tank)
    uptake = moment.machine.tanks[tank].uptake.get(ALKALINITY)
    if uptake is None or maintenance <= 0:
        return WHOLE * BASE_PERCENT // 100
    base = min(uptake.estimate * BASE_PERCENT // 100, uptake.low)
    base = max(base - outside_per_day(moment, tank), 0)
    return min(WHOLE, base * WHOLE // maintenance)


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
