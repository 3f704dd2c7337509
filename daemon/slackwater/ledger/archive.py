"""One file that holds a ledger, the approved files and a manifest of both.

Floor 6. One subject: the backup as a file. Laws here: it appears under its name whole
and verified, or not at all; what is read is checked in full before anyone uses it;
only names of the closed list are ever written to a disk.
Format: a tape archive as POSIX.1-1988 has it (ustar), its first member the manifest in
JSON, so that any machine opens it without this program.
"""

import hashlib
import io
import os
import shutil
import tarfile
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import IO

from pydantic import TypeAdapter, ValidationError

from slackwater.errors import (
    Finding,
    InputError,
    LedgerDamagedError,
    LedgerStorageError,
    RefusedError,
)
from slackwater.ledger.codec import canonical
from slackwater.ledger.connection import Footing
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.witness import sync_directory

VERSION = 1
MANIFEST = "manifest.json"
LEDGER = "slackwater.ledger"
FILES = ("slackwater.toml", "plan.toml")
_MANIFEST_AT_MOST = 65_536
_MODE = 0o640
# What tarfile raises for bytes that are no archive, or a spoiled one.
_SPOILED = (tarfile.TarError, EOFError, ValueError, OverflowError)


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """One file in a backup; `bytes` is its length."""

    bytes: int
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """What a backup holds; `entries` and `head` are the newest entry of its ledger."""

    v: int
    ledger_id: str
    entries: int
    head: str
    made_at: str
    software: str
    members: Mapping[str, Member]


def pack(target: Path, folder: Path, manifest: Manifest) -> None:
    """Write the files of `folder` into one file, read it back, and name it `target`.

    Raises: RefusedError when a file of that name stands there; InputError when what
    was written does not read back; LedgerStorageError.
    """
    with _stored(target):
        descriptor, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=folder)
        draft = Path(name)
        with os.fdopen(descriptor, "wb") as file:
            os.fchmod(descriptor, _MODE)
            _write(file, folder, manifest)
            file.flush()
            os.fsync(file.fileno())
        with tempfile.TemporaryDirectory(prefix="again.", dir=folder) as again:
            if unpack(draft, Path(again)) != manifest:
                raise InputError(_damaged(target, "it reads back as another one"))
        refuse_standing(target)
        draft.rename(target)
        sync_directory(target.parent)


def unpack(path: Path, folder: Path) -> Manifest:
    """Write a backup's files into an empty folder, all of them checked in full.

    The ledger among them is brought up to date if it is of an older version.
    Raises: InputError for a file that is missing, spoiled or no backup;
    LedgerStorageError.
    """
    try:
        with tarfile.open(path, mode="r:") as archive:
            manifest = _manifest(path, archive)
            for member in archive:
                if member.name != MANIFEST:
                    _take(path, archive, member, manifest, folder)
    except OSError as error:
        raise InputError(_unreadable(path, error)) from error
    except _SPOILED as error:
        raise InputError(_foreign(path)) from error
    for name in manifest.members:
        if not (folder / name).is_file():
            raise InputError(_damaged(path, f"{name} is missing"))
    _prove_ledger(path, folder / LEDGER, manifest)
    return manifest


@contextmanager
def workshop(beside: Path) -> Iterator[Path]:
    """A hidden folder in a directory, on the same disk, gone afterwards.

    Raises: LedgerStorageError when it cannot be made.
    """
    with _stored(beside):
        made = tempfile.TemporaryDirectory(prefix=".slackwater.", dir=beside)
    with made as name:
        yield Path(name)


def aside(folder: Path) -> Footing:
    """What a copy stands on that nobody else can see: any disk will do for it."""
    return Footing(witness=folder / "witness", mounts=Path(os.devnull))


def member_of(path: Path) -> Member:
    """Length and digest of a file.

    Raises: OSError.
    """
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return Member(bytes=path.stat().st_size, sha256=digest)


def refuse_standing(target: Path) -> None:
    """Refuse to write over anything.

    Raises: RefusedError.
    """
    if target.exists() or target.is_symlink():
        raise RefusedError(
            Finding(
                what="a file stands here already",
                where=str(target),
                expected="a name that is free",
                do="Name another file, or a directory: the file then gets the time as "
                "its name. Nothing was changed.",
            )
        )


