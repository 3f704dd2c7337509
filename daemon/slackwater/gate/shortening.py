"""How far doses are shortened when the water is not known, or a gap lies behind.

Floor 3. One subject: the share of a dose that may run. Laws here: a share is never
above the whole; a correction runs only on sound evidence; lines of a group share the
smallest share of the group.
Units: shares in parts per million.
"""

from dataclasses import dataclass
from datetime import timedelta

from slackwater.facts.reasons import Code, Reason, because
from slackwater.facts.safeguards import AwayDeclared
from slackwater.facts.stages import UNTIL_THEN
from slackwater.gate.bypass import is_left_aside
from slackwater.gate.moment import (
    ALKALINITY,
    NOTHING,
    Ask,
    LineRule,
    Moment,
    PumpRule,
)
from slackwater.gate.probes import known
from slackwater.gate.resuming import (
    WHOLE,
    outside_per_day,
    planned_per_day,
    resume_ppm,
)
from slackwater.gate.scopes import mates_of, reaches, reaches_group
from slackwater.gate.strengths import new_strength
from slackwater.gate.watches import doubting

# After the configured time without evidence, nine tenths of the base (common
# practice): long silence of the probe is no reason for silence of the pumps.
LONG_PERCENT = 90
# While nobody is there to test, the whole upkeep runs for so long (common practice).
AWAY_WHOLE = timedelta(days=14)
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
    line = ask.line
    if line is None:
        return WHOLE_DOSE
    share, state = WHOLE_DOSE, moment.state
    # A series of hand tests is judged where nothing is watched.
    if ask.dose.tank in moment.rules.watched or state.judged:
        share = _by_inputs(moment, ask, line)
    if line.follows_alkalinity and ask.dose.tank in state.resuming:
        share = _less(share, _by_resuming(moment, ask.dose.tank))
    if state.halves:
        share = _less(share, _by_half(moment, ask))
    if state.strengths:
        share = _less(share, _by_strength(moment, ask, line))
    if state.away is not None:
        absence = _by_absence(moment, ask.dose.tank, line, state.away)
        share = _less(share, absence)
    return share


def _less(one: Share, other: Share) -> Share:
    """The smaller of two shares, with the reasons of both."""
    if other is WHOLE_DOSE:
        return one
    ppm, reasons = min(one.ppm, other.ppm), (*one.reasons, *other.reasons)
    return Share(ppm=ppm, reasons=reasons)


def _by_resuming(moment: Moment, tank: str) -> Share:
    """What fits under the net limit on the way back after a gap."""
    allowed = resume_ppm(moment, tank)
    reason = because(Code.RESUMING, share_percent=allowed // 10_000)
    return Share(ppm=min(allowed, WHOLE), reasons=(reason,))


def _by_inputs(moment: Moment, ask: Ask, line: LineRule) -> Share:
    """The base while an input that watches the dose, or its group, is not known."""
    tank = ask.dose.tank
    found = [
        doubt
        for row in doubting(moment.rules.watched.get(tank, NOTHING))
        # What nobody of this line follows need not be looked at.
        if row.scope != ALKALINITY or line.follows_alkalinity
        if row.doubts is not None and not is_left_aside(moment, row, ask.pump)
        for doubt in row.doubts(moment, tank)
        if reaches(doubt.scope, ask) or reaches_group(doubt.scope, moment, ask)
    ]
    if not found:
        return WHOLE_DOSE
    lines = [(ask.pump, line), *mates_of(moment, line)]
    ppm = min(line_base_ppm(moment, pump, rule) for pump, rule in lines)
    if max(doubt.for_s for doubt in found) > moment.machine.timing.base_for_s:
        ppm = ppm * LONG_PERCENT // 100
    return Share(ppm=ppm, reasons=tuple(doubt.reason for doubt in found))


def _by_absence(moment: Moment, tank: str, line: LineRule, away: AwayDeclared) -> Share:
    """No corrections while nobody tests; nine tenths after two weeks of that.

    A sound alkalinity probe tests all the time.
    """
    gone = moment.now.utc - away.from_at
    if gone < timedelta():
        return WHOLE_DOSE
    why = (because(Code.AWAY, days=gone.days),)
    if line.line.purpose == "correction":
        return Share(ppm=0, reasons=why)
    if gone <= AWAY_WHOLE or known(moment, tank, ALKALINITY).fresh:
        return WHOLE_DOSE
    return Share(ppm=WHOLE * LONG_PERCENT // 100, reasons=why)


def _by_half(moment: Moment, ask: Ask) -> Share:
    """Half while something is new: everything, or this pump."""
    own = f"pump/{ask.dose.pump}"
    for scope in ("all", own, f"{own}{UNTIL_THEN}"):
        half = moment.state.halves.get(scope)
        if half is not None and half.left_s(moment.now.utc, moment.proven_ms) > 0:
            reason = because(Code.HALVED, why=half.why)
            return Share(ppm=WHOLE // 2, reasons=(reason,))
    return WHOLE_DOSE


def _by_strength(moment: Moment, ask: Ask, line: LineRule) -> Share:
    """Half, then the base, while a pump of the group gives another strength."""
    # What adds nothing has no strength.
    if not (ask.pump.adds or line.mates):
        return WHOLE_DOSE
    lines = [(ask.pump, line), *mates_of(moment, line)]
    found = [new for pump, _ in lines if (new := new_strength(moment, pump))]
    if not found:
        return WHOLE_DOSE
    ppm = min(line_base_ppm(moment, pump, rule) for pump, rule in lines)
    if any(new.is_half for new in found):
        ppm = min(ppm, WHOLE // 2)
    return Share(ppm=ppm, reasons=tuple(new.reason for new in found))


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


def line_base_ppm(moment: Moment, pump: PumpRule, rule: LineRule) -> int:
    """The base of any line: by alkalinity, else by what it replaces, else by rule."""
    tank = rule.line.tank
    if rule.follows_alkalinity or rule.line.purpose == "correction":
        return base_ppm(moment, tank, rule)
    uptakes = moment.machine.tanks[tank].uptake
    shares = []
    for effect in pump.effects:
        uptake = uptakes.get(effect.parameter)
        daily = moment.rules.upkeep.get(f"{tank}/{effect.parameter}", 0)
        if uptake is not None and daily > 0:
            base = min(uptake.estimate * BASE_PERCENT // 100, uptake.low)
            base = max(base - effect.outside, 0)
            shares.append(min(WHOLE, base * WHOLE // daily))
    return min(shares, default=WHOLE * BASE_PERCENT // 100)


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
