"""Entries of one kind within a stretch of wall time.

Floor 6. One subject: the index that leads to them. Laws here: answers come in pages of
at most `ROWS_AT_ONCE` rows and hold no cursor; what is read is decoded strictly.
"""

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import TypeVar

from slackwater.errors import LedgerDamagedError
from slackwater.facts.now import Event
from slackwater.ledger.chain import broken
from slackwater.ledger.codec import canonical, decode, timestamp
from slackwater.ledger.reader import ROWS_AT_ONCE, Value, whole
from slackwater.ledger.store import LedgerFile

EventT = TypeVar("EventT", bound=Event)

BEGINNING = datetime.min.replace(tzinfo=UTC)

# The kind stands in the text: SQLite compares it with the index's own condition.
_PAGE = (
    "SELECT seq, at, body FROM entries INDEXED BY history WHERE kind = '{kind}' "  # noqa: S608 -- our own constants
    f"AND (at, seq) > (?, ?) AND at < ? ORDER BY at, seq LIMIT {ROWS_AT_ONCE}"
)
_NEWEST = (
    "SELECT seq, body FROM entries INDEXED BY history WHERE kind = '{kind}' "
    "ORDER BY at DESC, seq DESC LIMIT 1"
)
_LAST = (
    "SELECT max(seq) FROM entries INDEXED BY history WHERE kind = '{kind}' AND at <= ?"
)
_BODY = "SELECT seq, body FROM entries WHERE seq = ?"
# Later than any time there is, as texts sort.
_END = "A"


def told(
    ledger: LedgerFile,
    kind: type[EventT],
    since: datetime = BEGINNING,
    until: datetime | None = None,
    tank: str = "",
) -> Iterator[EventT]:
    """Entries written from `since` up to before `until`, in order of their times.

    Shape: `kind` one of `schema.HISTORY_KINDS`; with `tank` only entries that name it.
    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    for _seq, event in numbered(ledger, kind, since, until, tank):
        yield event


def numbered(
    ledger: LedgerFile,
    kind: type[EventT],
    since: datetime = BEGINNING,
    until: datetime | None = None,
    tank: str = "",
) -> Iterator[tuple[int, EventT]]:
    """The same with their sequence numbers."""
    question = _PAGE.format(kind=_word(kind))
    named = f'"tank":{canonical(tank)}' if tank else ""
    read_to: tuple[Value, Value] = timestamp(since), 0
    end = timestamp(until) if until else _END
    while rows := ledger.select(question, (*read_to, end)):
        for seq, at, body in rows:
            read_to = at, seq
            if named in str(body):
                yield whole(seq), _read(ledger, kind, seq, body)
        if len(rows) < ROWS_AT_ONCE:
            return


def newest(ledger: LedgerFile, kind: type[EventT]) -> EventT | None:
    """The entry of a kind with the latest time; None when there is none.

    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    rows = ledger.select(_NEWEST.format(kind=_word(kind)))
    return next((_read(ledger, kind, seq, body) for seq, body in rows), None)


def last(ledger: LedgerFile, kind: type[EventT], until: datetime) -> EventT | None:
    """The entry of a kind that was written last, of those dated no later; else None.

    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    ((seq,),) = ledger.select(_LAST.format(kind=_word(kind)), (timestamp(until),))
    if seq is None:
        return None
    ((seq, body),) = ledger.select(_BODY, (seq,))
    return _read(ledger, kind, seq, body)


def _word(kind: type[Event]) -> str:
    return str(kind.__dataclass_fields__["kind"].default)


def _read(ledger: LedgerFile, kind: type[EventT], seq: Value, body: Value) -> EventT:
    where = str(ledger.path)
    event = decode(str(body), f"{where}, entry {seq}")
    if not isinstance(event, kind):
        fault = "its columns say something else than its body"
        raise LedgerDamagedError(broken(whole(seq), fault, where))
    return event
