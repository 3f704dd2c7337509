"""Whether a half of an exchange may run: water out, or the water that makes up for it.

Floor 3. One subject: pairs of pumps. Laws here: nothing is drained that could not be
made up for at this moment, nothing is filled in that was not seen to leave; a drain
waits for its fill, and whatever is not known stops it; a fill is never shortened for
doubt, for its water is missing already.
"""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date

from slackwater.facts.exchanges import NEEDED, Account, Exchange, drain_of
from slackwater.facts.inventory import left_ul
from slackwater.facts.mismatch import Mismatch, mismatch_of
from slackwater.facts.plan import OUT_OF_WATER
from slackwater.facts.reasons import Code, Figure, Reason, because
from slackwater.facts.reliable import smallest_dose_ul
from slackwater.facts.tank import Pump
from slackwater.gate.caps import over_caps
from slackwater.gate.interlocks import refusals
from slackwater.gate.moment import Ask, Moment
from slackwater.gate.shortening import Share

NOTHING_OWED = Account()
MS_PER_S = 1000
# Of a doubted dose the base is given; of an exchange nothing.
STOPS_DRAINS = frozenset({Code.SWITCH_UNKNOWN})


def role_of(moment: Moment, ask: Ask) -> str:
    """`drain` or `fill` for half of an exchange, empty for every other run."""
    if not moment.machine.exchanges or ask.kind in OUT_OF_WATER:
        return ""
    found = moment.machine.pair_of(ask.pump.pump.id)
    return "" if found is None else found[1]


def half_refuses(moment: Moment, ask: Ask, share: Share, day: date) -> list[Reason]:
    """Everything that keeps a half from running; `day` is the tank's local date."""
    found = moment.machine.pair_of(ask.pump.pump.id)
    if found is None:
        return []
    pair, role = found
    if ask.kind == "manual":
        return [because(Code.EXCHANGE_ALONE, pair=pair.id)]
    if role == "fill":
        return list(_fill_waits(moment, pair, ask.dose.id))
    reasons = list(drain_refuses(moment, pair, ask))
    reasons += [one for one in share.reasons if one.code in STOPS_DRAINS]
    fill = _partner(moment, pair, ask)
    if fill is not None:
        reasons += over_caps(moment, fill, ask.dose.volume_ul, day)
    return reasons


def drain_refuses(moment: Moment, pair: Exchange, ask: Ask) -> Iterator[Reason]:
    """What speaks against draining now, but for caps."""
    account = account_of(moment, pair)
    if account.phase == "unknown":
        yield because(Code.EXCHANGE_UNFILLED, pair=pair.id, dose=account.dose)
    elif account.phase in ("draining", "filling") or owes(moment, pair):
        yield because(Code.EXCHANGE_WAITS, pair=pair.id, dose=account.dose)
    yield from _containers(moment, pair, ask.dose.volume_ul)
    yield from off_by(moment, pair, ask.dose.volume_ul)
    fill = _partner(moment, pair, ask)
    if fill is None:
        yield because(Code.NO_PLAN, pair=pair.id)
    else:
        # What is known of the drain itself has been said.
        own = refusals(moment, ask)
        yield from (one for one in refusals(moment, fill) if one not in own)


def off_by(moment: Moment, pair: Exchange, portion_ul: int) -> Iterator[Reason]:
    """The tank is off by the pair too far, or could be after one more portion."""
    found = mismatch_at(moment, pair)
    figures: dict[str, Figure] = {
        "pair": pair.id,
        "drained_more_ul": found.drained_more_ul,
        "within_ul": found.within_ul,
        "most_ul": found.most_ul,
    }
    if found.is_off:
        yield because(Code.EXCHANGE_OFF, **figures)
    elif not found.has_room(portion_ul):
        yield because(Code.EXCHANGE_UNPROVEN, **figures)


def owes(moment: Moment, pair: Exchange) -> bool:
    """Whether a drain is not made up for yet, by as much as its fill can give."""
    account = account_of(moment, pair)
    pump = moment.machine.pumps[pair.fill]
    least_ul = smallest_dose_ul(moment.state, pump)
    return account.phase == "owed" and account.owed_ul >= least_ul


