"""A long absence in a few entries: one for each line instead of one for each dose.

Floor 4. One subject: doses that nobody was there for, long ago. Laws here: a dose that
lies in an entry of this kind was missed and is never given; what a person skipped, or
what an interlock held, is told dose by dose as ever.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from slackwater.facts.events import SpanMissed
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Code, Reason
from slackwater.facts.state import State
from slackwater.pump.outcome import Stamp

# The doses of the last two days are told one by one: who comes home looks at them.
DOSE_BY_DOSE = timedelta(hours=48)
ABSENT = (Code.WINDOW_PASSED, Code.NOT_RUNNING)


@dataclass(slots=True, kw_only=True)
class Absence:
    """Doses of a long absence that ends at `until`, by tank and line."""

    until: datetime
    doses: dict[tuple[str, str], list[DueDose]] = field(default_factory=dict)
    reasons: tuple[Reason, ...] = ()

    def takes(self, dose: DueDose, reasons: Sequence[Reason]) -> bool:
        """Whether a missed dose belongs here; then it is counted."""
        if self.until - dose.due_at <= DOSE_BY_DOSE:
            return False
        if tuple(reason.code for reason in reasons) != ABSENT:
            return False
        self.reasons = tuple(reasons)
        self.doses.setdefault((dose.tank, dose.line), []).append(dose)
        return True

    def told(self, stamp: Stamp) -> Iterator[SpanMissed]:
        """One entry for each line, in the order of their names."""
        yield from spans(self.doses, self.reasons, stamp)


def spans(
    doses: Mapping[tuple[str, str], Sequence[DueDose]],
    reasons: tuple[Reason, ...],
    stamp: Stamp,
) -> Iterator[SpanMissed]:
    """One entry for each tank and line of missed doses, in the order of their names."""
    for (tank, line), missed in sorted(doses.items()):
        yield SpanMissed(
            **stamp,
            tank=tank,
            line=line,
            first_due=min(dose.due_at for dose in missed),
            last_due=max(dose.due_at for dose in missed),
            doses=len(missed),
            volume_ul=sum(dose.volume_ul for dose in missed),
            reasons=reasons,
        )


def is_spanned(state: State, dose: DueDose) -> bool:
    """Whether an entry said that it was missed in a long absence."""
    if not state.spans:
        return False
    known = state.spans.get(f"{dose.tank}/{dose.line}")
    return known is not None and known[0] <= dose.due_at <= known[1]
