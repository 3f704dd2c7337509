"""What a long absence missed, as the state keeps it.

Floor 2. One subject: stretches of a line that nobody was there for. Laws here: what was
missed stays missed, and what a ledger put back no longer tells of is never given; but
what lies ahead of the time that a person vouches for was missed by a wrong clock alone.
"""

from datetime import datetime

from slackwater.facts.doses import SpanMissed
from slackwater.facts.reasons import Code
from slackwater.facts.state import State


def fold_span_missed(state: State, event: SpanMissed) -> None:
    """Take in that a line missed all its doses from one time to another."""
    # Whatever comes after it is still to be told: decades are told in parts.
    state.decided_at = max(state.decided_at or event.last_due, event.last_due)
    state.wanting[event.tank] = event.proven_ms
    is_unknown = any(each.code is Code.LEDGER_RESTORED for each in event.reasons)
    spans = state.unknown_spans if is_unknown else state.spans
    line = f"{event.tank}/{event.line}"
    first, last = spans.get(line, (event.first_due, event.last_due))
    # All between two absences is decided as well.
    spans[line] = (min(first, event.first_due), max(last, event.last_due))


def forget_ahead(state: State, utc: datetime) -> None:
    """Let nothing that lies ahead of a time count as missed.

    A clock that is years ahead misses years, and nobody gave them: a tank must not go
    without until that clock would have been right.
    """
    state.spans = {
        line: (first, min(last, utc))
        for line, (first, last) in state.spans.items()
        if first <= utc
    }
