"""Decisions of the past, decided again by this version.

Floor 7. One subject: the replay of what was kept. Laws here: the same turn as the
daemon's, on the state the ledger folds to and the view that was kept; nothing is
written; a decision that comes out otherwise in any field is a difference.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from slackwater.facts.events import (
    AnyEvent,
    Checkpoint,
    ClockConfirmed,
    DoseHeld,
    DoseIntended,
    DoseMissed,
    SpanMissed,
    Started,
)
from slackwater.facts.fold import fold
from slackwater.facts.inputs import InputsKept
from slackwater.facts.now import Now
from slackwater.facts.reasons import Code
from slackwater.facts.seen_again import lay_out
from slackwater.facts.sight import Inbox, Sight, recall, remember
from slackwater.facts.state import State
from slackwater.facts.vouching import look_back
from slackwater.ledger.codec import load_state
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import newest_checkpoint, since_entry
from slackwater.service.wiring import setup_from
from slackwater.turn.setup import Setup
from slackwater.turn.step import turn

# A view keeps readings of 26 h: by then it is the one the daemon had.
WARM_UP = timedelta(hours=30)
DECISIONS = (DoseHeld, DoseMissed, DoseIntended, SpanMissed)


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """A decision that this version would not make so."""

    dose: str
    at: datetime
    then: str
    now: str


@dataclass(slots=True, kw_only=True)
class Replay:
    """What was decided again, and what came out otherwise."""

    decisions: int = 0
    differences: list[Difference] = field(default_factory=list)


def replayed(ledger: LedgerFile, since: datetime, until: datetime) -> Replay:
    """Decide again whatever was decided in a live ledger in that time.

    Decisions made before their inputs were kept are not among them.
    Raises: the ledger errors; InputError when an approved text cannot be read.
    """
    start = newest_checkpoint(ledger, since - WARM_UP)
    events = (entry.event for entry in since_entry(ledger, start))
    return replay(events, since, until)


def replay(events: Iterable[AnyEvent], since: datetime, until: datetime) -> Replay:
    """The same from entries in order, the first of a ledger or a checkpoint first."""
    past = _Past()
    found = Replay()
    for kept, made in _decided(past, events):
        if since <= kept.at < until:
            found.decisions += len(made)
            again = _again(past, kept)
            found.differences += _differences(kept.at, made, again)
        for event in (kept, *made):
            fold(past.state, event)
    return found


class _Past:
    """State and view as the daemon had them, entry by entry."""

    def __init__(self) -> None:
        """Begin before the first entry."""
        self.state = State()
        self.sight = Sight(started_boot_s=0.0)
        self.setup: Setup | None = None
        self._stands: object = None

    def take(self, event: AnyEvent) -> None:
        """Go on by one entry that decides nothing."""
        if isinstance(event, Checkpoint) and self.state.mark is None:
            self.state = load_state(event.state)
            self._look_anew(0.0)
        if isinstance(event, Started):
            self._look_anew(event.boot_s)
        if isinstance(event, ClockConfirmed):
            look_back(self.sight, event.at)
        fold(self.state, event)

    def set_up(self) -> Setup | None:
        """What the daemon was set up with; None while nothing was approved."""
        serials = tuple(entry.approval.serial for entry in self.state.approvals)
        stands = serials, dict(self.state.lowered)
        if self.setup is None or stands != self._stands:
            self._stands = stands
            fallback = None if self.setup is None else self.setup.machine
            if not serials and fallback is None:
                return None
            self.setup = setup_from(self.state, fallback)
        return self.setup

    def _look_anew(self, boot_s: float) -> None:
        """The view of a daemon that just started."""
        self.sight = Sight(started_boot_s=boot_s)
        recall(self.sight, self.state.courses)
        for series in self.state.readings.values():
            remember(self.sight, series)


def _decided(
    past: _Past, events: Iterable[AnyEvent]
) -> Iterator[tuple[InputsKept, list[AnyEvent]]]:
    """Each entry of inputs with the decisions behind it; the rest is the past."""
    kept: InputsKept | None = None
    made: list[AnyEvent] = []
    for event in events:
        if kept is not None:
            if _is_decision(event) and event.at == kept.at:
                made.append(event)
                continue
            yield kept, made
            kept, made = None, []
        if isinstance(event, InputsKept):
            kept = event
        else:
            past.take(event)
    if kept is not None:
        yield kept, made


def _is_decision(event: AnyEvent) -> bool:
    """Whether a turn made it; of a name given before the ledger alone could know."""
    codes = [reason.code for reason in getattr(event, "reasons", ())]
    return isinstance(event, DECISIONS) and Code.GIVEN_BEFORE not in codes


def _again(past: _Past, kept: InputsKept) -> list[AnyEvent]:
    setup, mark = past.set_up(), past.state.mark
    if setup is None or mark is None:
        return []
    lay_out(past.sight, kept, setup.machine)
    now = Now(
        utc=kept.at,
        boot_s=kept.boot_s,
        boot_id=mark.boot_id,
        synchronised=kept.synchronised,
    )
    done = turn(now, past.state, Inbox(sight=past.sight), setup)
    return list(done.events)


def _differences(
    at: datetime, made: list[AnyEvent], again: list[AnyEvent]
) -> Iterator[Difference]:
    then = {_dose(event): event for event in made}
    now = {_dose(event): event for event in again}
    for dose in sorted(then.keys() | now.keys()):
        if then.get(dose) != now.get(dose):
            yield Difference(
                dose=dose,
                at=at,
                then=_words(then.get(dose)),
                now=_words(now.get(dose)),
            )


def _dose(event: AnyEvent) -> str:
    if isinstance(event, DoseHeld):
        return event.dose_id
    if isinstance(event, DoseMissed | DoseIntended):
        return event.dose.id
    if isinstance(event, SpanMissed):
        codes = " ".join(reason.code for reason in event.reasons)
        return f"{event.tank}/{event.line}, long absence: {codes}"
    return f"entry {event.kind}"


def _words(event: AnyEvent | None) -> str:
    """A decision in a few words, with what usually differs."""
    if event is None:
        return "nothing"
    codes = ", ".join(reason.code for reason in getattr(event, "reasons", ()))
    if isinstance(event, DoseIntended):
        command = event.command
        run = f"{command.ul} uL in {command.ms} ms, cut {command.cut_ms} ms"
        return f"{event.verdict} {run}" + (f" ({codes})" if codes else "")
    return f"{event.kind.replace('_', ' ')}" + (f" ({codes})" if codes else "")
