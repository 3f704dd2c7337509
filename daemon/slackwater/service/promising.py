"""What the rehearsal promises of a stretch of time, dose by dose.

Floor 7. One subject: approved plans rehearsed for days that have passed. Laws here:
each approval is rehearsed from its own approved text; a dose belongs to the approval
that asked for it; nothing of what really happened goes in.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta

from slackwater.audit.audit import Entries
from slackwater.audit.history import Standing, history_of
from slackwater.facts.events import PlanApproved
from slackwater.outside.approved import machine_from, plan_from
from slackwater.rehearsal.rehearsal import rehearse

A_DAY = timedelta(days=1)


def promised(rules: Entries, span: tuple[datetime, datetime]) -> dict[str, int]:
    """Microlitres by dose, 0 for one the rehearsal would miss.

    Shape: every dose due from the first up to before the second moment is in it, some
    around them are as well.
    Raises: InputError when an approved text cannot be read.
    """
    history = history_of(rules)
    found: dict[str, int] = {}
    entries = [event for _, event in rules if isinstance(event, PlanApproved)]
    for entry, standing in zip(entries, history.approvals, strict=True):
        reign = _reign(standing, history.approvals, span)
        if reign is None:
            continue
        machine, plan = machine_from(entry.machine), plan_from(entry.plan)
        # A day more at either end, for zones and for what may be moved.
        first = max(reign[0].date() - A_DAY, plan.starts)
        days = (reign[1].date() + A_DAY - first).days + 1
        for each in rehearse(machine, plan, first, days).doses if days > 0 else ():
            if history.asks_at(each.dose.due_at) is standing:
                found[each.dose.id] = each.volume_ul
    return found


def _reign(
    standing: Standing,
    approvals: Iterable[Standing],
    span: tuple[datetime, datetime],
) -> tuple[datetime, datetime] | None:
    """The part of the time in which an approval can have asked for doses."""
    begins = max(span[0], standing.consent.approval.takes_over_at)
    ends = min(span[1], standing.withdrawn_at or span[1])
    for other in approvals:
        later = other.consent.approval
        stays = other.withdrawn_at is None
        if stays and later.serial > standing.consent.approval.serial:
            ends = min(ends, later.takes_over_at)
    return (begins, ends) if begins < ends else None
