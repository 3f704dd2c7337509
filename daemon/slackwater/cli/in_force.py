"""What plans were really in force lately: what growth is measured from.

Floor 8. One subject: the base of a growth. Laws here: a plan counts first when it was
in force for a day of the last seven; one that was approved and did not last counts
only where nothing did; what was never in force for a day is no base to grow from.
Source: the length of both times is common practice, no source.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from slackwater.cli.opening import Approved, Opened, read_approval
from slackwater.facts.events import PlanApproved, PlanWithdrawn
from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine
from slackwater.ledger.views import Wanted, entries
from slackwater.planning.changes import Change, Laid, changes

# A plan was really dosed by when it was in force for so long, within this span.
LEAST = timedelta(days=1)
LOOKS_BACK = timedelta(days=7)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Span:
    """A stretch of time in which an approval was in force; empty where it never was."""

    event: PlanApproved
    begins: datetime
    ends: datetime

    def within(self, since: datetime) -> timedelta:
        """How long it was in force from a moment on."""
        return max(self.ends - max(self.begins, since), timedelta())


def growth_bases(found: Opened) -> tuple[tuple[Laid, ...], ...]:
    """The approved plans from which growth is measured, those that count most first.

    Shape: those in force for a day of the last seven; then all others of these days;
    then the one approved last, whenever that was. Each may be empty.
    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    since = found.now.utc - LOOKS_BACK
    spans = list(_spans(found))
    lasted = [one for one in spans if one.within(since) >= LEAST]
    recent = [one for one in spans if max(one.event.at, one.ends) >= since]
    newest = max(spans, key=lambda one: one.event.approval.serial, default=None)
    last = [] if newest is None else [newest]
    return _laid(lasted), _laid(recent), _laid(last)


def changes_since(
    lasted: Sequence[Laid], after: tuple[Plan, Machine]
) -> tuple[Change, ...]:
    """What changes against the newest plan that was in force for a day, if one was."""
    newest = max(lasted, key=lambda one: one.until, default=None)
    return () if newest is None else changes((newest.plan, newest.machine), after)


def _laid(spans: list[_Span]) -> tuple[Laid, ...]:
    return tuple(
        Laid(plan=read.plan, machine=read.machine, until=one.ends)
        for one in spans
        for read in (_read(one),)
    )


def _read(span: _Span) -> Approved:
    return read_approval(span.event)


def _spans(found: Opened) -> Iterator[_Span]:
    """Every approval there was, in the order in which they took over."""
    now = found.now.utc
    given: dict[int, PlanApproved] = {}
    gone: dict[int, datetime] = {}
    wanted = Wanted(kinds=("plan_approved", "plan_withdrawn"))
    for entry in entries(found.ledger, wanted):
        if isinstance(entry.event, PlanApproved):
            # A serial that comes back is no other consent.
            given.setdefault(entry.event.approval.serial, entry.event)
        elif isinstance(entry.event, PlanWithdrawn):
            gone.setdefault(entry.event.serial, entry.event.at)
    never = {
        serial
        for serial, event in given.items()
        if min(gone.get(serial, now), now) <= event.approval.takes_over_at
    }
    for serial in sorted(never):
        at = given[serial].at
        yield _Span(event=given[serial], begins=at, ends=at)
    begun = [one for serial, one in given.items() if serial not in never]
    begun.sort(key=lambda one: (one.approval.takes_over_at, one.approval.serial))
    ends = [later.approval.takes_over_at for _, later in pairwise(begun)]
    for event, end in zip(begun, [*ends, now], strict=False):
        last = min(end, event.approval.ends_at, gone.get(event.approval.serial, now))
        begins = event.approval.takes_over_at
        yield _Span(event=event, begins=begins, ends=min(last, now))
