"""What a long absence missed, as the state keeps it.

Floor 2. One subject: stretches of a line that nobody was there for. Laws here: what was
missed stays missed, and what a ledger put back no longer tells of is never given; but
what lies ahead of the time that a person vouches for was missed by a wrong clock alone.
"""

from collections.abc import Sequence
from datetime import datetime

from slackwater.facts.doses import DoseMissed, SpanMissed
from slackwater.facts.reasons import Code, Reason
from slackwater.facts.state import State

Span = tuple[datetime, datetime]


def fold_span_missed(state: State, event: SpanMissed) -> None:
    """Take in that a line missed all its doses from one time to another."""
    # Whatever comes after it is still to be told: decades are told in parts.
    state.decided_at = max(state.decided_at or event.last_due, event.last_due)
    state.wanting[event.tank] = event.proven_ms
    spans = state.unknown_spans if _is_unknown(event.reasons) else state.spans
    _widen(spans, f"{event.tank}/{event.line}", (event.first_due, event.last_due))


def fold_unknown(state: State, event: DoseMissed) -> None:
    """Take in one that a ledger put back no longer tells of, as such a stretch."""
    if _is_unknown(event.reasons):
        dose = event.dose
        line = f"{dose.tank}/{dose.line}"
        _widen(state.unknown_spans, line, (dose.due_at, dose.due_at))


def _is_unknown(reasons: Sequence[Reason]) -> bool:
    return any(each.code is Code.LEDGER_RESTORED for each in reasons)


def _widen(spans: dict[str, Span], line: str, more: Span) -> None:
    """All between two absences is decided as well."""
    first, last = spans.get(line, more)
    spans[line] = (min(first, more[0]), max(last, more[1]))


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
