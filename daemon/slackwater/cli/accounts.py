"""What is charged against the ceilings of a pump and of its tank.

Floor 8. One subject: accounts beside their caps. Laws here: what nobody said was dosed
counts as the gate counts it, and so does what an old doser gives.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from slackwater.facts.rolling import DAY_MS
from slackwater.facts.state import State
from slackwater.facts.tank import Tank
from slackwater.gate.caps import unanswered_left_ms
from slackwater.gate.handover import old_part
from slackwater.gate.moment import EffectRule, Moment, PumpRule
from slackwater.planning.wall import zone_named


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """What is charged against one ceiling; whole microlitres or pico-units."""

    name: str
    parameter: str
    charged: int
    cap: int


def accounts(
    moment: Moment, lived: State, rule: PumpRule, tank: Tank
) -> Iterator[Account]:
    """Caps of a pump and on what it adds, each with what counts; `lived` charges."""
    pump, since = rule.pump, moment.proven_ms - DAY_MS
    today = moment.now.utc.astimezone(zone_named(tank.zone)).date()
    given = lived.charges.get(rule.charge_key)
    days = lived.days.get(rule.charge_key, {})
    unknown_ul = _unknown(moment, pump.per_day_ul)
    rolling_ul = 0 if given is None else given.since(since)
    for name, counted_ul in (("today", days.get(today, 0)), ("in 24 h", rolling_ul)):
        yield Account(
            name=name,
            parameter="",
            charged=unknown_ul + counted_ul,
            cap=pump.per_day_ul,
        )
    for effect in rule.effects:
        sums = lived.charges.get(effect.key)
        charged = 0 if sums is None else sums.since(since)
        others = effect.outside + old_part(moment.state, moment.proven_ms, effect.old)
        charged += others + _unknown(moment, effect.gross)
        yield Account(
            name=f"{effect.parameter} in 24 h",
            parameter=effect.parameter,
            charged=charged,
            cap=effect.gross,
        )
        yield from _net(effect, charged)


def _net(effect: EffectRule, charged: int) -> Iterator[Account]:
    """The cap on a rise, where it ends what may come in before the other does."""
    if effect.net is not None and effect.net + effect.uptake_low < effect.gross:
        yield Account(
            name=f"net rise of {effect.parameter}",
            parameter=effect.parameter,
            charged=max(charged - effect.uptake_low, 0),
            cap=effect.net,
        )


def _unknown(moment: Moment, cap: int) -> int:
    """What the gate counts of a cap while nobody said what was dosed."""
    return cap if unanswered_left_ms(moment.state, moment.proven_ms) else 0
