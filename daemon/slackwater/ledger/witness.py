"""The witness: a small file that remembers how far the ledger had come.

Floor 6. One subject: noticing a ledger that was put back in time. Laws here: a
witness is replaced whole or not at all and never by an older one; a ledger behind its
witness, or of another history, is damaged, never quietly accepted.
"""

import json
import os
import tempfile
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from slackwater.errors import Finding, LedgerDamagedError, LedgerStorageError
from slackwater.ledger.codec import canonical
from slackwater.ports import Head

VERSION = 1
# 64 hexadecimal digits of SHA-256.
_HASH_LENGTH = 64
_FIELDS = 4
# Readable by the group that may look, writable by the daemon alone.
_MODE = 0o640


@dataclass(frozen=True, slots=True, kw_only=True)
class Witness:
    """A head the ledger with this id once had."""

    ledger_id: str
    head: Head


def path_for(ledger: Path, kept_at: Path | None) -> Path:
    """Where the witness of a ledger is kept."""
    return kept_at or ledger.with_name(ledger.name + ".witness")


def read(path: Path) -> Witness | None:
    """The witness, or None when there is none.

    Raises: LedgerDamagedError when it is not one; LedgerStorageError.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    except UnicodeDecodeError as error:
        raise _unreadable(path) from error
    except OSError as error:
        raise _storage(path, error) from error
    witness = _parse(text)
    if witness is None:
        raise _unreadable(path)
    return witness


def write(path: Path, witness: Witness) -> None:
    """Replace the witness, unless one of the same ledger is further already.

    Raises: LedgerDamagedError, LedgerStorageError.
    """
    known = read(path)
    if (
        known is not None
        and known.ledger_id == witness.ledger_id
        and known.head.seq >= witness.head.seq
    ):
        return
    replace(path, witness)


def replace(path: Path, witness: Witness) -> None:
    """Put the witness in place, durably, whatever stood there before.

    Raises: LedgerStorageError.
    """
    try:
        descriptor, draft = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    except OSError as error:
        raise _storage(path, error) from error
    try:
        _write_synced(descriptor, _text(witness))
        belong(Path(draft), path.parent)
        Path(draft).replace(path)
        sync_directory(path.parent)
    except OSError as error:
        with suppress(OSError):
            Path(draft).unlink()
        raise _storage(path, error) from error


def rolled_back(where: str, newest: Head, seen: Witness) -> LedgerDamagedError:
    """The error for a ledger that does not hold what its witness saw."""
    return LedgerDamagedError(
        Finding(
            what="this ledger was rolled back or exchanged: its newest entry is "
            f"{newest.seq}",
            where=where,
            expected=f"entry {seen.head.seq} of ledger {seen.ledger_id}, as its "
            f"witness remembers it ({seen.head.sha256[:8]})",
            do="Doses given since are forgotten in this copy: doses stay held. Find "
            "the newer file; if it is lost, make a new ledger with `slackwater init` "
            "and answer what was dosed.",
        )
    )


def sync_directory(directory: Path) -> None:
    """Make the names in a directory durable.

    Raises: OSError.
    """
    descriptor = os.open(directory, os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def belong(path: Path, directory: Path) -> None:
    """Give a file that root made to whoever a directory belongs to.

    A person who types a verb as root must leave nothing that the daemon, which is
    another user, cannot open. Where nobody may give it away, it stays as it is.
    """
    if os.geteuid() != 0:
        return
    with suppress(OSError):
        owner = directory.stat()
        os.chown(path, owner.st_uid, owner.st_gid)


def _write_synced(descriptor: int, text: str) -> None:
    with os.fdopen(descriptor, "w", encoding="utf-8") as file:
        os.fchmod(descriptor, _MODE)
        file.write(text)
        file.flush()
        os.fsync(file.fileno())


def _text(witness: Witness) -> str:
    return canonical(
        {
            "v": VERSION,
            "ledger_id": witness.ledger_id,
            "seq": witness.head.seq,
            "sha256": witness.head.sha256,
        }
    )


def _parse(text: str) -> Witness | None:
    try:
        document = json.loads(text)
        if canonical(document) != text or not isinstance(document, dict):
            return None
    except (ValueError, RecursionError):
        return None
    match document:
        case {
            "v": 1,
            "ledger_id": str(ledger_id),
            "seq": int(seq),
            "sha256": str(sha256),
        } if len(document) == _FIELDS and len(sha256) == _HASH_LENGTH and seq > 0:
            return Witness(ledger_id=ledger_id, head=Head(seq=seq, sha256=sha256))
    return None


def _unreadable(path: Path) -> LedgerDamagedError:
    return LedgerDamagedError(
        Finding(
            what="the witness file is not a witness",
            where=str(path),
            expected="the sequence number and hash of a ledger entry",
            do="Compare the ledger with a copy you trust; if it is the newest, move "
            "the witness file away.",
        )
    )


def _storage(path: Path, error: OSError) -> LedgerStorageError:
    return LedgerStorageError(
        Finding(
            what=f"the witness file cannot be used: {error.strerror}",
            where=str(path),
            expected="a directory the daemon can read and write",
            do="Look at free space and permissions of the state directory.",
        )
    )
