"""The ledgers a mode works with, and the state they fold to.

Floor 7. One subject: remembering. Laws here: an entry is durable before it is folded;
shadow doses go to the shadow ledger and nothing else does; the fold never runs ahead
of the disk.
"""

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import Literal

from slackwater.errors import Finding, LedgerMissingError
from slackwater.facts.events import (
    AnyEvent,
    ChargeRaised,
    DoseEnded,
    DoseHanded,
    DoseHeld,
    DoseIntended,
    DoseMissed,
    DoseRefusedByNode,
    DoseSealed,
    DoseTaken,
    DoseVoided,
    LedgerMade,
    ResumeBegan,
    ResumeEnded,
    SpanMissed,
)
from slackwater.facts.fold import fold, fold_all
from slackwater.facts.inputs import InputsKept
from slackwater.facts.state import State
from slackwater.facts.waters import WaterChanged
from slackwater.ledger.codec import dump_state, load_state
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import intended
from slackwater.ports import Entry

LIVE_NAME = "slackwater.ledger"
SHADOW_NAME = "shadow.ledger"
Mode = Literal["shadow", "live", "calibrate"]

# What a shadow run writes aside; everything else is true and belongs to the ledger.
ASIDE = (
    InputsKept,
    DoseHeld,
    DoseMissed,
    SpanMissed,
    DoseIntended,
    DoseHanded,
    DoseTaken,
    DoseEnded,
    DoseRefusedByNode,
    DoseVoided,
    DoseSealed,
    ChargeRaised,
    ResumeBegan,
    ResumeEnded,
)
# What a daemon books itself is an exchange of two pumps, imagined as they were; what
# people tell of their buckets is true, and comes as news.
OWN_ASIDE = (*ASIDE, WaterChanged)


def read_state(ledger: LedgerFile) -> State:
    """The state of a ledger: its last checkpoint and what came after."""
    text, entries = ledger.load()
    state = State() if text is None else load_state(text)
    return fold_all(state, (entry.event for entry in entries))


class Memory:
    """The live ledger and, in shadow, the one beside it."""

    def __init__(self, directory: Path, mode: Mode) -> None:
        """Keep where the ledgers are; `open` reads them."""
        self._directory = directory
        self._mode = mode
        self._live: LedgerFile | None = None
        self._aside: LedgerFile | None = None
        self._true_state = State()
        self.state = State()

    def open(self) -> None:
        """Open and fold.

        Raises: LedgerMissingError and the other ledger errors.
        """
        self._live = LedgerFile.open(self._directory / LIVE_NAME)
        self._live.probe_write()
        self._true_state = read_state(self._live)
        if self._mode != "shadow":
            self.state = self._true_state
            return
        self.state = _for_shadow(self._true_state)
        self._aside = _open_aside(self._directory / SHADOW_NAME, self._true_state)
        _, entries = self._aside.load()
        for entry in entries:
            if isinstance(entry.event, OWN_ASIDE):
                fold(self.state, entry.event)
        _true_stores(self.state, self._true_state)
        _newest_clock(self.state, self._true_state)

    @property
    def ledger(self) -> LedgerFile:
        """The live ledger.

        Raises: LedgerMissingError before `open`.
        """
        if self._live is None:
            raise LedgerMissingError(_not_open())
        return self._live

    def append(self, events: Sequence[AnyEvent]) -> None:
        """Write durably, then fold.

        Raises: LedgerMovedError when somebody else wrote first: read `news`, decide
        anew; the other ledger errors.
        """
        aside = [event for event in events if isinstance(event, OWN_ASIDE)]
        if self._aside is None:
            self.ledger.append(events)
            fold_all(self.state, events)
            return
        true = [event for event in events if not isinstance(event, OWN_ASIDE)]
        if true:
            self.ledger.append(true)
            fold_all(self._true_state, true)
        if aside:
            self._aside.append(aside)
        fold_all(self.state, events)
        _true_stores(self.state, self._true_state)

    def intended(self, doses: Collection[str]) -> set[str]:
        """Which of these doses the ledger knows as intended, whatever the state knows.

        Raises: the ledger errors.
        """
        return intended(self._aside or self.ledger, doses)

    def news(self) -> list[AnyEvent]:
        """What others wrote; already folded when it is given back."""
        events = [entry.event for entry in self._all_news()]
        fold_all(self._true_state, events)
        if self._aside is not None:
            for event in events:
                if not isinstance(event, ASIDE):
                    fold(self.state, event)
        return events

    def _all_news(self) -> list[Entry]:
        news: list[Entry] = []
        while part := self.ledger.news():
            news.extend(part)
        return news

    def state_text(self) -> str:
        """The true state as a checkpoint holds it."""
        return dump_state(self._true_state)

    def close(self) -> None:
        """Close both files."""
        for ledger in (self._live, self._aside):
            if ledger is not None:
                ledger.close()


def _for_shadow(true: State) -> State:
    """A state of its own for imagined doses: real open runs are not its business."""
    state = load_state(dump_state(true))
    state.open.clear()
    state.closed.clear()
    state.held.clear()
    return state


def _true_stores(state: State, true: State) -> None:
    """Let imagined runs draw nothing of a bottle and wear no tube.

    A level that is read beside what was imagined would call a sound pump far off, and
    a bottle that was filled in shadow would be empty after the next start.
    """
    state.drawn_ul = _as_true(state.drawn_ul, true.drawn_ul)
    state.runs = _as_true(state.runs, true.runs)
    state.run_ms = _as_true(state.run_ms, true.run_ms)


def _as_true(counted: Mapping[str, int], true: Mapping[str, int]) -> dict[str, int]:
    """What is true of every pump that is known; nothing of one that only imagined."""
    return {pump: true.get(pump, 0) for pump in {**counted, **true}}


def _newest_clock(state: State, true: State) -> None:
    """Proven time goes on from the newer of the two ledgers."""
    if state.mark is None or true.mark is None:
        return
    if true.mark.proven_ms > state.mark.proven_ms:
        state.mark.utc = true.mark.utc
        state.mark.boot_s = true.mark.boot_s
        state.mark.boot_id = true.mark.boot_id
        state.mark.proven_ms = true.mark.proven_ms
    else:
        state.mark.boot_id = true.mark.boot_id


def _open_aside(path: Path, true: State) -> LedgerFile:
    if path.exists():
        return LedgerFile.open(path, "shadow")
    mark = true.mark
    if mark is None:
        raise LedgerMissingError(_not_open())
    made = LedgerMade(
        at=mark.utc,
        boot_s=mark.boot_s,
        proven_ms=mark.proven_ms,
        ledger_id=f"{true.ledger_id}-shadow",
        boot_id=mark.boot_id,
        answered=True,
        by="daemon",
    )
    return LedgerFile.create(path, made, "shadow")


def _not_open() -> Finding:
    return Finding(
        what="the ledger is not open",
        where=LIVE_NAME,
        expected="an open ledger",
        do="Run `slackwater init` once, then start again.",
    )
