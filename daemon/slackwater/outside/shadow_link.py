"""A pump link for the shadow run: it imagines, and cannot send.

Floor 6. One subject: simulated runs beside real beats. Laws here: no object in this
file can publish anything; a simulated run follows the node's own rules of acceptance;
equal calls at equal times give equal answers.
"""

from dataclasses import dataclass, field, replace

from slackwater.errors import Finding, NotConnectedError
from slackwater.facts.messages import (
    Beat,
    Channel,
    LastRun,
    Message,
    Phase,
    Result,
    RunPump,
    StopPump,
)
from slackwater.ports import Clock

# A node counts its budget in one-hour slots of its own uptime: the running one and
# the 24 before it.
_HOUR_MS = 3_600_000
_SLOTS_BEFORE = 24
# By then a run has left every slot.
_BUDGET_S = 26 * 3600.0
# Earlier boots of a node that a late beat may still speak of.
_BOOTS_KEPT = 8


@dataclass(slots=True, kw_only=True)
class _Run:
    """One simulated run; `end_boot_s` moves when it is stopped."""

    command: RunPump
    begin_boot_s: float
    end_boot_s: float
    reason: str = "complete"
    told: bool = False

    def ran_ms(self) -> int:
        return min(round((self.end_boot_s - self.begin_boot_s) * 1000), self.command.ms)

    def given_ul(self) -> int:
        return self.command.ul * self.ran_ms() // self.command.ms


@dataclass(slots=True, kw_only=True)
class _Virtual:
    """What one channel counted in imagination since its node's last boot.

    `runs` holds what may still matter to budget or results; the rest is in the sums.
    """

    runs: list[_Run] = field(default_factory=list)
    older: int = 0
    older_ul: int = 0
    older_ms: int = 0

    def taken(self) -> int:
        return self.older + len(self.runs)

    def forget(self, before_boot_s: float) -> None:
        # The newest stays: a beat shows it as the last run.
        while len(self.runs) > 1 and self.runs[0].told:
            if self.runs[0].end_boot_s >= before_boot_s:
                return
            run = self.runs.pop(0)
            self.older += 1
            self.older_ul += run.given_ul()
            self.older_ms += run.ran_ms()


@dataclass(slots=True, kw_only=True)
class _Node:
    """The newest real beat of a node and what is imagined on top of it."""

    beat: Beat
    channels: dict[str, _Virtual] = field(default_factory=dict)

    def up_ms(self, boot_s: float) -> int:
        passed_ms = round((boot_s - self.beat.heard_boot_s) * 1000)
        return max(0, self.beat.up + passed_ms)

    def virtual(self, channel: str) -> _Virtual:
        return self.channels.setdefault(channel, _Virtual())

    def running(self, boot_s: float) -> list[_Run]:
        return [
            run
            for virtual in self.channels.values()
            for run in virtual.runs
            if run.end_boot_s > boot_s
        ]


class ShadowLink:
    """Takes commands as a pump link does and answers as a node would."""

    def __init__(self, clock: Clock) -> None:
        """Keep the clock that dates the simulated runs."""
        self._clock = clock
        self._nodes: dict[str, _Node] = {}
        self._boots: dict[str, dict[str, _Node]] = {}
        self._answers: list[Result] = []

    def run(self, command: RunPump) -> bool:
        """Simulate a run; the answers come from `due`.

        Raises: NotConnectedError when no beat of the node was ever laid over.
        """
        node = self._nodes.get(command.node)
        if node is None:
            raise NotConnectedError(
                Finding(
                    what="no beat of the node was heard",
                    where=f"node {command.node}",
                    expected="a beat before the first command",
                    do="Wait for the node, or look why it is silent.",
                )
            )
        self._take(node, command, self._clock.now().boot_s)
        return True

    def stop(self, command: StopPump) -> None:
        """End the simulated runs of a channel, or of the whole node, now."""
        node = self._nodes.get(command.node)
        if node is not None:
            _end(node, self._clock.now().boot_s, command.channel)

    def close(self) -> None:
        """Nothing is open."""

    def overlay(self, beat: Beat) -> Beat:
        """A real beat with the simulated runs of this boot laid over it.

        Numbers and odometers grow by what was simulated, the budget shrinks by what
        the node's own slots would still count, and an idle channel shows the run that
        is being simulated. A node that is held ends its simulated run.
        """
        node = self._nodes[beat.node] = self._of_boot(beat)
        if beat.up >= node.beat.up:
            node.beat = beat
        if beat.hold:
            _end(node, beat.heard_boot_s, "")
        channels = {
            name: _laid_over(node, channel, node.virtual(name), beat)
            for name, channel in beat.channels.items()
        }
        return replace(beat, channels=channels)

    def _of_boot(self, beat: Beat) -> _Node:
        """What is imagined of this very boot.

        A late beat of the boot before, and then a true one, must not let it fall.
        """
        boots = self._boots.setdefault(beat.node, {})
        if beat.boot not in boots:
            boots[beat.boot] = _Node(beat=beat)
        if len(boots) > _BOOTS_KEPT:
            del boots[next(iter(boots))]
        return boots[beat.boot]

    def due(self, now_boot_s: float) -> list[Message]:
        """Simulated results that have become due, in order; each is given once."""
        answers: list[Message] = list(self._answers)
        self._answers.clear()
        ended = [
            (run.end_boot_s, _ended(node, run))
            for node in self._nodes.values()
            for virtual in node.channels.values()
            for run in virtual.runs
            if _falls_due(run, now_boot_s)
        ]
        ended.sort(key=lambda pair: (pair[0], pair[1].id))
        return [*answers, *(result for _, result in ended)]

    def _take(self, node: _Node, command: RunPump, boot_s: float) -> None:
        word = _refusal(node, command, boot_s)
        if word:
            self._answers.append(_result(node, command, "refused", boot_s, word))
            return
        node.virtual(command.channel).runs.append(
            _Run(
                command=command,
                begin_boot_s=boot_s,
                end_boot_s=boot_s + command.ms / 1000,
            )
        )
        self._answers.append(_result(node, command, "taken", boot_s, ""))


