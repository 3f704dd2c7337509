"""Whether the daemon can reach its pumps at all, and since when it cannot.

Floor 8. One subject: what keeps a status from saying that all is well. Laws here: only
a fresh glimpse speaks of the present; without one the alarm in the ledger does; what
passes by itself within minutes is no reason.
"""

from datetime import datetime

from slackwater.cli.render import local
from slackwater.cli.wording import reason_words
from slackwater.facts.alarms import Cause, alarm_id
from slackwater.facts.reasons import Code, Reason
from slackwater.facts.state import State
from slackwater.outside.glimpse import FRESH, Glimpse

ALARM = alarm_id(Cause.LINK_DOWN, "all")
# Without these a line gets nothing until something or somebody changes it.
UNREACHED = frozenset(
    {
        Code.LINK_DOWN,
        Code.NODE_ABSENT,
        Code.NODE_FAULT,
        Code.NODE_HELD,
        Code.NODE_IDENTITY,
        Code.CLOCK_BEHIND,
        Code.CLOCK_UNPROVEN,
        Code.LEDGER_FULL,
    }
)


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
        return "CUT OFF", _words("the connection", known.first.at, zone)
    if not (glimpse.observe_up and glimpse.actuate_up):
        return "CUT OFF", _words(_which(glimpse), glimpse.cut_since, zone)
    found = [_unreached(line.refused) for line in glimpse.lines.values()]
    if not found or None in found:
        return None
    why = next(reason for reason in found if reason is not None)
    return "CUT OFF", f"No pump can be commanded: {reason_words(why)}"


def _which(glimpse: Glimpse) -> str:
    if glimpse.observe_up:
        return "the connection for commands"
    return "the listening connection" if glimpse.actuate_up else "the connection"


def _words(which: str, since: datetime | None, zone: str) -> str:
    began = "" if since is None else f" since {local(since, zone)}"
    return f"No pump can be commanded: {which} to the broker is down{began}."


def _unreached(reasons: tuple[Reason, ...]) -> Reason | None:
    return next((one for one in reasons if one.code in UNREACHED), None)
