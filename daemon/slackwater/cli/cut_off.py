"""Whether the daemon can reach its pumps at all, and since when it cannot.

Floor 8. One subject: what keeps a status from saying that all is well. Laws here: only
a fresh glimpse speaks of the present; without one the alarm in the ledger does; what
passes by itself within minutes is no reason.
"""

from datetime import datetime

from slackwater.cli.render import local
from slackwater.cli.wording import reason_words
from slackwater.facts.alarms import Cause, alarm_id
from slackwater.facts.reasons import Reason
from slackwater.facts.state import State
from slackwater.facts.unreached import NO_PUMP, UNREACHED, link_words
from slackwater.outside.glimpse import FRESH, Glimpse

ALARM = alarm_id(Cause.LINK_DOWN, "all")


def cut_off(
    state: State, glimpse: Glimpse | None, now: datetime, zone: str
) -> tuple[str, str] | None:
    """A word and why, while no pump can be commanded; None while one can.

    `zone` is that of the wall clock to tell the beginning in.
    """
    if glimpse is None or glimpse.mode != "live" or now - glimpse.at > FRESH:
        known = state.alarms.get(ALARM)
        if known is None or not known.is_standing:
            return None
        began = _since(known.first.at, zone)
        return "CUT OFF", link_words(observe_up=False, actuate_up=False, began=began)
    if not (glimpse.observe_up and glimpse.actuate_up):
        return "CUT OFF", link_words(
            observe_up=glimpse.observe_up,
            actuate_up=glimpse.actuate_up,
            began=_since(glimpse.cut_since, zone),
        )
    found = [_unreached(line.refused) for line in glimpse.lines.values()]
    if not found or None in found:
        return None
    why = next(reason for reason in found if reason is not None)
    return "CUT OFF", f"{NO_PUMP}{reason_words(why)}"


def _since(since: datetime | None, zone: str) -> str:
    return "" if since is None else f" since {local(since, zone)}"


def _unreached(reasons: tuple[Reason, ...]) -> Reason | None:
    return next((one for one in reasons if one.code in UNREACHED), None)
