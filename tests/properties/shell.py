"""The daemon's real loop on a ledger in memory, with clocks and a wire of our own.

What stands here in place of files, broker and system clock decides nothing: it keeps
entries in a list, hands commands to the bus and can end the daemon at a named point.
"""

import sys
from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from queue import SimpleQueue
from typing import Protocol, cast

from slackwater.errors import Finding, LedgerMovedError, NotConnectedError
from slackwater.facts.events import AnyEvent, DoseIntended
from slackwater.facts.fold import fold_all
from slackwater.facts.messages import (
    Beat,
    Handed,
    LinkChanged,
    Message,
    RunPump,
    StopPump,
    Tell,
)
from slackwater.facts.now import Now, proven_ms
from slackwater.facts.sight import Sight, recall, remember
from slackwater.facts.state import State
from slackwater.outside.alarm import SystemAlarm
from slackwater.outside.broker.observe import Observe
from slackwater.outside.mailbox import BoundedMailbox
from slackwater.outside.wire import Decoder, Heard, Root, run_bytes, stop_bytes, view_of
from slackwater.pump.outcome import Stamp
from slackwater.service.loop import one_pass
from slackwater.service.memory import Memory
from slackwater.service.run import take_charge
from slackwater.service.wiring import Places, Rig, setup_from
from tests.properties.bus import Bus, Parcel
from tests.service.launch import Wish

ROOT = Root(site="home", prefix="slackwater/1")
NOWHERE = Places(config=Path(), state=Path())
# While a dose waits the loop looks each second; a slow machine looks less often, and
# must be as safe.
SLOW_TICK_MS = 8_000
LINK_UP_MS = 50


class CrashError(Exception):
    """The process is gone at this very point."""


class Trap:
    """An audit hook that ends the daemon of a scenario at an armed point."""

    def __init__(self) -> None:
        """Begin unarmed."""
        self.wish: Wish | None = None

    def __call__(self, event: str, about: tuple[object, ...]) -> None:
        """Raise when the armed point is reached."""
        if self.wish is not None and self.wish.is_met(event, about):
            self.wish = None
            raise CrashError


@cache
def trap() -> Trap:
    """The one trap of this process; a hook cannot be taken out again."""
    made = Trap()
    sys.addaudithook(made)
    return made


@dataclass(slots=True, kw_only=True)
class Times:
    """True time and what the box makes of it; milliseconds since the beginning."""

    begin: datetime
    t_ms: int = 0
    shift_ms: int = 0
    booted_ms: int = -30 * 3_600_000
    boots: int = 1
    synchronised: bool = True

    def now(self) -> Now:
        """What the box's clocks say."""
        return Now(
            utc=self.begin + timedelta(milliseconds=self.t_ms + self.shift_ms),
            boot_s=(self.t_ms - self.booted_ms) / 1000,
            boot_id=f"boot-{self.boots}",
            synchronised=self.synchronised,
        )

    def true_ms(self, utc: datetime) -> int:
        """When the box's wall clock will say this, as things stand."""
        passed = utc - self.begin
        return int(passed.total_seconds() * 1000) - self.shift_ms


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """An entry with the true time, and when each node was truly heard last."""

    t_ms: int
    event: AnyEvent
    heard_ms: Mapping[str, int]
    now: Now


