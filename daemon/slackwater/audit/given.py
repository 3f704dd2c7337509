"""What a ledger says became of each dose, read afresh.

Floor 3. One subject: the dose rows of one ledger. Laws here: the amount that is
believed is the node's word, else as asked; what was sealed is believed in full, what
was voided not at all; more that was told later flowed all the same; a dose may stand
here twice, which is for others to judge.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from slackwater.facts.doses import (
    ChargeRaised,
    DoseEnded,
    DoseHanded,
    DoseIntended,
    DoseMissed,
    DoseSealed,
    DoseVoided,
    SpanMissed,
)
from slackwater.facts.events import AnyEvent
from slackwater.facts.inputs import InputsKept
from slackwater.facts.reasons import Reason


@dataclass(slots=True, kw_only=True)
class Given:
    """One intent and what was heard of it; `order` is the number of its entry.

    `kept` is what the decision saw, None where that was not kept; `raised_ul` what a
    node told after the end that was more than was charged by then, 0 for none.
    """

    order: int
    intent: DoseIntended
    kept: InputsKept | None = None
    handed: int = 0
    ended: DoseEnded | None = None
    is_sealed: bool = False
    voided: tuple[Reason, ...] | None = None
    raised_ul: int = 0

    @property
    def believed_ul(self) -> int:
        """The best estimate of what flowed; as asked while nobody knows."""
        if self.voided is not None:
            return 0
        asked_ul = self.intent.command.ul
        known_ul = asked_ul if self.ended is None else self.ended.believed_ul
        return max(known_ul, self.raised_ul)


@dataclass(slots=True, kw_only=True)
class Rows:
    """The dose rows of one ledger; `missed` by dose with the number of its entry."""

    given: list[Given] = field(default_factory=list)
    missed: dict[str, tuple[int, DoseMissed]] = field(default_factory=dict)
    spans: list[SpanMissed] = field(default_factory=list)
    by_dose: dict[str, list[Given]] = field(default_factory=dict)

    def given_of(self, dose: str) -> list[Given]:
        """Every intent of a dose; more than one is a fault."""
        return self.by_dose.get(dose, [])


def rows_of(entries: Iterable[tuple[int, AnyEvent]]) -> Rows:
    """The dose rows among entries of one ledger, which are in order."""
    rows = Rows()
    attempts: dict[str, Given] = {}
    kept: InputsKept | None = None
    for order, event in entries:
        if isinstance(event, DoseIntended):
            seen = kept if kept is not None and kept.at == event.at else None
            given = Given(order=order, intent=event, kept=seen)
            rows.given.append(given)
            rows.by_dose.setdefault(event.dose.id, []).append(given)
            attempts[event.command.attempt] = given
        elif isinstance(event, DoseMissed):
            rows.missed.setdefault(event.dose.id, (order, event))
        elif isinstance(event, InputsKept):
            kept = event
        elif isinstance(event, SpanMissed):
            rows.spans.append(event)
        else:
            known = attempts.get(getattr(event, "attempt", ""))
            if known is not None:
                _hear(known, event)
    return rows


def _hear(given: Given, event: AnyEvent) -> None:
    """Take in what is said of an attempt."""
    if isinstance(event, DoseHanded):
        # That it may have left is said once more when it surely did.
        given.handed += event.certain
    elif isinstance(event, DoseEnded):
        given.ended = event
    elif isinstance(event, DoseSealed):
        given.is_sealed = True
    elif isinstance(event, DoseVoided):
        given.voided = event.reasons
    elif isinstance(event, ChargeRaised):
        given.raised_ul = max(given.raised_ul, event.charge_ul)


def repeated(rows: Rows) -> set[int]:
    """The numbers of intents whose dose or attempt was intended before."""
    seen: Counter[str] = Counter()
    found = set()
    for given in rows.given:
        names = (given.intent.dose.id, given.intent.command.attempt)
        if any(seen[name] for name in names):
            found.add(given.order)
        seen.update(names)
    return found
