"""A node's rules on a line in memory, under a virtual clock."""

import types
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from demo.node import node as rules
from slackwater.outside.kit import Bench, Plate, Told
from slackwater.outside.kit.recording import DAY_UL, PLATE

SOURCE = Path(str(rules.__file__)).read_text("utf-8")
BOOT = "9e1b000000000001"
KEY = bytes(range(32))
HOUR_MS = 3_600_000
RESTED_MS = 26 * HOUR_MS
BEAT_MS = 5_000
LIMITS = {
    "nominal_ul_per_min": PLATE.nominal_ul_per_min,
    "max_ul": PLATE.max_ul,
    "max_ms": PLATE.max_ms,
    "max_cut_ms": PLATE.max_cut_ms,
    "day_ul": DAY_UL,
}


def changed(*edits: tuple[str, str]) -> types.ModuleType:
    """The node's rules with some of their lines changed; each must be there once."""
    source = SOURCE
    for old, new in edits:
        assert 1 == source.count(old), old
        source = source.replace(old, new)
    module = types.ModuleType("changed")
    exec(compile(source, "changed", "exec"), module.__dict__)  # noqa: S102  # our own
    return module


@dataclass(slots=True, kw_only=True)
class Memory:
    """A line to one node; time passes while somebody looks."""

    module: types.ModuleType = rules
    key: bytes = b""
    delivers_old: bool = True
    told: Told = field(init=False)
    _node: Any = field(init=False)
    _up_ms: int = RESTED_MS
    _beat_at_ms: int = RESTED_MS
    _ids: int = 0
    _boots: int = 0
    _lying: bytes = b""

    def __post_init__(self) -> None:
        self.told = Told(key=self.key)
        heads = {"a": LIMITS, "b": LIMITS}
        self._node = self.module.Node("bench-1", BOOT, heads, self.key)
        self._node.tick(self._up_ms)

    def say(
        self, suffix: str, payload: bytes, *, retain: bool = False, old: bool = False
    ) -> None:
        """Send to the node, at once."""
        if suffix == "command" and retain:
            self._lying = payload
        if suffix == "command" and payload:
            self._keep(self._node.command(payload, self._up_ms, retained=old))
        elif suffix == "hold":
            self._keep(self._node.hold(payload, self._up_ms))

    def power_cycle(self) -> None:
        """Switch the node off and on; what lay on the broker comes first."""
        self._boots += 1
        heads = {"a": LIMITS, "b": LIMITS}
        boot = f"{self._boots:016x}"
        self._node = self.module.Node("bench-1", boot, heads, self.key)
        self._up_ms = self._beat_at_ms = 0
        self._keep([self._node.beat()])
        if self._lying:
            self._keep(self._node.command(self._lying, 0, retained=True))

    def look(self, at_most_s: float) -> float:
        """Let time pass until the node says something."""
        end_ms = self._up_ms + max(1, round(at_most_s * 1000))
        due_ms = self._node.next_ms()
        moments = [end_ms, self._beat_at_ms, *([] if due_ms is None else [due_ms])]
        begin_ms, self._up_ms = self._up_ms, max(self._up_ms + 1, min(moments))
        self._keep(self._node.tick(self._up_ms))
        if self._up_ms >= self._beat_at_ms:
            self._keep([self._node.beat()])
        return (self._up_ms - begin_ms) / 1000

    def up_ms(self) -> int:
        """The node's uptime."""
        return self._up_ms

    def new_id(self) -> str:
        """An id never used before."""
        self._ids += 1
        return f"{self._ids:032x}"

    def _keep(self, told: list[tuple[str, Any]]) -> None:
        for suffix, payload in told:
            if suffix == "beat":
                self._beat_at_ms = self._up_ms + BEAT_MS
            if suffix in {"beat", "result"}:
                self.told.take(suffix, self.module.canonical(payload).encode())


def bench(memory: Memory) -> Bench:
    """The bench of the judge on this line."""
    plate = Plate(
        chan="a",
        nominal_ul_per_min=PLATE.nominal_ul_per_min,
        max_ul=PLATE.max_ul,
        max_ms=PLATE.max_ms,
        max_cut_ms=PLATE.max_cut_ms,
        key=memory.key,
    )
    return Bench(wire=memory, plate=plate)
