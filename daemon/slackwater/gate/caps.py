"""Ceilings and gaps: would this volume, now, pass any of them?

Floor 3. One subject: amounts. Laws here: absent means zero; a cap is written so that
anything that is not a proper number refuses; everything counts from the intent on,
the local day and any 24 h of proven time alike.
"""

from collections.abc import Iterable, Iterator
from datetime import date

from slackwater.facts.plan import OUT_OF_WATER
from slackwater.facts.reasons import Code, Reason, because
from slackwater.facts.rolling import DAY_MS, HOUR_MS
from slackwater.facts.state import State
from slackwater.gate.by_hand import over_hand_cap
from slackwater.gate.handover import old_part
from slackwater.gate.moment import Ask, EffectRule, Moment


def over_caps(moment: Moment, ask: Ask, volume_ul: int, day: date) -> list[Reason]:
    """Every cap the volume would pass; empty when it fits.

    Units: microlitres; `day` is the tank's local date at this moment.
    """
    if ask.kind in OUT_OF_WATER:
        return list(_out_of_water(moment, ask, volume_ul))
    reasons = _pump_caps(moment, ask, volume_ul, day)
    if ask.kind == "manual":
        reasons += over_hand_cap(moment, ask, volume_ul)
    for rule in ask.pump.effects:
        reasons += _effect_caps(moment, rule, volume_ul, day)
    return reasons


def unanswered_left_ms(state: State, proven_ms: int) -> int:
    """How long daily caps stay used up because nobody said what was dosed before.

    Units: milliseconds, from a whole day down to zero. What was dosed may have been the
    whole cap, a moment before: freed bit by bit, a day could have nearly twice its cap.
    """
    if state.unanswered_ms is None:
        return 0
    return max(DAY_MS - (proven_ms - state.unanswered_ms), 0)


def _pump_caps(moment: Moment, ask: Ask, volume_ul: int, day: date) -> list[Reason]:
    state, pump, key = moment.state, ask.pump.pump, ask.pump.charge_key
    reasons = []
    if not 0 < volume_ul <= pump.per_dose_ul:
        reasons.append(_over(Code.CAP_DOSE, None, volume_ul, pump.per_dose_ul))
    given, rolling_ul = state.charges.get(key), 0
    if state.unanswered_ms is not None:
        rolling_ul = _used_up(moment, pump.per_day_ul)
    today_ul = rolling_ul
    if given is not None:
        rolling_ul += given.since(moment.proven_ms - DAY_MS)
        today_ul += state.days[key].get(day, 0)
    if not 0 < rolling_ul + volume_ul <= pump.per_day_ul:
        reasons.append(_over(Code.CAP_ROLLING, rolling_ul, volume_ul, pump.per_day_ul))
    if not 0 < today_ul + volume_ul <= pump.per_day_ul:
        reasons.append(_over(Code.CAP_DAY, today_ul, volume_ul, pump.per_day_ul))
    if pump.per_hour_ul is not None:
        hour_ul = 0 if given is None else given.since(moment.proven_ms - HOUR_MS)
        if not 0 < hour_ul + volume_ul <= pump.per_hour_ul:
            reasons.append(_over(Code.CAP_HOUR, hour_ul, volume_ul, pump.per_hour_ul))
    return reasons


def _over(code: Code, charged_ul: int | None, asked_ul: int, cap_ul: int) -> Reason:
    if charged_ul is None:
        return because(code, asked_ul=asked_ul, cap_ul=cap_ul)
    return because(code, charged_ul=charged_ul, asked_ul=asked_ul, cap_ul=cap_ul)


def _effect_caps(
    moment: Moment, rule: EffectRule, volume_ul: int, day: date
) -> list[Reason]:
    state = moment.state
    reasons = []
    added = rule.per_ul * volume_ul
    charged = 0 if state.unanswered_ms is None else _used_up(moment, rule.gross)
    today = charged
    given = state.charges.get(rule.key)
    if given is not None:
        charged += given.since(moment.proven_ms - DAY_MS)
        today += state.days[rule.key].get(day, 0)
    worst, outside = max(charged, today), rule.outside
    if rule.old:
        outside += old_part(state, moment.proven_ms, rule.old)
    if not 0 < worst + added + outside <= rule.gross:
        gross = because(
            Code.CAP_GROSS,
            parameter=rule.parameter,
            charged=worst,
            asked=added,
            outside=outside,
            cap=rule.gross,
        )
        reasons.append(gross)
    if rule.net is not None:
        rise = worst + added + outside - rule.uptake_low
        if not rise <= rule.net:
            net = because(
                Code.CAP_NET, parameter=rule.parameter, rise=rise, cap=rule.net
            )
            reasons.append(net)
    return reasons


