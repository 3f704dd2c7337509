"""Keeping what decisions rest on, in the same breath as the decisions.

Floor 7. One subject: which turns are kept. Laws here: a decision about a dose is never
written without its inputs; nothing else makes an append longer.
"""

from collections.abc import Sequence

from slackwater.facts.events import AnyEvent, DoseHeld, DoseIntended, DoseMissed
from slackwater.facts.inputs import InputsKept
from slackwater.facts.now import Now
from slackwater.facts.seen_again import inputs_kept, newest_readings
from slackwater.service.wiring import Rig

DECISIONS = (DoseHeld, DoseMissed, DoseIntended)


def with_inputs(rig: Rig, events: Sequence[AnyEvent], now: Now) -> Sequence[AnyEvent]:
    """The entries of a turn, led by what they rest on where they decide about doses.

    A calibration session decides by a set-up of its own and is not kept.
    """
    decision = next((event for event in events if isinstance(event, DECISIONS)), None)
    if decision is None or rig.mode == "calibrate":
        return events
    kept = inputs_kept(now, rig.sight, rig.kept_until, decision.proven_ms)
    return (kept, *events)


def inputs_were_kept(rig: Rig, events: Sequence[AnyEvent]) -> None:
    """Remember up to which reading everything is kept; call when it is durable."""
    if events and isinstance(events[0], InputsKept):
        rig.kept_until = newest_readings(rig.sight)
