"""A ledger in a real file, on a disk that can refuse, half do, or be put back in time.

The daemon under test opens, appends and reads through its own ledger code; the truth
beside it, with true times, is kept in `Book.entries` and no fault reaches that.
"""

import resource
import sqlite3
import sys
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from slackwater.cli.unknown_time import Told, entries_after
from slackwater.facts.events import AnyEvent, Checkpoint, DoseIntended, LedgerMade
from slackwater.facts.fold import fold_all
from slackwater.facts.now import proven_ms
from slackwater.facts.state import State
from slackwater.ledger.codec import decode, dump_state
from slackwater.ledger.connection import Footing, translation
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import entries, intended
from slackwater.ledger.witness import read as read_witness
from slackwater.pump.outcome import Stamp
from slackwater.service.memory import LIVE_NAME, read_state
from tests.properties.shell import Book, Remembering

# Nobody waits in real time for a lock that virtual time has to free.
AT_ONCE = Footing(busy_ms=1)
_AFTER = "SELECT body FROM entries WHERE seq > ? ORDER BY seq"


@dataclass(slots=True, kw_only=True)
class DiskBook(Book):
    """A book on a file; `wrong` is what the next write meets, `met` counts what did.

    `lasts` says that the disk stays as it is until somebody mends it. `backups` holds
    copies of file and witness with the number of entries each has; `signed` counts what
    people wrote, by its kind. `rewound` says how many entries there were each time an
    older file took the place of this one, `forgotten` which attempts no witness knows.
    """

    folder: Path
    wrong: str = ""
    lasts: bool = False
    met: Counter[str] = field(default_factory=Counter)
    backups: list[tuple[bytes, bytes, int]] = field(default_factory=list)
    rewound: list[int] = field(default_factory=list)
    forgotten: set[str] = field(default_factory=set)
    signed: Counter[str] = field(default_factory=Counter)
    _looker: LedgerFile | None = None
    _seen: State = field(default_factory=State)

    @property
    def path(self) -> Path:
        """The file."""
        return self.folder / LIVE_NAME

    @property
    def witness(self) -> Path:
        """What remembers the newest entry beside the file."""
        return self.folder / f"{LIVE_NAME}.witness"

    def append(self, events: Sequence[AnyEvent]) -> None:
        """Append as a person's own process does: open, write, close."""
        self.signed.update(event.kind for event in events)
        made = events[0]
        if isinstance(made, LedgerMade):
            LedgerFile.create(self.path, made, footing=AT_ONCE).close()
            self.note(events[:1])
            events = events[1:]
        with LedgerFile.open(self.path, footing=AT_ONCE) as file:
            file.append(events)
        self.note(events)

    def note(self, events: Sequence[AnyEvent]) -> None:
        """Keep what became durable, with the truth beside it."""
        # By its own name: a dataclass with slots is made anew, and `super()` with no
        # words would look for the first one.
        Book.append(self, events)

    def memory(self) -> Remembering:
        """The memory of a daemon: its own code on the file."""
        return DiskMemory(self)

    def folded(self) -> State:
        """The state of the file, read on from where somebody last looked.

        Whoever changes it calls `look_anew` afterwards.
        """
        if self._looker is None:
            self._looker = LedgerFile.open(self.path, writable=False, footing=AT_ONCE)
            self._seen = read_state(self._looker)
        while part := self._looker.news():
            fold_all(self._seen, (entry.event for entry in part))
        return self._seen

    def look_anew(self) -> None:
        """Forget what was read; the next look reads the file from its beginning."""
        self._looker = None

    def sign(self, make: Callable[[State, Stamp], AnyEvent]) -> None:
        """Append one entry as a person on the machine would."""
        state, now = self.folded(), self.times.now()
        passed = 0 if state.mark is None else proven_ms(state.mark, now)
        self.append(
            [make(state, {"at": now.utc, "boot_s": now.boot_s, "proven_ms": passed})]
        )

    def back_up(self) -> None:
        """Keep a copy as a backup would."""
        witness = self.witness.read_bytes() if self.witness.exists() else b""
        self.folded()
        entries = 0 if self._looker is None else self._looker.head.seq
        self.backups.append((self.path.read_bytes(), witness, entries))

    def put_back(self, backup: tuple[bytes, bytes, int], *, witness: bool) -> None:
        """Exchange the file for an older one; with its witness nothing remembers.

        Nor does anything where the witness is as old as the copy.
        """
        file, remembered, newest = backup
        self.look_anew()
        for beside in self.folder.glob(f"{LIVE_NAME}*"):
            if beside != self.witness:
                beside.unlink()
        self.path.write_bytes(file)
        if witness:
            self.witness.write_bytes(remembered)
        if witness or self._remembered() <= newest:
            # Nothing on this machine can know of these any more.
            with LedgerFile.open(self.path, writable=False, footing=AT_ONCE) as kept:
                remembered_too = _attempts(entry.event for entry in entries(kept))
                self.forgotten |= _attempts(self.events()) - remembered_too
        self.rewound.append(len(self.entries))

    def _remembered(self) -> int:
        """How many entries the witness knows of."""
        known = read_witness(self.witness)
        return 0 if known is None else known.head.seq

    def go_on_from(self, backup: tuple[bytes, bytes, int]) -> None:
        """What a person does with a backup: the program's own entries after it."""
        self.put_back(backup, witness=False)
        self.witness.unlink(missing_ok=True)
        now = self.times.now()
        with LedgerFile.open(self.path, footing=AT_ONCE) as file:
            state = read_state(file)
            told = Told(
                made_at=now.utc if state.newest_at is None else state.newest_at,
                entries=file.head.seq,
                newest_known=0,
                boot_id=now.boot_id,
                answered=False,
                by="keeper",
            )
            passed = 0 if state.mark is None else proven_ms(state.mark, now)
            events = entries_after(
                state, told, {"at": now.utc, "boot_s": now.boot_s, "proven_ms": passed}
            )
            file.append(events)
        self.note(events)

    @contextmanager
    def one_write(self) -> Iterator[None]:
        """One write as the disk is now; afterwards it is sound unless that lasts."""
        kind, self.wrong = self.wrong, self.wrong if self.lasts else ""
        if not kind:
            yield
            return
        self.met[f"disk {kind}"] += 1
        with _BROKEN[kind](self.path):
            yield


