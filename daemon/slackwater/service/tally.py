"""What this daemon has written since it started, counted.

Floor 7. One subject: counters. Laws here: counting is adding whole numbers and nothing
else, so that it can neither fail nor wait; nothing ever decides on a count; what is
kept of open doses is bounded.
"""

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from slackwater.facts.events import (
    AnyEvent,
    DoseEnded,
    DoseIntended,
    DoseMissed,
    DoseSealed,
    DoseVoided,
    HoldRaised,
    SpanMissed,
)

# Upper bounds in seconds: a timer's jitter, a tick of the loop, a waiting dose.
BOUNDS_S = (0.1, 0.5, 1.0, 2.0, 5.0, 15.0, 60.0, 300.0, 900.0)
_OPEN_AT_MOST = 1024


@dataclass(slots=True)
class Tally:
    """Counts by their labels.

    `doses` by (tank, line, outcome), `holds` by reason; `late` are the doses of each
    bound of `BOUNDS_S` and one beyond, `late_s` the sum of their lateness.
    """

    doses: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    holds: Counter[str] = field(default_factory=Counter)
    late: list[int] = field(default_factory=lambda: [0] * (len(BOUNDS_S) + 1))
    late_s: float = 0.0
    _open: dict[str, tuple[str, str]] = field(default_factory=dict)

    def take(self, events: Iterable[AnyEvent]) -> None:
        """Count what was just written."""
        for event in events:
            if isinstance(event, DoseIntended):
                self._intended(event)
            elif isinstance(event, DoseMissed):
                self.doses[event.dose.tank, event.dose.line, "missed"] += 1
            elif isinstance(event, SpanMissed):
                self.doses[event.tank, event.line, "missed"] += event.doses
            elif isinstance(event, DoseEnded):
                self._settled(event.attempt, event.how)
            elif isinstance(event, DoseSealed):
                self._settled(event.attempt, "sealed")
            elif isinstance(event, DoseVoided):
                self._settled(event.attempt, "voided")
            elif isinstance(event, HoldRaised):
                self.holds[str(event.reason.code)] += 1

    def _intended(self, event: DoseIntended) -> None:
        dose = event.dose
        self.doses[dose.tank, dose.line, event.verdict] += 1
        self._open[event.command.attempt] = dose.tank, dose.line
        if len(self._open) > _OPEN_AT_MOST:
            del self._open[next(iter(self._open))]
        late_s = max((event.at - dose.due_at).total_seconds(), 0.0)
        self.late[bisect_left(BOUNDS_S, late_s)] += 1
        self.late_s += late_s

    def _settled(self, attempt: str, outcome: str) -> None:
        """A run that began under an earlier daemon has no line here."""
        tank, line = self._open.pop(attempt, ("", ""))
        self.doses[tank, line, outcome] += 1