def _used_up(moment: Moment, cap: int) -> int:
    """What of a daily cap nobody accounted for: all of it, for a day."""
    return cap if unanswered_left_ms(moment.state, moment.proven_ms) else 0


def _out_of_water(moment: Moment, ask: Ask, volume_ul: int) -> Iterator[Reason]:
    """The small caps of their own for runs into a cylinder, and to fill a hose."""
    pump = ask.pump.pump
    code, cap_ul = Code.CAP_CALIBRATION, pump.per_calibration_ul
    if ask.kind == "prime":
        code, cap_ul = Code.CAP_PRIMING, pump.per_priming_ul
    given = moment.state.charges.get(f"{ask.kind}/{pump.id}")
    charged_ul = 0 if given is None else given.since(moment.proven_ms - HOUR_MS)
    if not 0 < charged_ul + volume_ul <= cap_ul:
        yield because(
            code,
            charged_ul=charged_ul,
            asked_ul=volume_ul,
            cap_ul=cap_ul,
        )


def too_close(moment: Moment, ask: Ask) -> list[Reason]:
    """Every gap that has not passed yet since the last possible end of flow."""
    flows, proven_ms = moment.state.flows, moment.proven_ms
    reasons = []
    own = flows.get(ask.pump.pump.id)
    if own is not None:
        left_ms = own.end_ms + _rest_ms(moment, ask) - proven_ms
        if left_ms > 0:
            reasons.append(because(Code.GAP_SAME_PUMP, left_s=_seconds(left_ms)))
    if ask.kind in OUT_OF_WATER:
        return reasons
    for other, gap_ms in ask.pump.apart:
        flow = flows.get(other)
        # Nobody knows what ran before the ledger was made: that counts as "then".
        end_ms = 0 if flow is None else flow.end_ms
        left_ms = end_ms + gap_ms - proven_ms
        if left_ms > 0:
            reasons.append(
                because(Code.GAP_APART, pump=other, left_s=_seconds(left_ms))
            )
    given, tank = moment.rules.solutions, ask.pump.pump.tank
    changed = [
        other
        for other, flow in flows.items()
        if flow.tank == tank
        and (given.get(other) != flow.solution or not _is_here(moment, other, tank))
    ]
    if changed:
        reasons += _after_the_old_bottle(moment, ask, changed)
    return reasons


def _is_here(moment: Moment, pump: str, tank: str) -> bool:
    """Whether a pump still stands at a tank it gave into."""
    rule = moment.rules.pumps.get(pump)
    return rule is not None and rule.pump.tank == tank


def _rest_ms(moment: Moment, ask: Ask) -> int:
    """What a pump rests between two runs.

    Into a cylinder nothing has to mix before the next shot; a relay, whose pulses may
    run twice, rests all the same.
    """
    is_relay = moment.machine.nodes[ask.pump.pump.node].relay is not None
    if ask.kind == "calibrate" and not is_relay:
        return 0
    return ask.pump.same_pump_gap_ms


def _after_the_old_bottle(
    moment: Moment, ask: Ask, changed: Iterable[str]
) -> Iterator[Reason]:
    """The gap to what a pump gave before it was given another solution, or moved."""
    machine, pump = moment.machine, ask.pump.pump
    turnover_ms = int(machine.tanks[pump.tank].turnover_s * 1000)
    for other in changed:
        flow = moment.state.flows[other]
        gap_ms = int(machine.gap_s(pump.solution, flow.solution) * 1000)
        # What a solution was that nobody knows any more, it was the worst.
        if flow.solution not in machine.solutions:
            gap_ms = int(machine.timing.hydroxide_gap_s * 1000)
        if gap_ms > 0:
            gap_ms = max(gap_ms, turnover_ms)
        left_ms = flow.end_ms + gap_ms - moment.proven_ms
        if left_ms > 0:
            yield because(Code.GAP_APART, pump=other, left_s=_seconds(left_ms))


def _seconds(left_ms: int) -> int:
    return -(-left_ms // 1000)