class DiskMemory:
    """`service.memory.Memory` in live mode, on a disk that may refuse."""

    def __init__(self, book: DiskBook) -> None:
        """Open, prove by a write, read all."""
        self._book = book
        self._file = LedgerFile.open(book.path, footing=AT_ONCE)
        with book.one_write():
            self._file.probe_write()
        self.state = read_state(self._file)

    def append(self, events: Sequence[AnyEvent]) -> None:
        """Write durably, then fold; what became durable is the truth either way."""
        before = self._file.head.seq
        try:
            with self._book.one_write():
                self._file.append(events)
        finally:
            if self._file.head.seq > before:
                self._book.note(events)
        fold_all(self.state, events)

    def news(self) -> list[AnyEvent]:
        """What others wrote, already folded."""
        found: list[AnyEvent] = []
        while part := self._file.news():
            found += [entry.event for entry in part]
        fold_all(self.state, found)
        return found

    def intended(self, doses: Collection[str]) -> set[str]:
        """Which of these doses the file knows as intended."""
        return intended(self._file, doses)

    def after(self, count: int) -> list[AnyEvent]:
        """What stands in the file after so many entries."""
        rows = self._file.select(_AFTER, (count,))
        return [decode(str(body), str(self._file.path)) for (body,) in rows]

    def refolded(self) -> State:
        """What a start would fold."""
        self._book.look_anew()
        return self._book.folded()

    def checkpoint(self, at_now: Stamp) -> None:
        """The folded state as an entry, so that a start reads little; the witness."""
        self.append([Checkpoint(**at_now, state=dump_state(self.state))])
        self.witness()

    def witness(self) -> None:
        """What the shell does each hour."""
        self._file.write_witness()

    def close(self) -> None:
        """What a daemon does that ends as it should."""
        self._file.close()


def _attempts(events: Iterable[AnyEvent]) -> set[str]:
    return {one.command.attempt for one in events if isinstance(one, DoseIntended)}


class _Saboteur:
    """An audit hook that lets the next commit fail with a result code of SQLite."""

    def __init__(self) -> None:
        self.code = 0

    def __call__(self, event: str, _about: tuple[object, ...]) -> None:
        """Raise what SQLite would, right before the commit."""
        if self.code and event == "slackwater.before_commit":
            code, self.code = self.code, 0
            raise _error_of(code)


@cache
def _saboteur() -> _Saboteur:
    """The one of this process; a hook cannot be taken out again."""
    made = _Saboteur()
    sys.addaudithook(made)
    return made


@contextmanager
def _failing(code: int) -> Iterator[None]:
    _saboteur().code = code
    try:
        yield
    finally:
        _saboteur().code = 0


@contextmanager
def _unclear(_path: Path) -> Iterator[None]:
    """Everything is kept, and the last sync says that it failed."""
    yield
    raise translation(_error_of(sqlite3.SQLITE_IOERR), LIVE_NAME)


def _error_of(code: int) -> sqlite3.OperationalError:
    error = sqlite3.OperationalError("sabotage")
    error.sqlite_errorcode = code
    return error


@contextmanager
def _full(path: Path) -> Iterator[None]:
    """Real writes of the real library fail beyond the file's present size."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (path.stat().st_size // 2, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@contextmanager
def _locked(path: Path) -> Iterator[None]:
    """Another program holds the file."""
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    try:
        yield
    finally:
        other.close()


_BROKEN: Mapping[str, Callable[[Path], AbstractContextManager[None]]] = {
    "error": lambda _path: _failing(sqlite3.SQLITE_IOERR),
    "readonly": lambda _path: _failing(sqlite3.SQLITE_READONLY),
    "unclear": _unclear,
    "full": _full,
    "locked": _locked,
}
# What the next write of the daemon can meet; all but `unclear` leave no entry.
KINDS = tuple(_BROKEN)
