"""A pump node that answers when it is asked, for the rehearsal.

Floor 6. One subject: the other side of the wire without a wire. Laws here: it counts
numbers, odometer and its 25 one-hour budget slots as a real node does; it knows no
plan and no cap of the daemon.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from slackwater.facts.making import maker
from slackwater.facts.messages import Beat, Channel, Result, RunPump
from slackwater.facts.sight import NodeSight

HOUR_MS = 3_600_000
SLOTS = 25
# Long enough up, when a rehearsal begins, that every budget slot is free.
UP_BEFORE_MS = 30 * HOUR_MS
BOOT = "0" * 16

_beat = maker(Beat)
_channel = maker(Channel)
_result = maker(Result)


@dataclass(slots=True)
class _Head:
    """One channel: number, odometer, and what was taken of the budget.

    `slots` are runs in order of time, the hour of uptime and its volume; `taken_ul` is
    their sum.
    """

    n: int = 0
    odo_ul: int = 0
    odo_ms: int = 0
    slots: list[tuple[int, int]] = field(default_factory=list)
    taken_ul: int = 0


class VirtualNode:
    """Takes every command at once and ends it after its run time.

    Units: `begin_s` boot-time seconds at which the rehearsal starts.
    """

    def __init__(
        self, node: str, limits_ul: Mapping[str, int], begin_s: float, fence: int
    ) -> None:
        """Keep the channels and their day limits in microlitres."""
        self._node = node
        self._limits = dict(limits_ul)
        self._heads = {channel: _Head() for channel in limits_ul}
        self._begin_s = begin_s
        self._fence = fence
        self._channels = {
            name: self._channel(name, head) for name, head in self._heads.items()
        }
        self._seq = 0
        self._sight: NodeSight | None = None

    def show(self, boot_s: float) -> NodeSight:
        """A beat of this very moment, as the daemon would see it."""
        self._seq += 1
        up = self._up(boot_s)
        beat = _beat(
            node=self._node,
            boot=BOOT,
            up=up,
            seq=self._seq,
            hold=False,
            fence=self._fence,
            hw="virtual",
            cfg="00000000",
            channels=self._channels,
            heard_boot_s=boot_s,
        )
        beats = self._seq + SLOTS
        if self._sight is None:
            self._sight = NodeSight(
                beat=beat, first_heard_boot_s=self._begin_s, beats=beats
            )
        self._sight.beat, self._sight.beats = beat, beats
        return self._sight

    def run(self, command: RunPump, boot_s: float) -> Result:
        """Execute a command; the answer is due `command.ms` later."""
        head = self._heads[command.channel]
        head.n += 1
        head.odo_ul += command.ul
        head.odo_ms += command.ms
        up = self._up(boot_s)
        hour = up // HOUR_MS
        if not head.slots or head.slots[-1][0] != hour:
            _free(head, hour)
        head.slots.append((hour, command.ul))
        head.taken_ul += command.ul
        self._channels[command.channel] = self._channel(command.channel, head)
        return _result(
            node=self._node,
            id=command.attempt,
            boot=BOOT,
            channel=command.channel,
            n=command.n,
            phase="ended",
            ran_ms=command.ms,
            ul=command.ul,
            reason="complete",
            cal=command.cal,
            up=up + command.ms,
        )

    def turn_hour(self, boot_s: float) -> None:
        """Let budget slots of more than a day ago come free."""
        hour = self._up(boot_s) // HOUR_MS
        for name, head in self._heads.items():
            if _free(head, hour):
                self._channels[name] = self._channel(name, head)

    def _up(self, boot_s: float) -> int:
        return UP_BEFORE_MS + int((boot_s - self._begin_s) * 1000)

    def _channel(self, name: str, head: _Head) -> Channel:
        return _channel(
            n=head.n,
            state="idle",
            odo_ul=head.odo_ul,
            odo_ms=head.odo_ms,
            budget_ul=self._limits[name] - head.taken_ul,
        )


def _free(head: _Head, hour: int) -> bool:
    """Forget the slots of more than a day before; says whether there were any."""
    before_ul = head.taken_ul
    oldest = hour - SLOTS
    while head.slots and head.slots[0][0] <= oldest:
        head.taken_ul -= head.slots.pop(0)[1]
    return head.taken_ul != before_ul
