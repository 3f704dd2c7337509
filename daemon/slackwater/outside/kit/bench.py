"""One node on a bench: single steps that everything else is made of.

Floor 6. One subject: sending one command and waiting for what must follow. Laws here:
a wait ends with its condition or its time, and says which; what the node says counts
only in form and, with a key, under its code.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

from slackwater.outside.kit.cases import Case
from slackwater.outside.kit.plate import (
    At,
    Moment,
    Plate,
    Shape,
    Value,
    altered,
    base,
    resolved,
    signed,
    written,
)
from slackwater.outside.wire import (
    BeatPayload,
    ResultPayload,
    Spoiled,
    is_signed_by,
    read_strictly,
)

# A node has this long to answer; then it has not.
PATIENCE_S = 5.0
# A beat comes every five seconds, and may be lost twice.
BEAT_S = 15.0


@dataclass(slots=True, kw_only=True)
class Told:
    """What a node said, in order; `spoilt` is what was not in form or not its own."""

    key: bytes = field(default=b"", repr=False)
    beats: list[BeatPayload] = field(default_factory=list)
    results: list[ResultPayload] = field(default_factory=list)
    spoilt: list[str] = field(default_factory=list)

    def take(self, suffix: str, payload: bytes) -> None:
        """Keep a beat or a result."""
        read = (
            read_strictly(payload, BeatPayload)
            if suffix == "beat"
            else read_strictly(payload, ResultPayload)
        )
        if isinstance(read, Spoiled):
            self.spoilt.append(f"{suffix}: {read.why} {read.detail}".strip())
        elif self.key and not is_signed_by(read.plain, self.key):
            self.spoilt.append(f"{suffix}: not under the key")
        elif isinstance(read.model, BeatPayload):
            self.beats.append(read.model)
        else:
            self.results.append(read.model)


class Wire(Protocol):
    """A line to the node, on a broker or in memory.

    `delivers_old` says whether it can hand over a message as one the broker had kept.
    """

    @property
    def told(self) -> Told:
        """What arrived so far."""

    @property
    def delivers_old(self) -> bool:
        """Whether `say(old=True)` does what it says."""

    def say(
        self, suffix: str, payload: bytes, *, retain: bool = False, old: bool = False
    ) -> None:
        """Send to the node."""

    def look(self, at_most_s: float) -> float:
        """Wait for something, at most so long; give the seconds that went by."""

    def up_ms(self) -> int:
        """The node's uptime by its last beat, carried on to now."""

    def new_id(self) -> str:
        """An id never used before."""


@dataclass(slots=True, kw_only=True)
class Bench:
    """A head, the line to it, and what one may do with both."""

    wire: Wire
    plate: Plate

    @property
    def told(self) -> Told:
        """What the node said so far."""
        return self.wire.told

    def until(self, met: Callable[[], bool], at_most_s: float = BEAT_S) -> bool:
        """Wait for a condition; whether it came about in time."""
        left_s = at_most_s
        while not met():
            if left_s <= 0:
                return False
            left_s -= self.wire.look(left_s)
        return True

    def n(self) -> int:
        """The number the head expects next."""
        return self.told.beats[-1].chan[self.plate.chan].n

    def state(self) -> str:
        """The state the last beat shows."""
        return self.told.beats[-1].chan[self.plate.chan].state

    def room_ul(self) -> int:
        """What the head may still deliver."""
        return self.told.beats[-1].chan[self.plate.chan].budget_ul

    def hour(self) -> int:
        """The running hour of the node's own time."""
        return self.told.beats[-1].up // 3_600_000

    def marks(self) -> dict[str, object]:
        """What a refusal must leave alone."""
        beat = self.told.beats[-1]
        head = beat.chan[self.plate.chan]
        return {
            "n": head.n,
            "fence": beat.fence,
            "odo_ul": head.odo_ul,
            "odo_ms": head.odo_ms,
            "last": head.last.id if head.last else "",
        }

    def send(self, case: Case, command_id: str = "") -> str:
        """Send one command; give its id."""
        moment, plate = self._moment(), self.plate
        changes = resolved(case.changes, plate, moment)
        command_id = str(changes.get("id") or command_id or self.wire.new_id())
        whole = {**base(plate, moment, case.act, command_id), **changes}
        fields = signed(whole, plate.key)
        if case.altered:
            fields = altered(fields, case.altered)
        self.wire.say("command", written(fields, case.shape), old=case.retained)
        return command_id

    def run(self, **changes: Value) -> str:
        """Send a run nothing is wrong with; give its id."""
        return self.send(Case(name="", rule="", answer="taken", changes=changes))

    def run_left_lying(self) -> str:
        """Leave a run on the broker for whoever subscribes next; give its id."""
        moment, plate = self._moment(), self.plate
        command_id = self.wire.new_id()
        # Of another power-up, so that it cannot run whoever takes it.
        fields = {**base(plate, moment, "run", command_id), "boot": "0" * 16}
        payload = written(signed(fields, plate.key), Shape())
        self.wire.say("command", payload, retain=True)
        self.until(lambda: bool(self.answers(command_id)), PATIENCE_S)
        # The living node has refused its copy for what it is; that does not count.
        self.told.results[:] = [x for x in self.told.results if x.id != command_id]
        return command_id

    def stop(self, *, every_channel: bool = False) -> None:
        """Send a stop."""
        changes: dict[str, Value] = {"chan": None} if every_channel else {}
        self.send(Case(name="", rule="", answer="quiet", act="stop", changes=changes))

    def start_long(self) -> bool:
        """Start the longest run there is; whether it runs."""
        command_id = self.run(ul=At("long_ul"), ms=At("long_ms"), cut_ms=At("long_ms"))
        if self.first(command_id) != "taken":
            return False
        return self.until(lambda: self.state() == "running")

    def whole_run(self) -> ResultPayload | None:
        """A run left alone until it ends; how it ended, None when nothing was told."""
        command_id = self.run()
        run_s = self.plate.figures()["ms"] / 1000
        self.until(lambda: bool(self._ends(command_id)), PATIENCE_S + run_s)
        ends = self._ends(command_id)
        return ends[0] if ends else None

    def first(self, command_id: str, patience_s: float = PATIENCE_S) -> str:
        """The first answer to an id, empty when none comes."""
        self.until(lambda: bool(self.answers(command_id)), patience_s)
        mine = self.answers(command_id)
        return phase_of(mine[0]) if mine else ""

    def answers(self, command_id: str) -> list[ResultPayload]:
        """What was said to an id, in order."""
        return [result for result in self.told.results if result.id == command_id]

    def hold(self) -> bool:
        """Set the hold; whether a beat shows it."""
        self.wire.say("hold", b'{"by":"conform","v":1}', retain=True)
        return self.until(lambda: self.told.beats[-1].hold)

    def rest(self) -> bool:
        """Stop what runs, take a hold back; whether the head is idle again."""
        self.wire.say("hold", b"", retain=True)
        self.stop()
        count = len(self.told.beats)
        self.until(lambda: len(self.told.beats) > count)
        return self.until(lambda: self.state() == "idle")

    def _moment(self) -> Moment:
        beat = self.told.beats[-1]
        return Moment(
            boot=beat.boot,
            n=self.n(),
            fence=beat.fence,
            up=self.wire.up_ms(),
            room=self.room_ul(),
        )

    def _ends(self, command_id: str) -> list[ResultPayload]:
        return [one for one in self.answers(command_id) if one.phase == "ended"]


def phase_of(result: ResultPayload) -> str:
    """Phase and reason in two words."""
    return f"{result.phase} {result.reason}".strip()
