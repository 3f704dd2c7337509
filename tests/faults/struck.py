"""Every system call of a ledger's life struck: by an error, cut short, or its last.

`python -m tests.faults.struck [MOST]` lives each act of a ledger (`acts`, `errands`,
`dosing`) once to see its calls, then again for each call and each fault of `FAULTS`,
all of them or so many, drawn; and looks at what is left. Prints what it met, ends
with 1 when a law was broken. A strike is told as act, call, number of it among those of
its name, and fault; with these four words instead of MOST it is struck once more.

Which errors a call may end with is in its page of the manual (Linux man-pages 6.03,
section 2, ERRORS); EIO may come from any of them, where a disk breaks, and EROFS, where
a file system was made read-only after its first error.
"""

import errno
import os
import shutil
import signal
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from math import ceil
from pathlib import Path
from random import Random
from types import TracebackType
from typing import NamedTuple

from slackwater.errors import LedgerDamagedError, SlackwaterError
from tests.faults.acts import (
    ACTS,
    BROKEN,
    DAMAGED,
    LEFT_OPEN,
    LESS,
    VOUCH,
    Act,
    Left,
)
from tests.faults.border import GO, KILL, NAMES, SHORT, Life, Say, is_there, watched
from tests.faults.dosing import dosing
from tests.faults.errands import ERRANDS
from tests.faults.steps import OURS
from tests.faults.voyage import SHELF

ALL = (*ACTS, *ERRANDS)
KILLED, CUT, TORN = "killed", "short", "torn"
# A disk that is full, broken or read-only stays so: this call and all later ones.
LASTS = " for good"
_FULL = ("EIO", "ENOSPC", "EDQUOT", "EROFS")
_WRITE = (*_FULL, "EINTR", *(f"{one}{LASTS}" for one in _FULL[:2]), CUT, TORN)
_SYNC = (*_FULL, "EINTR", *(f"{one}{LASTS}" for one in _FULL[:2]))
_NAME = (*_FULL, "ENOMEM")
FAULTS = {
    "openat": (KILLED, *_FULL, "EINTR", "EMFILE", "ENOMEM", "EACCES"),
    "read": ("EIO", "EINTR"),
    "pread64": ("EIO", "EINTR"),
    "write": (KILLED, *_WRITE),
    "pwrite64": (KILLED, *_WRITE),
    "fsync": (KILLED, *_SYNC),
    "fdatasync": (KILLED, *_SYNC),
    "ftruncate": (KILLED, "EIO", "EROFS", "EINTR"),
    "unlink": (KILLED, "EIO", "EROFS", "ENOMEM", "EACCES"),
    "rename": (KILLED, *_NAME),
    "link": (KILLED, *_NAME),
    "mkdir": (KILLED, *_NAME),
    "fchmod": (KILLED, "EIO", "EROFS", "EPERM"),
    "stat": ("EIO",),
    "access": ("EIO",),
    "lock": ("ENOLCK",),
    "flock": ("ENOLCK", "EINTR"),
}


class Strike(NamedTuple):
    """One fault at one call of an act."""

    act: str
    call: str
    number: int
    fault: str

    @property
    def kills(self) -> bool:
        """Whether nobody lives on."""
        return self.fault in (KILLED, TORN)

    @property
    def now(self) -> int:
        """What becomes of that call."""
        if self.fault in (KILLED, CUT, TORN):
            return KILL if self.fault == KILLED else SHORT
        return int(getattr(errno, self.fault.removesuffix(LASTS)))

    @property
    def later(self) -> int:
        """What becomes of the calls after it."""
        if self.fault == TORN:
            return KILL
        return self.now if self.fault.endswith(LASTS) else GO

    def is_expected(self, said: str) -> bool:
        """Whether these last words may come of it."""
        if said in (DAMAGED, LedgerDamagedError.__name__):
            return self.fault == "EIO" and self.call in ("read", "pread64")
        return not said.startswith(BROKEN)


