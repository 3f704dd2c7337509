"""How near each dose came to the caps.

Floor 6. One subject: the closest approach to every cap. Laws here: what counts is what
was charged, the dose itself included, as the gate counts it.
Units: microlitres, for a parameter pico-units of the whole tank.
"""

from slackwater.facts.events import DoseIntended
from slackwater.facts.rolling import DAY_MS, HOUR_MS
from slackwater.facts.state import State
from slackwater.gate.moment import Rules
from slackwater.rehearsal.record import Nearest

# What each key is: the cap by its name in the report, and the pump or parameter.
Found = dict[tuple[str, str], Nearest]


def approach(found: Found, state: State, rules: Rules, event: DoseIntended) -> None:
    """Look how near an intent that is already charged came to each of its caps."""
    known = rules.pumps[event.dose.pump]
    pump = known.pump
    _nearer(found, event, ("per dose", pump.id), event.command.ul, pump.per_dose_ul)
    charges, since_ms = state.charges, event.proven_ms - DAY_MS
    charged = charges[known.charge_key]
    rolling_ul = charged.since(since_ms)
    _nearer(found, event, ("any 24 h", pump.id), rolling_ul, pump.per_day_ul)
    if pump.per_hour_ul is not None:
        hour_ul = charged.since(event.proven_ms - HOUR_MS)
        _nearer(found, event, ("any hour", pump.id), hour_ul, pump.per_hour_ul)
    for rule in known.effects:
        added = charges[rule.key].since(since_ms) + rule.outside
        subject = f"{pump.tank} {rule.parameter}"
        _nearer(found, event, ("gross addition", subject), added, rule.gross)
        if rule.net is not None:
            net = added - rule.uptake_low
            _nearer(found, event, ("net rise", subject), net, rule.net)


def _nearer(
    found: Found,
    event: DoseIntended,
    key: tuple[str, str],
    reached: int,
    ceiling: int,
) -> None:
    known = found.get(key)
    if known is None or reached > known.reached:
        found[key] = Nearest(
            cap=key[0],
            subject=key[1],
            reached=reached,
            ceiling=ceiling,
            dose=event.dose.id,
        )
