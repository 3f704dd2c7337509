"""The whole ledger, read from end to end.

Floor 6. One subject: finding damage anywhere. Laws here: the audit changes nothing;
it says every fault it finds, up to `FINDINGS_AT_MOST`; it looks at what was there when
it began, so that whoever appends meanwhile is no fault; the indexes that keep a dose
from being given twice are compared with the rows, which SQLite's own quick check
leaves out.
"""

import sqlite3
from collections.abc import Iterator
from itertools import chain, islice

from slackwater.errors import Finding, LedgerDamagedError
from slackwater.ledger.chain import GENESIS, Row, broken, fault_of, subject_of
from slackwater.ledger.codec import decode, timestamp
from slackwater.ledger.reader import Reader, spans
from slackwater.ledger.schema import HISTORY_KINDS

# A broken disk breaks thousands of entries; nobody reads more than the first few.
FINDINGS_AT_MOST = 20

# Index, kind of its rows, column it keeps.
_INDEXES = (
    ("one_intent", "dose_intended", "dose"),
    ("one_attempt", "dose_intended", "attempt"),
    ("checkpoints", "checkpoint", "seq"),
)

# Rows of a span that an index does not lead to.
_PROBE = (
    "SELECT e.seq FROM entries AS e NOT INDEXED "
    "WHERE e.seq BETWEEN ? AND ? AND e.kind = '{kind}' AND NOT EXISTS ("
    "SELECT 1 FROM entries AS i INDEXED BY {index} "
    "WHERE i.kind = '{kind}' AND i.{column} = e.{column} AND i.seq = e.seq)"
)
_COUNT = "SELECT count(*) FROM entries {hint} WHERE kind = '{kind}' AND seq <= ?"
# What an index says of its rows as a whole: how many, which ones, and when.
_WHOLE = (
    "SELECT count(*), sum(seq), sum(CAST(strftime('%s', at) AS INTEGER)) FROM entries"
)


def audit(connection: sqlite3.Connection, where: str) -> list[Finding]:
    """What is wrong with a ledger; empty when all is well.

    Raises: LedgerBusyError, LedgerStorageError when it cannot be read.
    """
    found = chain.from_iterable(steps(connection, where))
    return list(islice(found, FINDINGS_AT_MOST))


def steps(connection: sqlite3.Connection, where: str) -> Iterator[list[Finding]]:
    """The same in small steps: what each of them found, most often nothing.

    Raises: LedgerBusyError, LedgerStorageError when it cannot be read.
    """
    reader = Reader(connection, where)
    # A page SQLite itself cannot read ends one part, not the others.
    for part in (_chain, _indexes, _structure):
        try:
            yield from part(reader, where)
        except LedgerDamagedError as error:
            yield list(error.findings)


def _end(reader: Reader) -> int:
    """The number of the newest entry; 1 where there is none, which is then missing."""
    newest = reader.newest()
    return newest.seq if newest else 1


def _chain(reader: Reader, where: str) -> Iterator[list[Finding]]:
    seq, prev, end = 0, GENESIS, _end(reader)
    for first, last in spans(1, end):
        found = []
        for row in reader.span(first, last):
            fault = fault_of(row, seq, prev) or _content_fault(row, where)
            if fault:
                found.append(broken(row.seq, fault, where))
            # Go on from what stands there: one broken link is one finding.
            seq, prev = row.seq, row.sha256
        yield found
    if seq != end:
        yield [broken(seq + 1, "it is missing", where)]


def _content_fault(row: Row, where: str) -> str:
    try:
        event = decode(row.body, where)
    except LedgerDamagedError as error:
        (finding,) = error.findings
        return finding.what
    said = (timestamp(event.at), event.kind, *subject_of(event))
    if said != (row.at, row.kind, row.dose, row.attempt, row.pump):
        return "its columns say something else than its body"
    return ""


def _indexes(reader: Reader, where: str) -> Iterator[list[Finding]]:
    for span in spans(1, _end(reader)):
        yield [
            _index_damaged(index, f"it does not lead to entry {seq}", where)
            for index, kind, column in _INDEXES
            for (seq,) in reader.select(
                _PROBE.format(index=index, kind=kind, column=column), span
            )
        ]


def _structure(reader: Reader, where: str) -> Iterator[list[Finding]]:
    yield [
        Finding(
            what=f"the file is damaged: {said}",
            where=where,
            expected="SQLite's quick check to say ok",
            do="Doses stay held. Restore a copy that is whole.",
        )
        for (said,) in reader.select(f"PRAGMA quick_check({FINDINGS_AT_MOST})")
        if said != "ok"
    ]
    end = (_end(reader),)
    for index, kind, _column in _INDEXES:
        by_index, by_table = (
            reader.select(_COUNT.format(hint=hint, kind=kind), end)
            for hint in (f"INDEXED BY {index}", "NOT INDEXED")
        )
        fault = "it holds what the table does not"
        is_whole = by_index == by_table
        yield [] if is_whole else [_index_damaged(index, fault, where)]
    yield from _history(reader, where, end)


def _history(reader: Reader, where: str, end: tuple[int]) -> Iterator[list[Finding]]:
    grouped = f"{_WHOLE.replace(' count', ' kind, count')} WHERE seq <= ? GROUP BY kind"
    by_table = {kind: tuple(rest) for kind, *rest in reader.select(grouped, end)}
    for kind in HISTORY_KINDS:
        of_kind = f"{_WHOLE} INDEXED BY history WHERE kind = '{kind}' AND seq <= ?"
        (by_index,) = reader.select(of_kind, end)
        is_whole = by_index == by_table.get(kind, (0, None, None))
        fault = f"its entries {kind} are others"
        yield [] if is_whole else [_index_damaged("history", fault, where)]


def _index_damaged(name: str, what: str, where: str) -> Finding:
    return Finding(
        what=f"the index {name} is damaged: {what}",
        where=where,
        expected="an index that leads to every one of its entries",
        do="Doses stay held: an index keeps a dose from being given twice. Restore "
        "a copy that is whole.",
    )