@dataclass(slots=True, kw_only=True)
class Book:
    """The ledger in memory: durable the moment it is appended.

    `sent` holds each command with the number of entries that were durable then;
    `stops` the true time of each stop and whom it was for, daemon by daemon.
    """

    times: Times
    entries: list[Written] = field(default_factory=list)
    sent: list[tuple[int, RunPump]] = field(default_factory=list)
    stops: list[tuple[int, str]] = field(default_factory=list)
    heard_ms: dict[str, int] = field(default_factory=dict)

    def events(self) -> list[AnyEvent]:
        """All entries in order."""
        return [written.event for written in self.entries]

    def append(self, events: Sequence[AnyEvent]) -> None:
        """Append, with the truth beside each entry."""
        heard_ms, now = dict(self.heard_ms), self.times.now()
        self.entries += [
            Written(t_ms=self.times.t_ms, event=event, heard_ms=heard_ms, now=now)
            for event in events
        ]

    def memory(self) -> "Remembering":
        """The memory of a daemon that begins now."""
        return BookMemory(self)

    def folded(self) -> State:
        """The state as a start would fold it."""
        return fold_all(State(), self.events())

    def sign(self, make: Callable[[State, Stamp], AnyEvent]) -> None:
        """Append one entry as a person on the machine would."""
        state, now = self.folded(), self.times.now()
        passed = 0 if state.mark is None else proven_ms(state.mark, now)
        self.append(
            [make(state, {"at": now.utc, "boot_s": now.boot_s, "proven_ms": passed})]
        )


class Remembering(Protocol):
    """What a daemon of a scenario needs of its memory."""

    state: State

    def append(self, events: Sequence[AnyEvent]) -> None:
        """Write, then fold."""

    def news(self) -> list[AnyEvent]:
        """What others wrote, already folded."""

    def intended(self, doses: Collection[str]) -> set[str]:
        """Which of these doses an entry has intended."""

    def refolded(self) -> State:
        """What a start would fold of the entries known here."""


class BookMemory:
    """`service.memory.Memory` on a book."""

    def __init__(self, book: Book) -> None:
        """Read everything there is."""
        self._book = book
        self._known = len(book.entries)
        self.state = book.folded()

    def append(self, events: Sequence[AnyEvent]) -> None:
        """Write, then fold; refuse when somebody else wrote first."""
        if self._known != len(self._book.entries):
            raise LedgerMovedError(_nothing("another wrote first"))
        asked = [one.dose.id for one in events if isinstance(one, DoseIntended)]
        if self.intended(asked):
            raise LedgerMovedError(_nothing("nothing is ever sent twice"))
        self._book.append(events)
        self._known = len(self._book.entries)
        fold_all(self.state, events)

    def news(self) -> list[AnyEvent]:
        """What others wrote, already folded."""
        events = [one.event for one in self._book.entries[self._known :]]
        self._known += len(events)
        fold_all(self.state, events)
        return events

    def intended(self, doses: Collection[str]) -> set[str]:
        """Which of these doses an entry has intended."""
        known = (one.event for one in self._book.entries)
        return {e.dose.id for e in known if isinstance(e, DoseIntended)} & {*doses}

    def refolded(self) -> State:
        """What a start would fold of the entries known here."""
        return fold_all(State(), self._book.events()[: self._known])


class BusLink:
    """A pump link onto the bus."""

    def __init__(self, bus: Bus, book: Book) -> None:
        """Keep where commands go, and where they are noted."""
        self._bus = bus
        self._book = book
        self._times = book.times
        self.up = False

    def run(self, command: RunPump) -> bool:
        """Send once; refuse while the link is known to be down."""
        if not self.up:
            raise NotConnectedError(_nothing("no link"))
        now_ms = self._times.t_ms
        self._book.sent.append((len(self._book.entries), command))
        self._bus.to_node(command.node, run_bytes(command, None), now_ms)
        self._bus.surely(Handed(attempt=command.attempt), now_ms + 2)
        return bool(now_ms % 7)

    def stop(self, command: StopPump) -> None:
        """Send a stop, if there is a link."""
        place = f"{command.node}/{command.channel}"
        self._book.stops.append((self._times.t_ms, f"{id(self)}/{place}"))
        if self.up:
            payload = stop_bytes(command, f"{self._times.t_ms:032x}", None)
            self._bus.to_node(command.node, payload, self._times.t_ms)

    def close(self) -> None:
        """Nothing is open."""


