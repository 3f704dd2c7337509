"""Read-only questions people ask the ledger.

Floor 6. One subject: entries, found and exported. Laws here: a view looks at no more
than `ROWS_AT_ONCE` rows at a time and holds no cursor while it hands them out;
nothing here writes.
"""

import csv
import io
import json
from collections.abc import Collection, Iterable, Iterator
from dataclasses import asdict, dataclass
from datetime import datetime
from itertools import islice

from slackwater.ledger.chain import subject_of
from slackwater.ledger.codec import canonical, decode, encode, timestamp
from slackwater.ledger.lives import Life, Total, live_through
from slackwater.ledger.reader import Value, spans, whole
from slackwater.ledger.store import LedgerFile
from slackwater.ports import Entry

# An entry that names only an attempt belongs to the pump and dose of its intent.
_PAGE = """SELECT e.seq, e.body FROM entries AS e
WHERE e.seq BETWEEN :first AND :last
AND (:kinds = '' OR instr(:kinds, ' ' || e.kind || ' ') > 0)
AND (:pump = '' OR e.pump = :pump OR EXISTS (
    SELECT 1 FROM entries AS i WHERE i.kind = 'dose_intended'
    AND i.attempt = e.attempt AND i.pump = :pump))
AND (:dose = '' OR e.dose = :dose OR EXISTS (
    SELECT 1 FROM entries AS i WHERE i.kind = 'dose_intended'
    AND i.attempt = e.attempt AND i.dose = :dose))
AND (:since = '' OR e.at >= :since) AND (:until = '' OR e.at < :until)
ORDER BY e.seq"""

_NEWEST = "SELECT max(seq) FROM entries"

_INTENDED = (
    "SELECT dose FROM entries INDEXED BY one_intent "
    "WHERE kind = 'dose_intended' AND dose = ?"
)
_CHECKPOINT = (
    "SELECT seq FROM entries INDEXED BY checkpoints WHERE kind = 'checkpoint' "
    "AND at < ? ORDER BY seq DESC LIMIT 1"
)

_LIFE_KINDS = (
    "dose_held",
    "dose_missed",
    "request_taken_back",
    "dose_intended",
    "dose_handed",
    "dose_taken",
    "dose_ended",
    "dose_refused_by_node",
    "dose_voided",
    "dose_sealed",
    "charge_raised",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Which entries are asked for; what is left empty does not narrow.

    Range: `since` <= time < `until`; `limit` above 0. With `newest_first` the limit
    keeps the newest.
    """

    kinds: tuple[str, ...] = ()
    pump: str = ""
    dose: str = ""
    since: datetime | None = None
    until: datetime | None = None
    limit: int | None = None
    newest_first: bool = False


EVERYTHING = Wanted()


def entries(ledger: LedgerFile, wanted: Wanted = EVERYTHING) -> Iterator[Entry]:
    """The entries asked for, in their order or newest first, up to the newest now.

    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    return islice(_matching(ledger, wanted), wanted.limit)


def intended(ledger: LedgerFile, doses: Collection[str]) -> set[str]:
    """Which of these doses an entry has intended already.

    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    found = (ledger.select(_INTENDED, (dose,)) for dose in doses)
    return {str(dose) for rows in found for (dose,) in rows}


def newest_checkpoint(ledger: LedgerFile, before: datetime) -> int:
    """The number of the newest checkpoint written before a time; 1 when there is none.

    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    found = ledger.select(_CHECKPOINT, (timestamp(before),))
    return next((whole(seq) for (seq,) in found), 1)


def since_entry(ledger: LedgerFile, first: int) -> Iterator[Entry]:
    """Every entry from a number on, up to the newest now.

    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    return _matching(ledger, EVERYTHING, first)


def doses(ledger: LedgerFile, wanted: Wanted = EVERYTHING) -> list[Life]:
    """One line per dose, in the order in which the ledger first names them.

    `kinds` has no meaning here; `limit` counts doses and keeps the newest. Doses that
    a long absence swallowed as a span are entries of their own, not lives.
    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    narrowed = Wanted(
        kinds=_LIFE_KINDS,
        pump=wanted.pump,
        dose=wanted.dose,
        since=wanted.since,
        until=wanted.until,
    )
    lives = live_through(_matching(ledger, narrowed))
    newest = lives if wanted.limit is None else lives[-wanted.limit :]
    return newest[::-1] if wanted.newest_first else newest


def entry_document(entry: Entry) -> dict[str, object]:
    """One entry as a JSON-able document: its number and every field of its event."""
    return {"seq": entry.seq, **json.loads(encode(entry.event))}


def line_document(line: Life | Total) -> dict[str, object]:
    """One dose or one daily total as a JSON-able document."""
    return {name: _plain(value) for name, value in asdict(line).items()}


def entries_csv(found: Iterable[Entry]) -> Iterator[str]:
    """Entries as lines of CSV (RFC 4180) with a header; `body` is JSON text."""
    yield _csv_line(("seq", "at", "kind", "dose", "attempt", "pump", "body"))
    for entry in found:
        event = entry.event
        yield _csv_line(
            (
                entry.seq,
                timestamp(event.at),
                event.kind,
                *subject_of(event),
                encode(event),
            )
        )


def lines_csv(lines: Iterable[Life | Total]) -> Iterator[str]:
    """Doses or daily totals as lines of CSV (RFC 4180); no header without a line."""
    for number, line in enumerate(lines):
        document = line_document(line)
        if number == 0:
            yield _csv_line(document)
        yield _csv_line(_cell(value) for value in document.values())


def _matching(ledger: LedgerFile, wanted: Wanted, begin: int = 1) -> Iterator[Entry]:
    values: dict[str, Value] = {
        "kinds": f" {' '.join(wanted.kinds)} " if wanted.kinds else "",
        "pump": wanted.pump,
        "dose": wanted.dose,
        "since": timestamp(wanted.since) if wanted.since else "",
        "until": timestamp(wanted.until) if wanted.until else "",
    }
    ((newest,),) = ledger.select(_NEWEST)
    pages = [*spans(begin, whole(newest))]
    for first, last in reversed(pages) if wanted.newest_first else pages:
        rows = ledger.select(_PAGE, {**values, "first": first, "last": last})
        for seq, body in reversed(rows) if wanted.newest_first else rows:
            place = f"{ledger.path}, entry {seq}"
            yield Entry(seq=whole(seq), event=decode(str(body), place))


def _plain(value: object) -> object:
    if isinstance(value, datetime):
        return timestamp(value)
    if isinstance(value, tuple):
        return list(value)
    # A date reads as its RFC 3339 full-date; numbers, words, truths stay.
    return value if isinstance(value, str | int | None) else str(value)


def _cell(value: object) -> object:
    return canonical(value) if isinstance(value, list) else value


def _csv_line(cells: Iterable[object]) -> str:
    line = io.StringIO()
    csv.writer(line).writerow(cells)
    return line.getvalue()
