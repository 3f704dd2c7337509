"""What is done with a ledger in its life, each act on files of its own, and judged.

An act is prepared once in a folder; each try of it begins with a copy of that. Whoever
does it says a word when something is vouched for. What is left is judged from the
files alone: all or nothing, and all that was vouched for.
"""

import fcntl
import sqlite3
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from slackwater.errors import LedgerBusyError, LedgerMovedError, SlackwaterError
from slackwater.facts.events import AnyEvent
from slackwater.facts.state import State
from slackwater.ledger.birth import refuse_leftovers
from slackwater.ledger.codec import dump_state
from slackwater.ledger.store import LedgerFile
from slackwater.service.memory import LIVE_NAME, read_state
from slackwater.service.standing import LOCK_NAME, only_one
from tests.faults.border import GO, KILL, Say, watched
from tests.faults.life import AT_ONCE, batch
from tests.ledger.samples import checkpoint, ended, kept, made, new_ledger

OLD = Path(__file__).parents[1] / "ledger" / "version_1.sql"
# Who lives an act and does not die of it has these to close.
LEFT_OPEN: list[LedgerFile] = []
# What is said: something is vouched for; a daemon starts.
VOUCH, START = "vouched", "start"
# What SQLite makes of a disk that cannot read
# (sqlite.org/rescode.html#ioerr_corruptfs).
DAMAGED = "says that it is damaged"
# How a life in a world ends in which a dose was missed; what begins so is a fault.
LESS, BROKEN = "a dose less", "!! "
# Of these it is said that nothing was written.
NOTHING_WRITTEN = (LedgerBusyError.__name__, LedgerMovedError.__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """What a life leaves: the folder, how often it vouched, and its last words."""

    folder: Path
    vouched: int
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """One act; `look` gives what is wrong with what is left, `meanwhile` with a vow.

    `meanwhile` is asked by another process right after something was vouched for. In a
    world that goes on (`in_a_world`) nobody lives it beforehand, and a kill ends only
    the daemon in it.
    """

    name: str
    prepare: Callable[[Path], None]
    live: Callable[[Path, Say], str]
    look: Callable[[Left], list[str]]
    meanwhile: Callable[[Path], str] = lambda _folder: ""
    in_a_world: bool = False


def _fresh(folder: Path) -> None:
    new_ledger(folder / LIVE_NAME, [kept(1)]).close()


def _open(folder: Path, *, writable: bool = True) -> LedgerFile:
    return LedgerFile.open(folder / LIVE_NAME, writable=writable, footing=AT_ONCE)


def left_open(ledger: LedgerFile) -> LedgerFile:
    """A ledger left open as a dead process leaves it: no witness is written."""
    LEFT_OPEN.append(ledger)
    return ledger


def _append(folder: Path, say: Say, batches: Sequence[Sequence[AnyEvent]]) -> str:
    ledger = left_open(_open(folder))
    for several in batches:
        ledger.append(several)
        say(VOUCH)
    return ""


def whole(left: Left, entries: int, sizes: Sequence[int]) -> list[str]:
    """All that was vouched for of so many batches, and nothing by half; it goes on."""
    try:
        with _open(left.folder) as ledger:
            found = [str(one) for one in ledger.verify_all()]
            seq = ledger.head.seq
            ledger.append([kept(9)])
    except SlackwaterError as error:
        return [f"what is left cannot be used: {error}"]
    allowed = [entries + sum(sizes[:n]) for n in range(left.vouched, len(sizes) + 1)]
    # What was not vouched for may be there all the same, and then as a whole; not
    # where it was said that nothing was written.
    most = 1 if left.said in NOTHING_WRITTEN else 2
    if seq not in allowed[:most]:
        found.append(f"{seq} entries, {left.vouched} batches were vouched for")
    return found


def _created(folder: Path, say: Say) -> str:
    left_open(LedgerFile.create(folder / LIVE_NAME, made(), footing=AT_ONCE))
    say(VOUCH)
    return ""


def _is_made(left: Left) -> list[str]:
    """A whole ledger or none; where there is none it can be made now."""
    path = left.folder / LIVE_NAME
    if path.exists():
        return whole(left, 0, [1])
    if left.vouched:
        return ["it was vouched for and is not there"]
    try:
        refuse_leftovers(path)
        LedgerFile.create(path, made(), footing=AT_ONCE).close()
    except SlackwaterError as error:
        return [f"it cannot be made any more: {error}"]
    return []


def _opened(folder: Path, say: Say) -> str:
    with _open(folder) as ledger:
        read_state(ledger)
        ledger.news()
        ledger.probe_write()
        say(VOUCH)
    return ""


def _settled(folder: Path, say: Say) -> str:
    first = batch(0)
    return _append(folder, say, [first, [ended(f"{1_000_000:032x}")]])


def _remembered(folder: Path, say: Say) -> str:
    with _open(folder) as ledger:
        ledger.append([checkpoint(dump_state(State()))])
        ledger.write_witness()
        say(VOUCH)
        ledger.append([kept(2)])
        say(VOUCH)
    return ""


def _half_done(folder: Path) -> None:
    """A ledger of which a write was left half done, its journal beside it."""
    _fresh(folder)

    def rule(_number: int, name: str) -> int:
        return KILL if name == "unlink" else GO

    watched(lambda say: _append(folder, say, [batch(0)]), rule, lambda _word: None)
    if not (folder / f"{LIVE_NAME}-journal").exists():
        message = "no journal was left behind"
        raise SystemExit(message)


def _taken_back(folder: Path, say: Say) -> str:
    return _append(folder, say, [batch(1)])


def _taken_back_by_a_reader(folder: Path, say: Say) -> str:
    with _open(folder, writable=False) as ledger:
        if ledger.head.seq == 2:
            say(VOUCH)
    return ""


def _verified(folder: Path, say: Say) -> str:
    with _open(folder, writable=False) as ledger:
        if ledger.verify_all():
            return DAMAGED
        say(VOUCH)
    return ""


def _old(folder: Path) -> None:
    with closing(sqlite3.connect(folder / LIVE_NAME)) as connection:
        connection.executescript(OLD.read_text("utf-8"))


def _old_count() -> int:
    return OLD.read_text("utf-8").count('INSERT INTO "entries"')


def _brought_up(folder: Path, say: Say) -> str:
    with _open(folder):
        say(VOUCH)
    return ""


def _locked(folder: Path, say: Say) -> str:
    with only_one(folder):
        say(VOUCH)
    return ""


def _held(folder: Path) -> str:
    """While it is vouched for nobody else gets that lock."""
    with (folder / LOCK_NAME).open("a") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return ""
    return "two daemons hold one ledger"


def _free(left: Left) -> list[str]:
    """Whoever is gone holds nothing."""
    try:
        with only_one(left.folder):
            return []
    except SlackwaterError as error:
        return [str(error)]


ACTS = (
    Act(name="create", prepare=lambda _f: None, live=_created, look=_is_made),
    Act(
        name="open", prepare=_fresh, live=_opened, look=lambda left: whole(left, 2, [0])
    ),
    Act(
        name="append an intent",
        prepare=_fresh,
        live=lambda folder, say: _append(folder, say, [batch(0)]),
        look=lambda left: whole(left, 2, [2]),
    ),
    Act(
        name="intent, then outcome",
        prepare=_fresh,
        live=_settled,
        look=lambda left: whole(left, 2, [2, 1]),
    ),
    Act(
        name="checkpoint and witness",
        prepare=_fresh,
        live=_remembered,
        look=lambda left: whole(left, 2, [1, 1]),
    ),
    Act(
        name="take back what was half done, go on",
        prepare=_half_done,
        live=_taken_back,
        look=lambda left: whole(left, 2, [2]),
    ),
    Act(
        name="take back by a reader",
        prepare=_half_done,
        live=_taken_back_by_a_reader,
        look=lambda left: whole(left, 2, [0]),
    ),
    Act(
        name="verify",
        prepare=_fresh,
        live=_verified,
        look=lambda left: whole(left, 2, [0]),
    ),
    Act(
        name="bring up to date",
        prepare=_old,
        live=_brought_up,
        look=lambda left: whole(left, _old_count(), [0]),
    ),
    Act(
        name="lock",
        prepare=lambda _folder: None,
        live=_locked,
        look=_free,
        meanwhile=_held,
    ),
)