def _write(file: io.BufferedIOBase, folder: Path, manifest: Manifest) -> None:
    text = _text(manifest).encode()
    with tarfile.open(fileobj=file, mode="w", format=tarfile.USTAR_FORMAT) as archive:
        archive.addfile(_head(MANIFEST, len(text)), io.BytesIO(text))
        for name, member in manifest.members.items():
            with (folder / name).open("rb") as source:
                archive.addfile(_head(name, member.bytes), source)


def _head(name: str, length: int) -> tarfile.TarInfo:
    head = tarfile.TarInfo(name)
    head.size, head.mode = length, _MODE
    return head


def _manifest(path: Path, archive: tarfile.TarFile) -> Manifest:
    first = archive.next()
    if (
        first is None
        or first.name != MANIFEST
        or first.size > _MANIFEST_AT_MOST
        or (source := _content(archive, first)) is None
    ):
        raise InputError(_foreign(path))
    text = source.read()
    try:
        manifest = _adapter().validate_json(text, strict=True, extra="forbid")
    except ValidationError as error:
        raise InputError(_damaged(path, "its manifest cannot be read")) from error
    if _text(manifest).encode() != text or not _is_of_this_version(manifest):
        raise InputError(_damaged(path, "its manifest is not one of this version"))
    names = manifest.members.keys()
    if LEDGER not in names or not names <= {LEDGER, *FILES}:
        raise InputError(_damaged(path, "its manifest names other files"))
    return manifest


def _is_of_this_version(manifest: Manifest) -> bool:
    try:
        made_at = datetime.fromisoformat(manifest.made_at)
    except ValueError:
        return False
    return manifest.v == VERSION and made_at.tzinfo is not None


def _take(
    path: Path,
    archive: tarfile.TarFile,
    member: tarfile.TarInfo,
    manifest: Manifest,
    folder: Path,
) -> None:
    """Write one member down; only a plain file the manifest knows, once."""
    known = manifest.members.get(member.name)
    source = _content(archive, member)
    if known is None or source is None or member.size != known.bytes:
        raise InputError(_damaged(path, f"{member.name!r} is not in its manifest"))
    with (folder / member.name).open("xb") as file:
        shutil.copyfileobj(source, file)
        file.flush()
        os.fsync(file.fileno())
    if member_of(folder / member.name) != known:
        raise InputError(_damaged(path, f"{member.name} is not what was written"))


def _content(archive: tarfile.TarFile, member: tarfile.TarInfo) -> IO[bytes] | None:
    """What a plain file holds; None for anything else, links to one among it."""
    return archive.extractfile(member) if member.isreg() else None


def _prove_ledger(path: Path, ledger: Path, manifest: Manifest) -> None:
    """Open the ledger, which brings it up to date, and read all of it."""
    try:
        told = _read_through(ledger)
    except LedgerDamagedError as error:
        first, *_ = error.findings
        raise InputError(_damaged(path, first.what)) from error
    if told != (manifest.ledger_id, manifest.entries, manifest.head):
        raise InputError(_damaged(path, "its manifest speaks of another ledger"))


def _read_through(ledger: Path) -> tuple[str, int, str]:
    with LedgerFile.open(ledger, footing=aside(ledger.parent)) as file:
        findings = file.verify_all()
        if findings:
            raise LedgerDamagedError(findings)
        return file.ledger_id, file.head.seq, file.head.sha256


@cache
def _adapter() -> TypeAdapter[Manifest]:
    return TypeAdapter(Manifest)


def _text(manifest: Manifest) -> str:
    return canonical(_adapter().dump_python(manifest, mode="json"))


@contextmanager
def _stored(place: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise LedgerStorageError(
            Finding(
                what=f"the backup cannot be written: {error.strerror}",
                where=str(place),
                expected="a directory that exists, takes files and has room",
                do="Look at free space and permissions there. Nothing was changed.",
            )
        ) from error


def _foreign(path: Path) -> Finding:
    return Finding(
        what="this is not a backup of Slackwater",
        where=str(path),
        expected="a file that `slackwater backup` wrote",
        do="Name another file. Nothing was changed.",
    )


def _damaged(path: Path, fault: str) -> Finding:
    return Finding(
        what=f"this backup is damaged: {fault}",
        where=str(path),
        expected="a file as `slackwater backup` wrote it",
        do="Take another backup, or fetch this one again. Nothing was changed.",
    )


def _unreadable(path: Path, error: OSError) -> Finding:
    return Finding(
        what=f"the backup cannot be read: {error.strerror or error}",
        where=str(path),
        expected="a file this user may read, and room to unpack it",
        do="Look at its name, its permissions and free space. Nothing was changed.",
    )
