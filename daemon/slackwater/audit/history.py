"""What the ledger says of approvals, stages, requests and calibrations, in its order.

Floor 3. One subject: who allowed what, and when. Laws here: the order of the entries
decides, not the clock; an approval stands from its entry until its withdrawal; the
newest that had taken over when a dose was due is the one that asked for it.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from hashlib import sha256

from slackwater.audit.consent import Consent, consent_of
from slackwater.facts.events import (
    AnyEvent,
    Calibrated,
    ClockConfirmed,
    PlanApproved,
    PlanWithdrawn,
    PumpsDisabled,
    PumpsEnabled,
    RequestTakenBack,
    ShotRequested,
)

# Later than any entry.
NEVER = 2**62


@dataclass(slots=True, kw_only=True)
class Standing:
    """An approval and from which to which entry it stood."""

    consent: Consent
    at: datetime
    from_order: int
    until_order: int = NEVER
    withdrawn_at: datetime | None = None

    def stands(self, order: int) -> bool:
        """Whether it stood when an entry was written."""
        return self.from_order < order < self.until_order


@dataclass(slots=True, kw_only=True)
class Change:
    """From here on pumps are enabled, or not."""

    order: int
    at: datetime
    is_live: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Again:
    """A clock was put back: what is due after `after`, up to `until`, comes again."""

    order: int
    after: datetime
    until: datetime


@dataclass(slots=True, kw_only=True)
class History:
    """Everything that says what may be done, in the order of the ledger."""

    approvals: list[Standing] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    requests: dict[str, tuple[int, ShotRequested]] = field(default_factory=dict)
    taken_back: set[str] = field(default_factory=set)
    rates: dict[str, list[tuple[int, Calibrated]]] = field(default_factory=dict)
    orders: list[tuple[datetime, int]] = field(default_factory=list)
    again: list[Again] = field(default_factory=list)

    def times(self, due_at: datetime, order: int = NEVER) -> int:
        """How often the time of what is due then had come when an entry was written."""
        return 1 + sum(
            each.order < order and each.after < due_at <= each.until
            for each in self.again
        )

    def order_at(self, moment: datetime) -> int:
        """A number behind every entry that was written until a moment."""
        return max((order for at, order in self.orders if at <= moment), default=0) + 1

    def asked_by(self, due_at: datetime, order: int) -> Standing | None:
        """The approval that asked for a dose, as things stood at an entry."""
        for known in reversed(self.approvals):
            begun = known.consent.approval.takes_over_at <= due_at
            if begun and known.stands(order):
                return known
        return None

    def asks_at(self, moment: datetime) -> Standing | None:
        """The approval that asks for what is due at a moment, by the clock."""
        for known in reversed(self.approvals):
            gone = known.withdrawn_at is not None and known.withdrawn_at <= moment
            if known.consent.approval.takes_over_at <= moment and not gone:
                return known
        return None

    def in_force(self, first: datetime, last: datetime) -> tuple[int, ...]:
        """The serials of approvals in force at any time between two moments."""
        swaps = [
            known.consent.approval.takes_over_at
            for known in self.approvals
            if first < known.consent.approval.takes_over_at < last
        ]
        found = {
            known.consent.approval.serial
            for known in map(self.asks_at, (first, *swaps))
            if known is not None and known.consent.approval.ends_at > first
        }
        return tuple(sorted(found))

    def awaited(self, moment: datetime) -> tuple[int, ...]:
        """The serials of approvals that take over later than a moment."""
        return tuple(
            known.consent.approval.serial
            for known in self.approvals
            if known.at < moment <= known.consent.approval.takes_over_at
            and known.until_order == NEVER
        )

    def is_live(self, order: int) -> bool:
        """Whether pumps were enabled when an entry was written."""
        known = [change for change in self.changes if change.order < order]
        return bool(known) and known[-1].is_live

    def was_live(self, moment: datetime) -> bool:
        """Whether pumps were enabled at a moment, by the clock."""
        known = [change for change in self.changes if change.at <= moment]
        return bool(known) and known[-1].is_live

    def changed_within(self, first: datetime, last: datetime) -> bool:
        """Whether the stage or the approval in force changed between two moments."""
        moments = [change.at for change in self.changes]
        for known in self.approvals:
            moments.append(known.consent.approval.takes_over_at)
            moments += [] if known.withdrawn_at is None else [known.withdrawn_at]
        return any(first <= moment <= last for moment in moments)

    def rate_of(
        self, consent: Consent, pump: str, cal: str, order: int
    ) -> tuple[int, int] | None:
        """The flow a calibration stands for, and its offset; None where nobody made it.

        Units: nanolitres per second, nanolitres.
        """
        measured = [
            known
            for at, known in self.rates.get(pump, [])
            if at < order and known.cal == cal
        ]
        if measured:
            return measured[-1].rate_nl_per_s, measured[-1].offset_nl
        nominal = consent.heads[pump].rate_nl_per_s
        return (nominal, 0) if cal == calibration_name(pump, nominal) else None


def calibration_name(pump: str, rate_nl_per_s: int) -> str:
    """First 8 hex of SHA-256 over the canonical JSON of a calibration (contract)."""
    text = f'{{"pump":"{pump}","rate_nl_per_s":{rate_nl_per_s}}}'
    return sha256(text.encode()).hexdigest()[:8]


def history_of(entries: Iterable[tuple[int, AnyEvent]]) -> History:
    """The history in entries of the live ledger, each with its number.

    Raises: InputError when an approved text cannot be read.
    """
    history = History()
    for order, event in entries:
        take(history, order, event)
    return history


def take(history: History, order: int, event: AnyEvent) -> None:
    """Take one entry in; most say nothing of what is allowed."""
    match event:
        case PlanApproved():
            standing = Standing(
                consent=consent_of(event), at=event.at, from_order=order
            )
            history.approvals.append(standing)
        case PlanWithdrawn():
            _withdraw(history, order, event)
        case PumpsEnabled() | PumpsDisabled():
            is_live = isinstance(event, PumpsEnabled)
            history.changes.append(Change(order=order, at=event.at, is_live=is_live))
        case ShotRequested():
            history.requests[event.request] = (order, event)
        case RequestTakenBack():
            history.taken_back.add(event.request)
        case Calibrated():
            history.rates.setdefault(event.pump, []).append((order, event))
        case ClockConfirmed():
            history.again += _again(order, event)
        case _:
            return
    history.orders.append((event.at, order))


def _again(order: int, event: ClockConfirmed) -> Iterator[Again]:
    if event.again_until is not None:
        yield Again(order=order, after=event.at, until=event.again_until)


def _withdraw(history: History, order: int, event: PlanWithdrawn) -> None:
    for known in history.approvals:
        if known.consent.approval.serial == event.serial:
            known.until_order, known.withdrawn_at = order, event.at
