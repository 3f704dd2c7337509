"""What was planned, by when it was due and not by when that was written down.

Floor 2. One subject: the plan of a day after a gap. Laws here: what was missed in a gap
is written down in one moment, and was due over days; for people it counts when it was
due. The gate looks at `State.planned` as it was written: a gap then weighs more, never
less.
Units: pico-units of the whole tank, proven milliseconds.
"""

from datetime import timedelta

from slackwater.facts.charging import plan_for
from slackwater.facts.doses import DoseMissed
from slackwater.facts.rolling import KEPT_MS
from slackwater.facts.state import State

ONE_MS = timedelta(milliseconds=1)


def plan_missed(state: State, event: DoseMissed) -> None:
    """Remember what the plan wanted of a dose that was missed, and when."""
    dose, at_ms = event.dose, event.proven_ms
    plan_for(state, dose.tank, event.effects, at_ms, dose.id)
    due_ms = at_ms - max((event.at - dose.due_at) // ONE_MS, 0)
    for parameter, amount in event.effects.items():
        known = state.missed.setdefault(f"{dose.tank}/{parameter}", [])
        known.append((at_ms, due_ms, amount))
        while known[0][0] <= at_ms - KEPT_MS:
            del known[0]


def planned_since(state: State, key: str, since_ms: int) -> int:
    """What fell due after a moment, by `TANK/PARAMETER`; sums reach back a day."""
    sums = state.planned.get(key)
    if sums is None:
        return 0
    early = sum(
        amount
        for at_ms, due_ms, amount in state.missed.get(key, ())
        if due_ms <= since_ms < at_ms
    )
    return sums.since(since_ms) - early
