"""When a cap has room again for a dose, by the ledger alone.

Floor 8. One subject: the end of a refusal by caps. Laws here: the gate's own reckoning
is asked, at each moment at which something comes free; what no day frees has no end.
"""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, time, timedelta

from slackwater.facts.reasons import Code
from slackwater.facts.rolling import DAY_MS, HOUR_MS
from slackwater.gate.caps import over_caps, unanswered_left_ms
from slackwater.gate.moment import Ask, Moment
from slackwater.planning.wall import zone_named

# What time alone makes room in again.
OF_TIME = frozenset(
    {Code.CAP_HOUR, Code.CAP_DAY, Code.CAP_ROLLING, Code.CAP_GROSS, Code.CAP_NET}
)


def room_ms(moment: Moment, ask: Ask, volume_ul: int) -> int | None:
    """Milliseconds of proven time until the volume passes no cap, 0 where it fits now.

    Shape: scalars. Range: up to the next local midnight or a day, whichever is later;
    None where a cap refuses it longer, because it is smaller than the dose.
    """
    for left_ms in sorted({0, *_frees(moment, ask)}):
        later = replace(moment, proven_ms=moment.proven_ms + left_ms)
        if not over_caps(later, ask, volume_ul, _day(moment, ask, left_ms)):
            return left_ms
    return None


def _frees(moment: Moment, ask: Ask) -> Iterator[int]:
    """How long until each thing that counts now counts no more."""
    state, proven_ms = moment.state, moment.proven_ms
    yield unanswered_left_ms(state, proven_ms)
    yield _midnight_ms(moment, ask)
    for key in (ask.pump.charge_key, *(rule.key for rule in ask.pump.effects)):
        given = state.charges.get(key)
        for at_ms, _amount, _tag in () if given is None else given.entries:
            frees = (at_ms + DAY_MS - proven_ms, at_ms + HOUR_MS - proven_ms)
            yield from (left_ms for left_ms in frees if left_ms > 0)


def _zone(moment: Moment, ask: Ask) -> str:
    return moment.machine.tanks[ask.dose.tank].zone


def _day(moment: Moment, ask: Ask, left_ms: int) -> date:
    """The tank's local day at a moment to come."""
    at = moment.now.utc + timedelta(milliseconds=left_ms)
    return at.astimezone(zone_named(_zone(moment, ask))).date()


def _midnight_ms(moment: Moment, ask: Ask) -> int:
    zone, now = zone_named(_zone(moment, ask)), moment.now.utc
    tomorrow = now.astimezone(zone).date() + timedelta(days=1)
    midnight = datetime.combine(tomorrow, time(), zone)
    return -(-(midnight - now) // timedelta(milliseconds=1))
