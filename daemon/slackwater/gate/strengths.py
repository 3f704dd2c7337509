"""What a solution of another strength takes from doses until a test confirms it.

Floor 3. One subject: new strengths. Laws here: half doses for a day, from the first one
on; then the base until somebody, or a sound probe, has looked; what nobody looks at
wears off, for long silence is not safe either.
Source: half for a day is a project limit; the base as for any water that is not known.
"""

from datetime import datetime, timedelta
from typing import NamedTuple

from slackwater.facts.reasons import Code, Reason, because
from slackwater.facts.strengths import is_same
from slackwater.gate.moment import ALKALINITY, Moment, PumpRule
from slackwater.gate.probes import known

HALF_MS = 24 * 3_600_000
# A test shows the new strength after a whole day of it.
SHOWS_AFTER = timedelta(hours=24)
WHY = "its solution has another strength"


class New(NamedTuple):
    """Whether the half runs, else the base; and why."""

    is_half: bool
    reason: Reason


def new_strength(moment: Moment, pump: PumpRule) -> New | None:
    """What a pump's strength asks for; None while it is the one that was known."""
    before = moment.state.strengths.get(pump.pump.id)
    if before is None or not pump.adds:
        return None
    if before.per_ul != pump.adds and not is_same(before.per_ul, pump.adds):
        return New(is_half=True, reason=because(Code.HALVED, why=WHY))
    if before.since is None or before.since_ms is None:
        return None
    passed_ms = moment.proven_ms - before.since_ms
    if passed_ms < HALF_MS:
        return New(is_half=True, reason=because(Code.HALVED, why=WHY))
    limit_ms = moment.machine.timing.base_for_s * 1000
    if passed_ms >= limit_ms or _is_confirmed(moment, pump, before.since):
        return None
    days = passed_ms // HALF_MS
    untested = because(Code.STRENGTH_UNTESTED, pump=pump.pump.id, days=days)
    return New(is_half=False, reason=untested)


def _is_confirmed(moment: Moment, pump: PumpRule, since: datetime) -> bool:
    """Whether anything the pump adds was measured after a day of the new strength."""
    tank, shows = pump.pump.tank, since + SHOWS_AFTER
    for parameter in pump.adds:
        test = moment.state.levels.get(f"{tank}/{parameter}")
        if test is not None and test.taken_at >= shows:
            return True
    found = known(moment, tank, ALKALINITY)
    return ALKALINITY in pump.adds and bool(found.fresh) and not found.doubts
