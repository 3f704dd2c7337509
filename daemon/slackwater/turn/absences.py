"""A long absence in a few entries: one for each line instead of one for each dose.

Floor 4. One subject: doses that nobody was there for, long ago. Laws here: a dose that
lies in an entry of this kind was missed and is never given; what a person skipped, or
what an interlock held, is told dose by dose as ever; nothing grows with the absence.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from slackwater.facts.events import SpanMissed
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Code, Reason
from slackwater.facts.state import State
from slackwater.pump.outcome import Stamp

# The doses of the last two days are told one by one: who comes home looks at them.
DOSE_BY_DOSE = timedelta(hours=48)
# Why whole stretches of a line were not given; what a person skipped, and what waited
# for a reason of its own, is looked up dose by dose.
Codes = tuple[Code, ...]
OF_A_LINE: frozenset[Codes] = frozenset(
    {
        (Code.WINDOW_PASSED, Code.NOT_RUNNING),
        (Code.OLD_DOSER,),
        (Code.PLAN_SWAP,),
        (Code.PUMP_CHANGED,),
    }
)


@dataclass(slots=True, kw_only=True)
class _Missed:
    """What a line missed so far: an absence of decades is millions of doses."""

    first_due: datetime
    last_due: datetime
    doses: int = 0
    volume_ul: int = 0


class Counted:
    """Missed doses, added up by tank and line; none of them is kept."""

    def __init__(self) -> None:
        self._lines: dict[tuple[str, str], _Missed] = {}

    def add(self, dose: DueDose) -> None:
        """Count one in; the order they come in does not matter."""
        key, due_at = (dose.tank, dose.line), dose.due_at
        line = self._lines.get(key)
        if line is None:
            line = self._lines[key] = _Missed(first_due=due_at, last_due=due_at)
        elif due_at > line.last_due:
            line.last_due = due_at
        elif due_at < line.first_due:
            line.first_due = due_at
        line.doses += 1
        line.volume_ul += dose.volume_ul

    def told(self, reasons: tuple[Reason, ...], stamp: Stamp) -> Iterator[SpanMissed]:
        """One entry for each tank and line, in the order of their names."""
        for (tank, name), line in sorted(self._lines.items()):
            yield SpanMissed(
                **stamp,
                tank=tank,
                line=name,
                first_due=line.first_due,
                last_due=line.last_due,
                doses=line.doses,
                volume_ul=line.volume_ul,
                reasons=reasons,
            )


@dataclass(slots=True, kw_only=True)
class Absence:
    """Doses of a long absence that ends at `until`, by reason, tank and line."""

    until: datetime
    counted: dict[Codes, tuple[tuple[Reason, ...], Counted]] = field(
        default_factory=dict
    )

    def takes(self, dose: DueDose, reasons: tuple[Reason, ...]) -> bool:
        """Whether a missed dose belongs here; then it is counted."""
        if self.until - dose.due_at <= DOSE_BY_DOSE:
            return False
        codes = tuple(reason.code for reason in reasons)
        if codes not in OF_A_LINE:
            return False
        if codes not in self.counted:
            self.counted[codes] = reasons, Counted()
        self.counted[codes][1].add(dose)
        return True

    def told(self, stamp: Stamp) -> Iterator[SpanMissed]:
        """One entry for each line and reason, in the order of the names of lines."""
        for reasons, counted in self.counted.values():
            yield from counted.told(reasons, stamp)


def is_spanned(state: State, dose: DueDose) -> bool:
    """Whether an entry said that it was missed in a long absence."""
    line = f"{dose.tank}/{dose.line}"
    for spans in (state.spans, state.unknown_spans):
        known = spans.get(line)
        if known is not None and known[0] <= dose.due_at <= known[1]:
            return True
    return False
