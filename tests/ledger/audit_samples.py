"""Invented entries of the audit."""

from datetime import UTC, datetime, timedelta

from slackwater.facts.audits import Audited
from slackwater.pump.outcome import Stamp

NOON = datetime(2026, 5, 3, 12, 0, tzinfo=UTC)


def audited(stamp: Stamp, *, extra: int = 1) -> Audited:
    """An audit of three days that found one dose too much, or none."""
    return Audited(
        **stamp,
        since=NOON - timedelta(days=3),
        until=NOON,
        doses=24,
        given=22,
        missing=2,
        extra=extra,
        first="reef/carbonate@2026-05-03#07: no approval asked for it" if extra else "",
        by="slackwater",
    )
