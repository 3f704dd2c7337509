"""The daemon's own start, and one dose from due to settled, as an act to be struck.

The household of `steps` sails on in the child, with the daemon's real loop and ledger;
what its calls to the system meet the parent says. A daemon that is killed at a call is
dead from then on: not one of its calls reaches the disk, its files are put back as they
lay at that call, and the next daemon starts on them in water that went on.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from pathlib import Path

from slackwater.errors import LedgerError, SlackwaterError
from slackwater.facts.events import AnyEvent
from slackwater.facts.now import proven_ms
from slackwater.ledger.store import LedgerFile
from slackwater.service.memory import LIVE_NAME
from tests.faults import judge
from tests.faults.acts import BROKEN, LESS, START, Act, Left
from tests.faults.border import Say
from tests.faults.disk import AT_ONCE, DiskBook, DiskMemory
from tests.faults.sea import SECOND_MS, START_AGAIN_MS, Sea
from tests.faults.steps import LATER_MS, before_a_dose
from tests.faults.voyage import evidence, flows_of
from tests.properties.play import hush
from tests.properties.shell import Remembering, Written

SEED = 10
# A dose that was not begun may be begun so late (`homes.LATE_S`), and is settled soon.
LONG_ENOUGH_MS = 240 * SECOND_MS


class ToldMemory(DiskMemory):
    """Notes what nobody can say of: whether a write that failed is there."""

    def __init__(self, book: "ToldBook") -> None:
        """Open, prove by a write, read all."""
        super().__init__(book)
        self._told = book

    def append(self, events: Sequence[AnyEvent]) -> None:
        """Write durably, then fold."""
        try:
            super().append(events)
        except LedgerError:
            self._told.note_unclear(events)
            raise


@dataclass(slots=True, kw_only=True)
class ToldBook(DiskBook):
    """A book that says when a daemon starts, and reads what the one before left.

    `unclear` is the last write that failed, as it would stand among the entries.
    """

    say: Say | None = None
    unclear: list[Written] = field(default_factory=list)

    def note_unclear(self, events: Sequence[AnyEvent]) -> None:
        """Keep it until the file is read."""
        heard_ms, now = dict(self.heard_ms), self.times.now()
        self.unclear = [
            Written(t_ms=self.times.t_ms, event=event, heard_ms=heard_ms, now=now)
            for event in events
        ]

    def memory(self) -> Remembering:
        """The memory of a daemon that begins now."""
        if self.say is not None:
            self.say(START)
        memory = ToldMemory(self)
        durable = memory.after(len(self.entries))
        # What became durable though nobody was told: a start reads it too.
        if durable and durable != [written.event for written in self.unclear]:
            message = f"nobody wrote {durable}"
            raise AssertionError(message)
        self.entries += self.unclear if durable else []
        self.unclear = []
        return memory


class Dosing:
    """A household shortly before a dose is due; each try is a child's."""

    def __init__(self) -> None:
        """Nothing is there yet."""
        self._sea: Sea | None = None

    def prepare(self, folder: Path) -> None:
        """Sail there."""
        hush()
        self._sea = sea = before_a_dose(SEED, folder)
        sea.disk = ToldBook(
            **{one.name: getattr(sea.disk, one.name) for one in fields(sea.disk)}
        )
        sea.book = sea.disk
        # A start has little to read then, and what writes states is made for once.
        _checkpoint(sea)
        sea.ends_ms -= LATER_MS - LONG_ENOUGH_MS

    def live(self, folder: Path, say: Say) -> str:
        """Start a daemon and sail on until long after the dose; be judged."""
        sea = self._sea
        if sea is None or not isinstance(sea.disk, ToldBook):
            return f"{BROKEN}nothing was prepared"
        given = len(flows_of(sea))
        sea.disk.folder, sea.disk.say = folder, say
        sea.disk.look_anew()
        sea.starts_at_ms, sea.down_for_ms = sea.times.t_ms, SECOND_MS
        while sea.times.t_ms < sea.ends_ms:
            try:
                sea.run(sea.ends_ms)
            except OSError:
                # Zone data or clocks that cannot be read end a daemon, as any fault.
                sea.kill(START_AGAIN_MS)
        broken = judge.findings(evidence(sea))
        if broken:
            return f"{BROKEN}{'; '.join(broken[:3])}"
        all_of = len(flows_of(sea)) == given + len(sea.home.plan.lines)
        return "" if all_of else LESS

    def look(self, left: Left) -> list[str]:
        """The file is whole."""
        path = left.folder / LIVE_NAME
        try:
            with LedgerFile.open(path, writable=False, footing=AT_ONCE) as ledger:
                return [str(one) for one in ledger.verify_all()]
        except SlackwaterError as error:
            return [str(error)]


def _checkpoint(sea: Sea) -> None:
    memory, now = DiskMemory(sea.disk), sea.times.now()
    if memory.state.mark is not None:
        proven = proven_ms(memory.state.mark, now)
        memory.checkpoint({"at": now.utc, "boot_s": now.boot_s, "proven_ms": proven})
    memory.close()


def dosing() -> Act:
    """The act."""
    household = Dosing()
    return Act(
        name="start and dose",
        prepare=household.prepare,
        live=household.live,
        look=household.look,
        in_a_world=True,
    )