class Silence:
    """Observer, alarm and mailbox in one: it hears what it is given and tells nobody.

    `wake_utc` is what the loop asked of its alarm.
    """

    def __init__(self) -> None:
        """Begin with nothing to hear."""
        self.wake_utc: datetime | None = None
        self.waiting: list[Message] = []

    def collect(self, _timeout_s: float) -> tuple[Message, ...]:
        """Everything that waits."""
        messages = tuple(self.waiting)
        self.waiting.clear()
        return messages

    def tell(self, _message: Tell) -> None:
        """Say nothing."""

    def show(self, _topic: str, _document: dict[str, object]) -> None:
        """Show nothing."""

    def clear(self, _topic: str) -> None:
        """Nothing was shown."""

    def lying(self) -> frozenset[str]:
        """Nothing lies anywhere."""
        return frozenset()

    def hurry(self) -> None:
        """Nothing is waited for."""

    def wake_at(self, when: datetime | None) -> None:
        """Remember what was asked."""
        self.wake_utc = when

    def rebuild(self) -> None:
        """Nothing is kept that a clock step could spoil."""


class Daemon:
    """One life of the daemon, from taking charge to its death."""

    def __init__(self, book: Book, bus: Bus) -> None:
        """Take charge, as `service.run` does."""
        self.times = book.times
        self.silence = Silence()
        self.link = BusLink(bus, book)
        self.heard_ms = book.heard_ms = {}
        self.memory: Remembering = book.memory()
        memory = self.memory
        self.rig = Rig(
            mode="live",
            places=NOWHERE,
            clock=book.times,
            memory=cast("Memory", memory),
            mailbox=cast("BoundedMailbox", self.silence),
            chores=SimpleQueue(),
            observe=cast("Observe", self.silence),
            link=self.link,
            shadow=None,
            alarm=cast("SystemAlarm", self.silence),
            setup=setup_from(memory.state, None),
            sight=Sight(started_boot_s=book.times.now().boot_s),
        )
        recall(self.rig.sight, memory.state.courses)
        for series in memory.state.readings.values():
            remember(self.rig.sight, series)
        self.decoder = Decoder(root=ROOT, view=view_of(self.rig.setup.machine, {}))
        self.wake_ms = book.times.t_ms
        take_charge(self.rig)
        for name in ("observe", "actuate"):
            bus.surely(LinkChanged(link=name, up=True), self.times.t_ms + LINK_UP_MS)

    def hear(self, parcels: Sequence[Parcel]) -> None:
        """Let messages come in as the rim would."""
        for parcel in parcels:
            message = self._read(parcel)
            if message is None:
                continue
            if isinstance(message, Beat):
                self.heard_ms[message.node] = self.times.t_ms
            elif isinstance(message, LinkChanged) and message.link == "actuate":
                self.link.up = message.up
            self.silence.waiting.append(message)

    def live(self) -> bool:
        """One pass of the real loop; True when a person changed the stage."""
        one_pass(self.rig, 0.0)
        t_ms, wake = self.times.t_ms, self.silence.wake_utc
        wake_ms = t_ms + 600_000 if wake is None else self.times.true_ms(wake)
        self.wake_ms = wake_ms if wake_ms > t_ms + 1_000 else t_ms + SLOW_TICK_MS
        return not self.rig.fits

    def _read(self, parcel: Parcel) -> Message | None:
        if not isinstance(parcel, tuple):
            return parcel
        place, payload = parcel
        heard = Heard(
            topic=f"{ROOT.prefix}/{ROOT.site}/{place}",
            payload=payload,
            retained=False,
            now=self.times.now(),
        )
        decoded = self.decoder.decode(heard)
        return decoded if isinstance(decoded, Message) else None


def live_until_crash(daemon: Daemon) -> bool | None:
    """A pass, or None when the armed trap ended the daemon in it."""
    with suppress(CrashError):
        return daemon.live()
    return None


def _nothing(what: str) -> Finding:
    return Finding(what=what, where="a scenario", expected="luck", do="Look again.")
