"""The ledger, opened and folded for one verb.

Floor 8. One subject: reading what is, and adding to it. Laws here: what is appended was
decided on the newest entry there is, or not at all; an entry carries the three clocks;
a clock before the newest entry adds nothing but what makes it safer.
"""

import fcntl
import getpass
import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from errno import EACCES
from pathlib import Path
from typing import TypeVar

from slackwater.errors import Finding, InputError, LedgerMovedError, RefusedError
from slackwater.facts.events import AnyEvent, PlanApproved
from slackwater.facts.fold import fold_all
from slackwater.facts.now import Event, Now, proven_ms
from slackwater.facts.plan import Approval, Plan
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import Wanted, entries
from slackwater.outside.approved import machine_from, plan_from
from slackwater.outside.clock import SystemClock
from slackwater.pump.outcome import Stamp
from slackwater.service.memory import LIVE_NAME, read_state
from slackwater.service.standing import LOCK_NAME

# Somebody else may append between reading and writing; more often than this it is
# not bad luck.
TRIES = 5
# A ledger entry may be stamped a little after the clock was read.
BEHIND = timedelta(seconds=2)

EventT = TypeVar("EventT", bound=Event)
Decide = Callable[[State, Stamp], Sequence[AnyEvent]]


@dataclass(slots=True, kw_only=True)
class Opened:
    """An open ledger, its state, and the clocks when it was read."""

    ledger: LedgerFile
    state: State
    now: Now

    @property
    def proven_ms(self) -> int:
        """Proven time at this moment."""
        mark = self.state.mark
        return 0 if mark is None else proven_ms(mark, self.now)

    @property
    def stamp(self) -> Stamp:
        """The three clocks for an entry of this moment."""
        return {
            "at": self.now.utc,
            "boot_s": self.now.boot_s,
            "proven_ms": self.proven_ms,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Approved:
    """An approval with the records its text stands for."""

    approval: Approval
    machine: Machine
    plan: Plan


@contextmanager
def opened(state_dir: Path, *, writable: bool = False) -> Iterator[Opened]:
    """The live ledger of a directory, folded.

    Raises: LedgerMissingError and the other ledger errors; PermissionError when this
    user may not read it, or write it and its directory when it is to be written.
    """
    path = state_dir / LIVE_NAME
    if path.exists() and not _is_usable(path, writable=writable):
        raise PermissionError(EACCES, os.strerror(EACCES), str(path))
    with LedgerFile.open(path, writable=writable) as ledger:
        yield Opened(ledger=ledger, state=read_state(ledger), now=SystemClock().now())


def _is_usable(path: Path, *, writable: bool) -> bool:
    """Whether this user may; the disk would refuse in words of its own."""
    if not writable:
        return os.access(path, os.R_OK)
    return os.access(path, os.R_OK | os.W_OK) and os.access(path.parent, os.W_OK)


def write(
    state_dir: Path, decide: Decide, *, makes_safer: bool = False
) -> tuple[State, Sequence[AnyEvent]]:
    """Decide on the newest state and append what comes of it, in one transaction.

    Shape: the state with the new entries in it, and the entries; none is fine.
    Raises: whatever `decide` raises; RefusedError for a clock before the newest entry
    unless the entries make it safer; the ledger errors.
    """
    with opened(state_dir, writable=True) as found:
        for left in reversed(range(TRIES)):
            found.now = SystemClock().now()
            if not makes_safer:
                _refuse_early_clock(found)
            events = decide(found.state, found.stamp)
            try:
                found.ledger.append(events)
            except LedgerMovedError:
                if not left:
                    raise
                _read_on(found)
                continue
            return fold_all(found.state, events), events
    raise AssertionError


def only(events: Sequence[AnyEvent], kind: type[EventT]) -> EventT:
    """The first entry of a kind among those that were written; there is one."""
    return next(event for event in events if isinstance(event, kind))


def _read_on(found: Opened) -> None:
    while news := found.ledger.news():
        fold_all(found.state, (entry.event for entry in news))


def _refuse_early_clock(found: Opened) -> None:
    newest = found.state.newest_at
    if newest is None or found.now.utc >= newest - BEHIND:
        return
    raise RefusedError(
        Finding(
            what=f"the clock says {found.now.utc:%Y-%m-%dT%H:%M:%SZ}",
            where="clock",
            expected=f"not before the newest entry, {newest:%Y-%m-%dT%H:%M:%SZ}",
            do="Set the clock; if it is right, run `slackwater clock confirm` first.",
        )
    )


def read_approval(event: PlanApproved) -> Approved:
    """The records of an approval.

    Raises: InputError when its text is not what was approved.
    """
    return Approved(
        approval=event.approval,
        machine=machine_from(event.machine),
        plan=plan_from(event.plan),
    )


def approval_at(state: State, utc: datetime) -> Approved | None:
    """The approval that is in force at a moment; None when there is none."""
    begun = [one for one in state.approvals if one.approval.takes_over_at <= utc]
    return read_approval(max(begun, key=_rank)) if begun else None


def _rank(event: PlanApproved) -> tuple[datetime, int]:
    return event.approval.takes_over_at, event.approval.serial


def newest_approval(state: State) -> Approved | None:
    """The approval given last, in force or not yet; None when there is none."""
    return read_approval(state.approvals[-1]) if state.approvals else None


def given_last(ledger: LedgerFile) -> Approved | None:
    """The approval given last, even one that was withdrawn; None when none ever was.

    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    wanted = Wanted(kinds=("plan_approved",), limit=1, newest_first=True)
    for entry in entries(ledger, wanted):
        if isinstance(entry.event, PlanApproved):
            return read_approval(entry.event)
    return None


def daemon_is_here(state_dir: Path) -> bool | None:
    """Whether a daemon holds this directory; None when that cannot be seen."""
    try:
        lock = (state_dir / LOCK_NAME).open("rb")
    except FileNotFoundError:
        return False
    except OSError:
        return None
    with lock:
        try:
            # Shared and given back at once: it only asks.
            fcntl.flock(lock, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            return True
        except OSError:
            return None
    return False


def local_user() -> str:
    """Who is asking.

    Raises: InputError when the system has no name for this user.
    """
    try:
        return getpass.getuser()
    except (KeyError, OSError) as error:
        raise InputError(
            Finding(
                what="the system has no name for this user",
                where="--by",
                expected="a name for the record",
                do="Give one with --by NAME.",
            )
        ) from error
