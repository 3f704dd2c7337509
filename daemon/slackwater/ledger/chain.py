"""The hash chain: each entry's SHA-256 covers itself and the entry before it.

Floor 6. One subject: rows and how they hang together. Laws here: a hash is taken over
the hash before, the sequence number and every column of the row, so that no byte of a
row can change unseen; the columns beside `body` repeat what the body says.

    sha256 = SHA-256(prev ‖ JSON of [seq, at, kind, dose, attempt, pump, body])
"""

from collections.abc import Iterable, Sequence
from hashlib import sha256
from typing import NamedTuple

from slackwater.errors import Finding, LedgerDamagedError
from slackwater.facts.events import (
    AnyEvent,
    DoseHeld,
    DoseIntended,
    DoseMissed,
    RequestHeard,
    RequestTakenBack,
)
from slackwater.ledger.codec import canonical, encode, timestamp
from slackwater.ports import Head

# What the first entry follows.
GENESIS = bytes(32)

COLUMNS = "seq, at, kind, dose, attempt, pump, body, prev, sha256"


_TEXT = (str,)
_TEXT_OR_NOT = (str, type(None))
_TYPES: tuple[tuple[type, ...], ...] = (
    (int,),
    _TEXT,
    _TEXT,
    *(_TEXT_OR_NOT,) * 3,
    _TEXT,
    (bytes,),
    (bytes,),
)


class Row(NamedTuple):
    """One row of `entries`, column by column."""

    seq: int
    at: str
    kind: str
    dose: str | None
    attempt: str | None
    pump: str | None
    body: str
    prev: bytes
    sha256: bytes

    @property
    def head(self) -> Head:
        """The head a ledger has when this row is its newest."""
        return Head(seq=self.seq, sha256=self.sha256.hex())


class Subject(NamedTuple):
    """What an event is about: the columns by which entries are found."""

    dose: str | None
    attempt: str | None
    pump: str | None


def link(head: Head | None, events: Sequence[AnyEvent]) -> list[Row]:
    """Rows for events that follow `head`, or begin a ledger when it is None.

    Raises: InputError when an event cannot be written as it stands.
    """
    seq, prev = (0, GENESIS) if head is None else (head.seq, bytes.fromhex(head.sha256))
    rows: list[Row] = []
    for event in events:
        seq += 1
        row = _row(seq, event, prev)
        rows.append(row)
        prev = row.sha256
    return rows


def follow(rows: Iterable[Row], seq: int, prev: bytes, where: str) -> None:
    """Check that rows follow the entry `seq` whose hash is `prev`, without a gap.

    Raises: LedgerDamagedError naming the first entry that does not.
    """
    for row in rows:
        fault = fault_of(row, seq, prev)
        if fault:
            raise LedgerDamagedError(broken(row.seq, fault, where))
        seq, prev = row.seq, row.sha256


def fault_of(row: Row, seq: int, prev: bytes) -> str:
    """What is wrong with the link from entry `seq` with hash `prev`; empty if none."""
    if row.seq != seq + 1:
        return f"entries {seq + 1} to {row.seq - 1} are missing before it"
    if row.prev != prev:
        return "it does not follow the entry before it"
    if row.sha256 != digest(row):
        return "its content is not what was written"
    return ""


def has_types(row: Row) -> bool:
    """Whether every column holds what it must.

    Strict tables check types when a value is written, not when it is read: a flipped
    byte can turn a text into a number.
    """
    return all(isinstance(value, kind) for value, kind in zip(row, _TYPES, strict=True))


def digest(row: Row) -> bytes:
    """The hash a row must carry; its own `sha256` is not looked at."""
    content = canonical(
        [row.seq, row.at, row.kind, row.dose, row.attempt, row.pump, row.body]
    )
    return sha256(row.prev + content.encode()).digest()


def subject_of(event: AnyEvent) -> Subject:
    """The dose, attempt and pump an event names itself."""
    if isinstance(event, DoseIntended):
        return Subject(event.dose.id, event.command.attempt, event.dose.pump)
    if isinstance(event, DoseMissed):
        return Subject(event.dose.id, None, event.dose.pump)
    if isinstance(event, DoseHeld):
        return Subject(event.dose_id, None, event.pump)
    if isinstance(event, RequestTakenBack):
        return Subject(event.request, None, event.pump)
    if isinstance(event, RequestHeard):
        return Subject(event.dose or None, None, None)
    return Subject(None, getattr(event, "attempt", None), getattr(event, "pump", None))


def broken(seq: int, fault: str, where: str) -> Finding:
    """The finding for one entry of a broken chain."""
    return Finding(
        what=f"entry {seq} is damaged: {fault}",
        where=where,
        expected="an unbroken chain from the first entry to the newest",
        do="Doses stay held. Keep this file for inspection and restore a copy "
        "that is whole; the ledger is never repaired by itself.",
    )


def _row(seq: int, event: AnyEvent, prev: bytes) -> Row:
    subject = subject_of(event)
    row = Row(
        seq=seq,
        at=timestamp(event.at),
        kind=event.kind,
        dose=subject.dose,
        attempt=subject.attempt,
        pump=subject.pump,
        body=encode(event),
        prev=prev,
        sha256=GENESIS,
    )
    return row._replace(sha256=digest(row))