def _refusal(node: _Node, command: RunPump, boot_s: float) -> str:
    """The first reason, in the order in which a node looks; empty for none."""
    beat = node.beat
    if command.channel not in beat.channels:
        return "form"
    shown = beat.channels[command.channel]
    virtual = node.virtual(command.channel)
    flaws = (
        (command.boot != beat.boot, "boot"),
        (command.fence < beat.fence, "fence"),
        (command.n != shown.n + virtual.taken(), "number"),
        (node.up_ms(boot_s) > command.until_up, "late"),
        (shown.state == "running" or bool(node.running(boot_s)), "busy"),
        (beat.hold or shown.state != "idle", "held"),
        (command.ul > shown.budget_ul - _counted_ul(node, virtual, boot_s), "budget"),
    )
    return next((word for wrong, word in flaws if wrong), "")


def _counted_ul(node: _Node, virtual: _Virtual, boot_s: float) -> int:
    first_slot = node.up_ms(boot_s) // _HOUR_MS - _SLOTS_BEFORE
    return sum(
        run.command.ul
        for run in virtual.runs
        if node.up_ms(run.begin_boot_s) // _HOUR_MS >= first_slot
    )


def _laid_over(node: _Node, channel: Channel, virtual: _Virtual, beat: Beat) -> Channel:
    now_s = beat.heard_boot_s
    virtual.forget(now_s - _BUDGET_S)
    if not virtual.taken():
        return channel
    ended = [run for run in virtual.runs if run.end_boot_s <= now_s]
    busy = len(ended) < len(virtual.runs)
    room = channel.budget_ul - _counted_ul(node, virtual, now_s)
    return replace(
        channel,
        n=channel.n + virtual.taken(),
        state="running" if busy and channel.state == "idle" else channel.state,
        odo_ul=channel.odo_ul + virtual.older_ul + sum(run.given_ul() for run in ended),
        odo_ms=channel.odo_ms + virtual.older_ms + sum(run.ran_ms() for run in ended),
        budget_ul=max(0, room),
        last=_last(ended[-1]) if ended else channel.last,
    )


def _last(run: _Run) -> LastRun:
    return LastRun(
        id=run.command.attempt,
        ul=run.given_ul(),
        ran_ms=run.ran_ms(),
        reason=run.reason,
        cal=run.command.cal,
    )


def _end(node: _Node, boot_s: float, channel: str) -> None:
    for run in node.running(boot_s):
        if channel in {"", run.command.channel}:
            run.end_boot_s = max(boot_s, run.begin_boot_s)
            run.reason = "stopped"


def _falls_due(run: _Run, now_boot_s: float) -> bool:
    if run.told or run.end_boot_s > now_boot_s:
        return False
    run.told = True
    return True


def _ended(node: _Node, run: _Run) -> Result:
    told = _result(node, run.command, "ended", run.end_boot_s, run.reason)
    return replace(told, ran_ms=run.ran_ms(), ul=run.given_ul())


def _result(
    node: _Node, command: RunPump, phase: Phase, boot_s: float, reason: str
) -> Result:
    return Result(
        node=command.node,
        id=command.attempt,
        boot=node.beat.boot,
        channel=command.channel,
        n=command.n,
        phase=phase,
        ran_ms=0,
        ul=0,
        reason=reason,
        cal="" if phase == "refused" else command.cal,
        up=node.up_ms(boot_s),
    )
