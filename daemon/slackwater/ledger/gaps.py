"""Stretches in which pumps were enabled and no daemon recorded what they did.

Floor 6. One subject: the daemon's absences. Laws here: an absence ends when a daemon
takes charge, and begins with its clean end or, after a crash, with the last entry that
no person wrote; what is shorter than the hour by which deliveries are counted is none.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from operator import itemgetter

from slackwater.facts.events import PumpsDisabled, PumpsEnabled, Started, Stopped
from slackwater.facts.history import Gap
from slackwater.ledger.by_time import numbered
from slackwater.ledger.reader import ROWS_AT_ONCE
from slackwater.ledger.store import LedgerFile

GAP_AT_LEAST = timedelta(hours=1)
# A daemon writes a checkpoint each day; silent for longer it is not there.
SILENT = timedelta(hours=26)

# Entries that nobody but a daemon writes; verbs and the daily audit write others.
OWN = (
    "caps_lowered",
    "charge_raised",
    "checkpoint",
    "day_summed",
    "dose_ended",
    "dose_handed",
    "dose_held",
    "dose_intended",
    "dose_missed",
    "dose_refused_by_node",
    "dose_sealed",
    "dose_taken",
    "dose_voided",
    "files_differ",
    "inputs_kept",
    "level_entered",
    "reading_kept",
    "request_heard",
    "resume_began",
    "resume_ended",
    "series_judged",
    "span_missed",
    "started",
    "stopped",
    "top_off_summed",
    "watch_kept",
)
_LAST_OWN = (
    "SELECT at FROM (SELECT seq, at, kind FROM entries WHERE seq <= ? "  # noqa: S608 -- our own constants
    f"ORDER BY seq DESC LIMIT {ROWS_AT_ONCE}) WHERE kind IN "
    f"({', '.join(repr(kind) for kind in OWN)}) ORDER BY seq DESC LIMIT 1"
)
_AT = (
    f"SELECT at FROM entries WHERE seq <= ? AND seq > ? - {ROWS_AT_ONCE} "  # noqa: S608 -- our own constants
    "ORDER BY seq LIMIT 1"
)

_Turning = Started | Stopped | PumpsEnabled | PumpsDisabled


def gaps(ledger: LedgerFile, since: datetime, until: datetime) -> tuple[Gap, ...]:
    """The absences within a stretch of time, in order.

    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    turnings = _turnings(ledger)
    absences = list(_away(ledger, turnings, until))
    found = []
    for live in _live(turnings, until):
        for away in absences:
            begins = max(live.begins, away.begins, since)
            ends = min(live.ends, away.ends, until)
            if ends - begins >= GAP_AT_LEAST:
                found.append(Gap(begins=begins, ends=ends))
    return tuple(found)


def _turnings(ledger: LedgerFile) -> list[tuple[int, _Turning]]:
    """Every start, end and change of stage, in the order of the ledger."""
    found: list[tuple[int, _Turning]] = []
    for kind in (Started, Stopped, PumpsEnabled, PumpsDisabled):
        found.extend(numbered(ledger, kind))
    return sorted(found, key=itemgetter(0))


def _live(turnings: Sequence[tuple[int, _Turning]], until: datetime) -> Iterator[Gap]:
    """The stretches in which pumps were enabled."""
    since: datetime | None = None
    for _seq, event in turnings:
        if isinstance(event, PumpsEnabled) and since is None:
            since = event.at
        elif isinstance(event, PumpsDisabled) and since is not None:
            yield Gap(begins=since, ends=event.at)
            since = None
    if since is not None:
        yield Gap(begins=since, ends=until)


def _away(
    ledger: LedgerFile, turnings: Sequence[tuple[int, _Turning]], until: datetime
) -> Iterator[Gap]:
    """The stretches without a daemon, after the first one took charge.

    A calibration session is no daemon: it looks at no plan.
    """
    left_at: datetime | None = None
    is_here = False
    for seq, event in turnings:
        if is_here and isinstance(event, Started | Stopped):
            # A start without an end before it was a crash.
            crashed = isinstance(event, Started)
            left_at = _last_own(ledger, seq - 1) if crashed else event.at
            is_here = False
        if isinstance(event, Started) and event.mode != "calibrate":
            if left_at is not None:
                yield Gap(begins=left_at, ends=event.at)
            is_here = True
    if is_here:
        newest = _last_own(ledger, ledger.head.seq)
        left_at = newest if until - newest > SILENT else None
    if left_at is not None:
        yield Gap(begins=left_at, ends=until)


def _last_own(ledger: LedgerFile, seq: int) -> datetime:
    """When the newest entry up to `seq` was written that only a daemon writes.

    Where others wrote a whole page since, the page's beginning.
    """
    rows = ledger.select(_LAST_OWN, (seq,)) or ledger.select(_AT, (seq, seq))
    ((at,),) = rows
    return datetime.fromisoformat(str(at))
