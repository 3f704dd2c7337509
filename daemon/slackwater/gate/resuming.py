"""Coming back after a gap: how much of the plan a tank can take again.

Floor 3. One subject: the way back. Laws here: the rise stays under the net limit
whatever the uptake is between its bounds; what was given is the believed amount;
a share is never above the whole.
Source: mass balance in one box whose uptake falls in proportion to alkalinity above
3 dKH (a model, not a measurement; it gives the 0.9 and 2.0 dKH that four days off and
then the full rate lift a tank of 1.5 and 3 dKH a day on the first day).
Units: alkalinity in pico-equivalents for the whole tank.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from functools import lru_cache
from itertools import repeat

from slackwater.facts.charging import HOURS_KEPT, hour_of
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.tank import Tank
from slackwater.gate.handover import old_part, their_hours
from slackwater.gate.moment import ALKALINITY, Moment, daily_of

WHOLE = 1_000_000
# Without a stated lower bound, uptake may be this much below its estimate.
LOW_PERCENT = 85
# The rise allowed while coming back keeps this distance from the net limit.
NET_PERCENT = 90
# Net limit where nobody stated one: 0.5 dKH a day (common practice, no source).
NET_DEFAULT_PEQ_PER_L = 178_326_230
# Uptake stops near 3 dKH in the model.
DEAD_PEQ_PER_L = 1_069_957_380
# Where a tank without a target may stand when all is well, 6.5 to 9 dKH (common
# practice, no source): what is true at both ends is taken.
USUAL_PEQ_PER_L = (2_318_240_990, 3_209_872_140)
# A target so low that the model would end there counts as 6 dKH.
USUAL_LEAST_PEQ_PER_L = 2_139_914_760
PEQ_PER_MEQ = 10**9
UL_PER_L = 10**6
DAY_HOURS = 24
# So long pumps that were enabled again look back at what came while they were not.
AGAIN = timedelta(hours=24)
# Asked for at each turn, and the same until an hour has passed: a few for each tank.
LEFTS_KEPT = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """One tank for the model: what comes in, what it takes up, how far down it can go.

    `outside` is what comes without us now, `steady` the part of it that always did;
    `low` and `usual` bound the uptake of a day at the usual level; each of `spans`
    lies between a level that may be the usual one and the level at which uptake stops;
    `net` is the rise of a day.
    """

    plan: int
    outside: int
    steady: int
    low: int
    usual: int
    spans: tuple[int, ...]
    net: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """How much of its uptake a tank still has, 0 to 1, for each of the spans.

    Under the uptake it has as usual, and under the lowest it may have.
    """

    usual: tuple[float, ...]
    low: tuple[float, ...]


def planned_per_day(moment: Moment, tank_id: str) -> tuple[int, int]:
    """Alkalinity a day of this tank's lines: (maintenance, all), those of ours."""
    maintenance, everything = moment.rules.alkalinity.get(tank_id, (0, 0))
    for name in moment.state.left_to_old:
        rule = moment.rules.lines.get(name)
        if rule is not None and rule.line.tank == tank_id:
            amount = daily_of(rule.line, moment.rules.pumps)
            everything -= amount
            maintenance -= amount if rule.line.purpose == "maintenance" else 0
    return maintenance, everything


def outside_per_day(moment: Moment, tank_id: str) -> int:
    """Alkalinity a day that comes without a command of ours."""
    outside = moment.rules.outside.get(tank_id, 0)
    old = moment.rules.old.get(tank_id, ())
    return outside + old_part(moment.state, moment.proven_ms, old) if old else outside


def of_old_dosers(moment: Moment, tank_id: str) -> dict[str, int]:
    """What old dosers gave a day of the lines that are, or were, theirs, by line.

    Where the file names one no more, its line stands for it: it took its place.
    """
    state = moment.state
    if not (state.left_to_old or state.taken_over):
        return {}
    gave = dict(moment.rules.old.get(tank_id, ()))
    for name in state.taken_over.keys() - gave.keys():
        rule = moment.rules.lines.get(name)
        if rule is not None and rule.line.tank == tank_id:
            gave[name] = daily_of(rule.line, moment.rules.pumps)
    return gave


def old_by_hour(moment: Moment, tank_id: str, hours: range) -> dict[int, int]:
    """Alkalinity that old dosers gave, evenly, in the hours that were theirs."""
    found: dict[int, int] = {}
    for name, per_day in of_old_dosers(moment, tank_id).items():
        for hour in their_hours(moment.state, name, hours):
            found[hour] = found.get(hour, 0) + per_day // DAY_HOURS
    return found


def begin_again(moment: Moment) -> bool:
    """Whether pumps that fed the tanks before were enabled again within a day."""
    state, utc = moment.state, moment.now.utc
    if state.fed_since is None or state.stage_since is None or state.stage != "live":
        return False
    return state.stage_since > utc - AGAIN


