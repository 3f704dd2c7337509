"""Whether any pump of a tank can be commanded at all.

Floor 7. One subject: what keeps a tank's document from saying that all is well. Laws
here: the gate itself is asked; one line that can be reached is enough; for display
only, never a permission.
"""

from slackwater.alarms.conditions import ask_of
from slackwater.facts.tank import Tank
from slackwater.facts.unreached import NO_PUMP, UNREACHED, link_words
from slackwater.gate.interlocks import refusals
from slackwater.gate.moment import Moment


def unreached(moment: Moment, tank: Tank) -> str:
    """Why no dose can reach a tank, in a sentence; empty where one can."""
    observe_up, actuate_up = moment.sight.observe_up, moment.sight.actuate_up
    if not (observe_up and actuate_up):
        return link_words(observe_up=observe_up, actuate_up=actuate_up)
    why = ""
    for rule in moment.rules.lines.values():
        ask = ask_of(moment, rule) if rule.line.tank == tank.id else None
        if ask is None:
            continue
        found = (one for one in refusals(moment, ask) if one.code in UNREACHED)
        reason = next(found, None)
        if reason is None:
            return ""
        why = why or f"{NO_PUMP}{reason.text}"
    return why