@dataclass(slots=True)
class Fate:
    """What becomes of each call of one life of an act, on the files of a folder.

    `image` is where the files lie as they were at a death in a world that goes on.
    """

    act: Act
    folder: Path
    strike: Strike | None
    begun: bool = False
    over: bool = False
    image: Path | None = None
    found: list[str] = field(default_factory=list)

    @property
    def names(self) -> Sequence[str]:
        """The calls that have to be seen."""
        strike = self.strike
        if strike is None or (self.act.in_a_world and strike.kills):
            return NAMES
        if not strike.fault.endswith(LASTS):
            return (strike.call,)
        return [name for name, known in FAULTS.items() if strike.fault in known]

    def rule(self, number: int, name: str) -> int:
        """What becomes of this call."""
        strike = self.strike
        if strike is None or self.over:
            return GO
        if self.image is not None:
            return errno.EIO
        was = self.begun
        self.begun = was or (name, number) == (strike.call, strike.number)
        verdict = strike.later if was else strike.now if self.begun else GO
        if verdict == KILL and self.act.in_a_world:
            self.image = self.folder.with_name("image")
            shutil.copytree(self.folder, self.image)
            return errno.EIO
        return verdict

    def hear(self, word: str) -> None:
        """A word of the one who lives: a vow is tried, a new start ends the strike."""
        if word == VOUCH:
            self.found += filter(None, [self.act.meanwhile(self.folder)])
            return
        self.over = self.begun
        if self.image is not None:
            shutil.rmtree(self.folder)
            self.image.rename(self.folder)
            self.image = None


@dataclass(slots=True, kw_only=True)
class Tally:
    """What came of strikes: by act, by fault, by last words, and what was broken."""

    struck: set[Strike] = field(default_factory=set)
    ends: Counter[str] = field(default_factory=Counter)
    broken: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        """The figures, for people."""
        by_act = Counter(strike.act for strike in self.struck)
        by_fault = Counter(strike.fault for strike in self.struck)
        lines = [
            f"system calls struck: {len(self.struck)}, {len(self.broken)} broke a law",
            *(f"  {count:5}  {name}" for name, count in by_act.items()),
            "by fault: " + _counted(by_fault),
            "it ended: " + _counted(self.ends),
        ]
        return "\n".join([*lines, *self.broken[:20]])


def _counted(many: Counter[str]) -> str:
    return ", ".join(f"{name} {count}" for name, count in many.most_common())


@dataclass(slots=True)
class Bench:
    """A folder in which acts are prepared, and lived on copies."""

    folder: Path

    def ready(self, act: Act) -> None:
        """Prepare it, and live it once so that everything it needs is loaded."""
        home = self.folder / act.name
        home.mkdir()
        act.prepare(home)
        if not act.in_a_world:
            copy = self._copy(act)
            act.live(copy, _unheard)
            while LEFT_OPEN:
                LEFT_OPEN.pop().close()
            shutil.rmtree(copy)

    def calls(self, act: Act) -> list[str]:
        """The calls of it, when nothing goes wrong."""
        life, found = self._life(act, None)
        if found or life.code or life.said or not life.heard:
            message = f"{act.name}: {life} {found}"
            raise SystemExit(message)
        return life.calls

    def strike(self, act: Act, strike: Strike) -> tuple[Life, list[str]]:
        """One strike, and what is wrong with what came of it."""
        life, found = self._life(act, strike)
        if life.calls.count(strike.call) < strike.number:
            found.append("it was not struck")
        fine = {"", LESS} if act.in_a_world else {life.said}
        if life.said not in fine or not strike.is_expected(life.said):
            found.append(life.said)
        if life.code not in _codes(act, strike):
            found.append(f"it ended with {life.code}")
        return life, found

    def _life(self, act: Act, strike: Strike | None) -> tuple[Life, list[str]]:
        copy = self._copy(act)
        fate = Fate(act, copy, strike)
        life = watched(
            lambda say: _lived(act, copy, say), fate.rule, fate.hear, fate.names
        )
        vouched = life.heard.count(VOUCH)
        left = Left(folder=copy, vouched=vouched, said=life.said)
        found = [*fate.found, *act.look(left)]
        shutil.rmtree(copy)
        if fate.image is not None:
            shutil.rmtree(fate.image)
            found.append("nobody started after it died")
        return life, found

    def _copy(self, act: Act) -> Path:
        copy = self.folder / "life"
        shutil.copytree(self.folder / act.name, copy)
        return copy