def filled(moment: Moment, ask: Ask) -> Share:
    """The part of a fill that its drain was seen to take, never more than planned.

    Nothing where that is less than its pump gives reliably.
    """
    found = moment.machine.pair_of(ask.pump.pump.id)
    if found is None or not owes(moment, found[0]):
        return Share(ppm=0)
    owed_ul, asked_ul = account_of(moment, found[0]).owed_ul, ask.dose.volume_ul
    if owed_ul >= asked_ul:
        return Share()
    reason = because(Code.EXCHANGE_LESS, drained_ul=owed_ul, planned_ul=asked_ul)
    return Share(ppm=owed_ul * 1_000_000 // asked_ul, reasons=(reason,))


def filled_ul(moment: Moment, ask: Ask) -> int:
    """The volume of a fill, microlitres."""
    found = moment.machine.pair_of(ask.pump.pump.id)
    if found is None or not owes(moment, found[0]):
        return 0
    return min(account_of(moment, found[0]).owed_ul, ask.dose.volume_ul)


def blocks_top_off(moment: Moment, tank: str) -> bool:
    """Whether a portion is on its way: fresh water now would stay for salt water.

    What is not made up for in time is for a person, and blocks no longer.
    """
    for pair in moment.machine.exchanges.values():
        if pair.tank != tank or f"exchange/{pair.id}" in moment.state.holds:
            continue
        if account_of(moment, pair).phase in ("draining", "filling"):
            return True
        if owes(moment, pair) or _unsettled_ms(moment, pair, pair.fill) > 0:
            return True
    return False


def account_of(moment: Moment, pair: Exchange) -> Account:
    """Where a pair stands; one that never ran stands at rest."""
    return moment.state.exchanges.get(pair.id, NOTHING_OWED)


def mismatch_at(moment: Moment, pair: Exchange) -> Mismatch:
    """How far the tank may be off by a pair."""
    net_ul = moment.machine.tanks[pair.tank].net_ul
    return mismatch_of(moment.state, pair.id, net_ul)


def _fill_waits(moment: Moment, pair: Exchange, dose_id: str) -> Iterator[Reason]:
    account, drain = account_of(moment, pair), drain_of(dose_id)
    if account.dose != drain:
        code = Code.EXCHANGE_WAITS
        if drain in moment.state.used:
            code = Code.EXCHANGE_NOTHING
        yield because(code, pair=pair.id, dose=drain)
    elif account.phase == "unknown":
        yield because(Code.EXCHANGE_UNFILLED, pair=pair.id, dose=drain)
    elif account.phase == "rest":
        yield because(Code.EXCHANGE_NOTHING, pair=pair.id, dose=drain)
    elif account.phase != "owed":
        yield because(Code.EXCHANGE_WAITS, pair=pair.id, dose=drain)
    elif (left_ms := _unsettled_ms(moment, pair, pair.drain)) > 0:
        left_s = -(-left_ms // MS_PER_S)
        yield because(Code.EXCHANGE_WAITS, pair=pair.id, dose=drain, left_s=left_s)


def _unsettled_ms(moment: Moment, pair: Exchange, pump: str) -> int:
    """How long the water still comes to rest after a pump's last drop."""
    flow = moment.state.flows.get(pump)
    if flow is None:
        return 0
    return flow.end_ms + int(pair.settle_s * MS_PER_S) - moment.proven_ms


def _containers(moment: Moment, pair: Exchange, portion_ul: int) -> Iterator[Reason]:
    """New water that is known and lasts, and room for what is drained."""
    pumps = moment.machine.pumps
    water, waste = pumps[pair.fill], pumps[pair.drain]
    fill = moment.state.fills.get(water.reservoir)
    if fill is None or NEEDED not in fill.levels:
        yield because(Code.NEW_WATER_UNTESTED, reservoir=water.reservoir)
    for pump, code in ((water, Code.NEW_WATER_LOW), (waste, Code.WASTE_FULL)):
        rest_ul, low_ul = _rest(moment, pump)
        if rest_ul - portion_ul < low_ul:
            yield because(
                code, reservoir=pump.reservoir, left_ul=rest_ul, low_ul=low_ul
            )


def _rest(moment: Moment, pump: Pump) -> tuple[int, int]:
    rest_ul = left_ul(moment.machine, moment.state, pump.reservoir)
    return rest_ul, moment.machine.reservoirs[pump.reservoir].low_ul


def _partner(moment: Moment, pair: Exchange, ask: Ask) -> Ask | None:
    """The fill of a drain as if it were asked for now; None where no line has it."""
    rule = moment.rules.pumps.get(pair.fill)
    lines = moment.rules.lines.values()
    line = next((one for one in lines if one.line.pump == pair.fill), None)
    if rule is None or line is None:
        return None
    dose = replace(ask.dose, pump=pair.fill, line=line.line.id)
    return Ask(dose=dose, kind=ask.kind, pump=rule, line=line)
