"""A house under virtual time that is watched for alarms, as the daemon watches it.

It is the stage of the stories with the lookout beside its loop. `near`: nodes beat all
the time, and the lookout looks as often as it does in truth.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from typing import cast

from slackwater.facts.alarms import AlarmChanged, AlarmRaised
from slackwater.facts.events import AnyEvent, PlanApproved
from slackwater.facts.plan import Approval
from slackwater.facts.state import State
from slackwater.outside.broker.observe import Observe
from slackwater.pump.outcome import Stamp
from slackwater.service.alarming import LOOK_S, look
from slackwater.service.wiring import Rig
from tests.properties.shell import Silence
from tests.stories.stage import Stage
from tests.stories.story import Story, Table

MINUTE_MS, HOUR_MS = 60_000, 3_600_000
LOOK_MS = int(LOOK_S * 1000)
JUST_S = 10.0
# After midnight, between two doses of every line, the daemon being settled.
QUIET_MS, CLOSE_MS = 40 * MINUTE_MS, 3 * MINUTE_MS


class Board(Silence):
    """Hears what it is given, and keeps what is shown."""

    def __init__(self) -> None:
        """Begin with an empty board."""
        super().__init__()
        self.shown: dict[str, dict[str, object]] = {}
        self.found: set[str] = set()

    def lying(self) -> frozenset[str]:
        """What lay there, told once."""
        found, self.found = frozenset(self.found), set()
        return found

    def show(self, topic: str, document: dict[str, object]) -> None:
        """Hang a document up."""
        self.shown[topic] = document

    def clear(self, topic: str) -> None:
        """Take it away."""
        self.shown.pop(topic, None)


class Letters:
    """Everything that was sent to people, with its priority."""

    def __init__(self) -> None:
        """Begin with none."""
        self.sent: list[tuple[str, str, str | None]] = []

    def tell(self, title: str, body: str, priority: str | None = None) -> None:
        """Keep a letter."""
        self.sent.append((title, body, priority))

    def close(self) -> None:
        """Nothing waits."""


@dataclass(frozen=True, slots=True)
class Seen:
    """An entry of an alarm with its true time."""

    t_ms: int
    event: AlarmRaised | AlarmChanged


class Manned(Stage):
    """A stage with a lookout."""

    near: bool
    frozen_probe: bool
    looks: int
    board: Board
    letters: Letters

    def __init__(
        self,
        folder: Path,
        machine: Table | None = None,
        water: Table | None = None,
    ) -> None:
        """The house of the stories at its midnight, or one changed a little."""
        self.near, self.frozen_probe, self.looks = True, False, 0
        self.board, self.letters = Board(), Letters()
        story = Story(
            name="watched",
            tells="",
            begins=datetime(2026, 5, 3),  # noqa: DTZ001 -- wall time at the tank
            lasts=timedelta(days=60),
            overlay={"machine": machine or {}, "water": water or {}},
            without=(),
            happens=(),
            expect={},
        )
        super().__init__(story, folder)

    @property
    def rig(self) -> Rig:
        """The daemon's; there must be one."""
        assert self.daemon is not None
        return self.daemon.rig

    @property
    def state(self) -> State:
        """What the ledger says."""
        return self.rig.memory.state

    def pass_ms(self, span_ms: int) -> None:
        """Let so much time pass."""
        self.run(self.times.t_ms + span_ms)

    def settle(self) -> None:
        """Live to a quiet moment, looked at closely for its last minutes alone."""
        near, self.near = self.near, False
        self.pass_ms(QUIET_MS - CLOSE_MS)
        self.near = near
        self.pass_ms(CLOSE_MS)

    def pass_until(self, question: Callable[[], bool], most_ms: int) -> None:
        """Let time pass in steps of a second until something is so."""
        end_ms = self.times.t_ms + most_ms
        while not question():
            assert self.times.t_ms < end_ms, "it never was so"
            self.pass_ms(1000)

    def alarms(self, since_ms: int = 0) -> list[Seen]:
        """Entries of alarms from a true moment on."""
        return [
            Seen(one.t_ms, one.event)
            for one in self.book.entries
            if isinstance(one.event, AlarmRaised | AlarmChanged)
            and one.t_ms >= since_ms
        ]

    def raised(self, since_ms: int = 0) -> list[str]:
        """Names of the alarms told from a true moment on, in their order."""
        found = [seen.event for seen in self.alarms(since_ms)]
        return [one.alarm for one in found if isinstance(one, AlarmRaised)]

    def approve_again(self, change: Callable[[Approval], Approval]) -> None:
        """Sign the approval in force once more, changed."""
        self.book.sign(partial(_again, change))

    def step(self) -> None:
        """Everything that is due, and then a look."""
        had, beats = self.daemon, [post.beat_at_ms for post in self.posts.values()]
        super().step()
        daemon, now_ms = self.daemon, self.times.t_ms
        if daemon is None:
            return
        if daemon is not had:
            daemon.silence = self.board = Board()
            daemon.rig.observe = cast("Observe", self.board)
            daemon.rig.mailbox = self.board  # type: ignore[assignment]  # a fake
            daemon.rig.alarm = self.board  # type: ignore[assignment]  # a fake
            daemon.rig.post = self.letters
        if self.near:
            for post, beat_ms in zip(self.posts.values(), beats, strict=True):
                due = now_ms < beat_ms <= now_ms + LOOK_MS
                next_ms = beat_ms if due else now_ms + LOOK_MS
                post.beat_at_ms = min(post.beat_at_ms, next_ms)
        if now_ms >= self.frozen_until_ms and (self.near or self._all_are_heard()):
            look(daemon.rig)
            self.looks += 1

    def _all_are_heard(self) -> bool:
        """Where nodes beat now and then only, it is looked just after they did."""
        rig, boot_s = self.rig, self.times.now().boot_s
        beats = [seen.beat for seen in rig.sight.nodes.values()]
        return all(boot_s - beat.heard_boot_s < JUST_S for beat in beats)

    def _read(self) -> None:
        """Let the probe show the water, or again what it showed before."""
        if self.frozen_probe:
            self.number = -1
        super()._read()

    def _wake_ms(self) -> int:
        wake_ms = super()._wake_ms()
        if self.daemon is None or not self.near:
            return wake_ms
        return min(wake_ms, self.times.t_ms + LOOK_MS)


def _again(
    change: Callable[[Approval], Approval], state: State, stamp: Stamp
) -> AnyEvent:
    newest = state.approvals[-1]
    approval = Approval(
        serial=state.last_serial + 1,
        digest=newest.approval.digest,
        takes_over_at=stamp["at"],
        expires_at=newest.approval.expires_at,
        by="keeper",
        highest_daily_ul=newest.approval.highest_daily_ul,
        calibrations=newest.approval.calibrations,
        hardware=newest.approval.hardware,
    )
    return PlanApproved(
        **stamp,
        approval=change(approval),
        machine=newest.machine,
        plan=newest.plan,
        files=newest.files,
    )