def _codes(act: Act, strike: Strike) -> tuple[int, ...]:
    """How the process may end."""
    if act.in_a_world or not strike.kills:
        return (0,)
    # After half a write there may be no other one to die at.
    return (-signal.SIGKILL,) if strike.fault == KILLED else (-signal.SIGKILL, 0)


def _unheard(word: str) -> None:
    """Whoever lives an act in this process has nobody to say a word to."""


def _lived(act: Act, folder: Path, say: Say) -> str:
    """The last words of a life; an error that is none of ours is a fault of its own."""
    try:
        return act.live(folder, say)
    except SlackwaterError as error:
        return type(error).__name__
    except Exception as error:  # noqa: BLE001 -- whatever ends it is a finding
        return f"{BROKEN}{error!r} in {' '.join(_places(error.__traceback__))}"


def _places(trace: TracebackType | None) -> Iterator[str]:
    """Where in the daemon it happened; no file is read for it."""
    while trace is not None:
        code = trace.tb_frame.f_code
        if OURS in code.co_filename:
            yield f"{Path(code.co_filename).stem}:{trace.tb_lineno}"
        trace = trace.tb_next


def strikes(act: Act, calls: Sequence[str]) -> Iterator[Strike]:
    """All strikes of an act that makes these calls."""
    for call, many in Counter(calls).items():
        for number in range(1, many + 1):
            faults = FAULTS[call]
            if act.in_a_world:
                # It makes a thousand calls: each meets one fault, in turn.
                faults = (faults[number % len(faults)],)
            for fault in faults:
                yield Strike(act.name, call, number, fault)


def struck(acts: Sequence[Act], most: int | None = None) -> Tally:
    """Strike all there is, or at least so many, of each act its share."""
    tally = Tally()
    with tempfile.TemporaryDirectory(dir=SHELF if SHELF.is_dir() else None) as name:
        bench = Bench(Path(name))
        for act in acts:
            bench.ready(act)
        every = [(act, [*strikes(act, bench.calls(act))]) for act in acts]
        total = sum(len(all_of) for _, all_of in every)
        share = Fraction(most or total, total)
        for act, strike in _drawn(every, min(share, Fraction(1))):
            life, found = bench.strike(act, strike)
            tally.struck.add(strike)
            tally.ends[life.said or ("died" if life.code else "done")] += 1
            if found:
                told = " ".join(f"'{word}'" for word in strike)
                tally.broken.append(f"{told}: {'; '.join(found)}")
    return tally


def _drawn(
    every: Sequence[tuple[Act, list[Strike]]], share: Fraction
) -> Iterator[tuple[Act, Strike]]:
    """This share of the strikes of each act, by a chance that is always the same."""
    chance = Random(8)  # noqa: S311 -- to be repeated, not to be secret
    for act, all_of in every:
        for strike in chance.sample(all_of, ceil(len(all_of) * share)):
            yield act, strike


def again(words: Sequence[str]) -> int:
    """Strike once, by the words that tell of it; the calls it made are told."""
    name, call, number, fault = words
    strike = Strike(name, call, int(number), fault)
    with tempfile.TemporaryDirectory(dir=SHELF if SHELF.is_dir() else None) as folder:
        bench = Bench(Path(folder))
        act = next(act for act in (*ALL, dosing()) if act.name == name)
        bench.ready(act)
        life, found = bench.strike(act, strike)
    sys.stdout.write("\n".join([str(life), *found, ""]))
    return int(bool(found))


def main(words: Sequence[str]) -> int:
    """Strike, print, end with 1 when any strike broke a law."""
    if not is_there():
        sys.stdout.write("NOT TRIED HERE: system calls, this kernel asks nobody\n")
        return 0
    if len(words) == len(Strike._fields):
        return again(words)
    tally = struck([*ALL, dosing()], int(words[0]) if words else None)
    spent = os.times()
    seconds = spent.user + spent.system + spent.children_user + spent.children_system
    sys.stdout.write(f"{tally}\nin {seconds:.0f} processor seconds\n")
    return int(bool(tally.broken))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
