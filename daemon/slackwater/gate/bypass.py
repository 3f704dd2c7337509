"""Which interlocks may be left aside for a while, and which are.

Floor 3. One subject: bypasses. Laws here: only what watches the water can be left
aside, and only for a named scope and time; caps, gaps, approvals, clocks, nodes and the
ledger never; a bypass that has passed its end is none.
"""

from dataclasses import replace
from datetime import timedelta

from slackwater.facts.safeguards import BypassGranted, is_over
from slackwater.gate.moment import Moment, PumpRule
from slackwater.gate.watch import Interlock
from slackwater.gate.watches import BY_NAME, FAMILIES

# Longer than an afternoon nobody stands beside the tank.
BYPASS_AT_MOST = timedelta(hours=4)
# Every row of the table of interlocks on inputs, and some of them together.
BYPASSABLE: frozenset[str] = frozenset({*BY_NAME, *FAMILIES})


def is_left_aside(moment: Moment, row: Interlock, pump: PumpRule) -> bool:
    """Whether a row is left aside for a pump, by its own name or its family's."""
    if not moment.state.bypasses:
        return False
    names = (row.name, row.family) if row.family else (row.name,)
    return any(is_bypassed(moment, name, pump) for name in names)


def is_bypassed(moment: Moment, name: str, pump: PumpRule) -> bool:
    """Whether an interlock is left aside for a pump at this moment."""
    bypasses = moment.state.bypasses
    if not bypasses or name not in bypasses:
        return False
    known = bypasses[name]
    now = moment.now
    if now.utc < known.at or is_over(_bounded(known), now, moment.proven_ms):
        return False
    tank, own = f"tank/{pump.pump.tank}", f"pump/{pump.pump.id}"
    return known.scope in ("all", tank, own)


def _bounded(known: BypassGranted) -> BypassGranted:
    """No longer than the longest, whatever the entry says."""
    return replace(known, until=min(known.until, known.at + BYPASS_AT_MOST))
