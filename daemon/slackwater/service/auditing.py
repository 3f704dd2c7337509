"""The books of the audit, out of the two ledgers.

Floor 7. One subject: reading what the audit compares. Laws here: ledgers are opened for
reading and nothing is written; the daemon that is audited is not asked.
"""

from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path

from slackwater.audit.audit import Audit, Books, Entries, audit
from slackwater.ledger.schema import Role
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import Wanted, entries
from slackwater.service.memory import LIVE_NAME, SHADOW_NAME

RULES = (
    *("plan_approved", "plan_withdrawn", "pumps_enabled", "pumps_disabled"),
    *("calibrated", "shot_requested", "request_taken_back", "clock_confirmed"),
)
DOSES = (
    *("dose_intended", "dose_handed", "dose_ended", "dose_sealed", "dose_voided"),
    *("charge_raised", "dose_missed", "span_missed", "inputs_kept"),
)
# Whoever writes one of these looked at what was due.
SIGNS = ("dose_intended", "dose_missed", "dose_held", "watch_kept", "started")
# A dose can begin so long after its day, and be written off so long before.
MARGIN = timedelta(days=1)


def audited(state_dir: Path, span: tuple[datetime, datetime], now: datetime) -> Audit:
    """What the audit finds from the first up to before the second moment.

    Raises: the ledger errors; InputError when an approved text cannot be read.
    """
    return audit(books(state_dir, span, now), *span)


def books(state_dir: Path, span: tuple[datetime, datetime], now: datetime) -> Books:
    """What there is to compare; an absent shadow ledger is an empty one.

    Raises: the ledger errors.
    """
    with closing(_open(state_dir / LIVE_NAME, "live")) as ledger:
        rules, live = _numbered(ledger, Wanted(kinds=RULES)), _doses(ledger, span)
        signs = [_newest(ledger)]
    shadow: Entries = ()
    if (state_dir / SHADOW_NAME).exists():
        with closing(_open(state_dir / SHADOW_NAME, "shadow")) as ledger:
            shadow = _doses(ledger, span)
            signs.append(_newest(ledger))
    decided = [at for at in signs if at is not None]
    return Books(
        rules=rules,
        live=live,
        shadow=shadow,
        decided_at=max(decided, default=span[0]),
        now=now,
    )


def _open(path: Path, role: Role) -> LedgerFile:
    return LedgerFile.open(path, role, writable=False)


def _doses(ledger: LedgerFile, span: tuple[datetime, datetime]) -> Entries:
    since, until = span[0] - MARGIN, span[1] + MARGIN
    return _numbered(ledger, Wanted(kinds=DOSES, since=since, until=until))


def _numbered(ledger: LedgerFile, wanted: Wanted) -> Entries:
    return [(entry.seq, entry.event) for entry in entries(ledger, wanted)]


def _newest(ledger: LedgerFile) -> datetime | None:
    wanted = Wanted(kinds=SIGNS, limit=1, newest_first=True)
    return next((entry.event.at for entry in entries(ledger, wanted)), None)