def must_resume(moment: Moment, tank_id: str) -> bool:
    """Less than half of a day's planned alkalinity came in the last 24 h.

    False while the full plan still fits: a short gap needs no way back. While pumps
    were disabled nothing was planned of them, and nothing came.
    """
    if begin_again(moment) and not has_recovered(moment, tank_id):
        return True
    wanting_ms = moment.state.wanting.get(tank_id)
    since_ms = moment.proven_ms - DAY_MS
    # Nothing came short within the day: no sum needs to be looked at.
    if wanting_ms is None or wanting_ms <= since_ms:
        return False
    _, plan = planned_per_day(moment, tank_id)
    key = f"{tank_id}/{ALKALINITY}"
    wanted = moment.state.planned.get(key)
    if wanted is None:
        return False
    planned = wanted.since(since_ms)
    given = moment.state.believed.get(key)
    believed = 0 if given is None else given.since(since_ms)
    lacking = 2 * planned >= plan and 2 * believed < planned
    return lacking and not has_recovered(moment, tank_id)


def has_recovered(moment: Moment, tank_id: str) -> bool:
    """The full plan fits, or what is left of the way is no more than a day may rise."""
    box = _box(moment, tank_id)
    left = _left_of(box, _given_by_hour(moment, tank_id))
    missing = max(
        span * (1.0 - share) for span, share in zip(box.spans, left.usual, strict=True)
    )
    return missing <= box.net or _share_ppm(box, left) >= WHOLE


def resume_ppm(moment: Moment, tank_id: str) -> int:
    """The share of the plan under which the rise stays below the net limit.

    Units: parts per million. The uptake counted on is the smaller of what the tank
    takes up if it lives at its lower bound and if it lives at its estimate: the one
    takes little, the other has sunk further.
    """
    box = _box(moment, tank_id)
    return _share_ppm(box, _left_of(box, _given_by_hour(moment, tank_id)))


def _share_ppm(box: Box, left: Left) -> int:
    if box.plan <= 0:
        return WHOLE
    taken = min(
        *(box.low * share for share in left.low),
        *(box.usual * share for share in left.usual),
    )
    allowed = box.net * NET_PERCENT // 100 + int(taken) - box.outside
    return min(WHOLE, max(allowed, 0) * WHOLE // box.plan)


def _given_by_hour(moment: Moment, tank_id: str) -> tuple[int, ...]:
    """What doses, and old dosers, gave the tank in each hour, the oldest first.

    Starts when pumps were enabled or six weeks ago, whichever is later: longer than any
    tank remembers. What they were disabled for in between is a gap.
    """
    hours: Mapping[int, int] = moment.state.hours.get(tank_id, {})
    last = hour_of(moment.now.utc)
    state, begun = moment.state, moment.state.stage_since
    # What was imagined in shadow fed nobody.
    if state.stage == "live" and state.fed_since is not None:
        begun = state.fed_since
    since = hour_of(begun or moment.now.utc)
    first = max(since, last - HOURS_KEPT)
    old = old_by_hour(moment, tank_id, range(first, last))
    for hour in hours if old else ():
        old[hour] = old.get(hour, 0) + hours[hour]
    hours = old or hours
    # A thousand hours, at each turn: no step of our own for each of them.
    return tuple(map(hours.get, range(first, last), repeat(0)))


@lru_cache(LEFTS_KEPT)
def _left_of(box: Box, given: tuple[int, ...]) -> Left:
    """What is left of the uptake after so much was given, hour by hour."""
    return Left(
        usual=tuple(_left(box, given, box.usual, span) for span in box.spans),
        low=tuple(_left(box, given, box.low, span) for span in box.spans),
    )


def _left(box: Box, given: tuple[int, ...], uptake: int, span: int) -> float:
    """How much of this uptake a day the tank still has; the whole at the start."""
    left, per_hour, steady = 1.0, uptake / DAY_HOURS, box.steady / DAY_HOURS
    # A thousand hours: no call in here.
    for amount in given:
        left += (steady + amount - per_hour * left) / span
        if left > 1.0:
            left = 1.0
        elif left < 0.0:
            left = 0.0
    return left


def _box(moment: Moment, tank_id: str) -> Box:
    tank = moment.machine.tanks[tank_id]
    _, plan = planned_per_day(moment, tank_id)
    outside = outside_per_day(moment, tank_id)
    net = _net_limit(tank)
    uptake = tank.uptake.get(ALKALINITY)
    usual = plan + outside if uptake is None else uptake.estimate
    low = usual * LOW_PERCENT // 100 if uptake is None else uptake.low
    return Box(
        plan=plan,
        outside=outside,
        steady=moment.rules.outside.get(tank_id, 0),
        # The way back need not be safer than the full plan at the usual level is.
        low=max(low, plan + outside - net),
        usual=usual,
        spans=tuple(
            (level - DEAD_PEQ_PER_L) * tank.net_ul // UL_PER_L
            for level in _usual_levels(tank)
        ),
        net=net,
    )


def _usual_levels(tank: Tank) -> tuple[int, ...]:
    target = tank.targets.get(ALKALINITY)
    if target is None:
        return USUAL_PEQ_PER_L
    return (max(int(target * PEQ_PER_MEQ), USUAL_LEAST_PEQ_PER_L),)


def _net_limit(tank: Tank) -> int:
    cap = tank.caps.get(ALKALINITY)
    if cap is not None and cap.net_rise is not None:
        return cap.net_rise
    return NET_DEFAULT_PEQ_PER_L * tank.net_ul // UL_PER_L
