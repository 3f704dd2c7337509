"""An approval's own instants: when it takes over, and what is left out for the swap."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from slackwater.facts.plan import Approval

NOON = datetime(2026, 5, 3, 12, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)
SOON = Approval(
    serial=1,
    digest="0" * 64,
    takes_over_at=NOON,
    expires_at=NOON + 24 * HOUR,
    by="keeper",
    highest_daily_ul=0,
)


def test_what_is_due_as_a_plan_takes_over_is_given() -> None:
    """The dose of that very instant is after the one just before it."""
    assert SOON.doses_after < NOON
    assert timedelta(microseconds=1) == NOON - SOON.doses_after


def test_what_a_swap_leaves_out_is_not_given() -> None:
    """Up to a later instant, never from an earlier one than it takes over at."""
    later = replace(SOON, left_out_until=NOON + HOUR)
    earlier = replace(SOON, left_out_until=NOON - HOUR)
    assert NOON + HOUR - timedelta(microseconds=1) == later.doses_after
    assert SOON.doses_after == earlier.doses_after


def test_grace_ends_an_approval_later_and_never_sooner() -> None:
    """The later of both ends."""
    longer, shorter = (
        replace(SOON, grace_until=SOON.expires_at + span) for span in (HOUR, -HOUR)
    )
    assert [SOON.expires_at, SOON.expires_at + HOUR, SOON.expires_at] == [
        one.ends_at for one in (SOON, longer, shorter)
    ]
