"""A virtual timed relay: a switch that turns itself off, with the faults such have.

Outside every floor; never imports Slackwater. One subject: one relay under any clock.
Laws here: a power-up is off and nothing is restored; a second "on" does not extend the
first; what it tells of its state and what it does are two things. Topics and words are
invented: no such device exists.
"""

import json
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from typing import Literal

Fault = Literal["stuck-on", "late-off", "lost-state", "double-pulse"]
FAULTS: tuple[Fault, ...] = ("stuck-on", "late-off", "lost-state", "double-pulse")
# How much later than told a late one goes off, and how long a double one rests.
LATE_MS = 700
BETWEEN_MS = 400
STATE_PERIOD_MS = 5_000


@dataclass(slots=True, kw_only=True)
class VirtualRelay:
    """One relay; `always_ms` is its only pulse where it has just one, else 0.

    Every call gives what it tells of its state, in order: `{"on": true}`, or the plain
    word where it has just one pulse.
    """

    ceiling_ms: int
    always_ms: int = 0
    faults: AbstractSet[Fault] = frozenset()
    spans: list[tuple[int, int]] = field(default_factory=list)
    _off_at_ms: int | None = None
    _again_at_ms: int | None = None
    _again_ms: int = 0
    _on_since_ms: int = 0
    _told_at_ms: int = 0
    _looked_ms: int = 0

    @property
    def is_on(self) -> bool:
        """Whether the output is on."""
        return self._off_at_ms is not None

    def power_up(self, now_ms: int) -> list[bytes]:
        """Begin anew: off, whatever was before."""
        if self.is_on:
            self._end(now_ms)
        self._again_at_ms = None
        return self._tell(now_ms)

    def hear(self, payload: bytes, now_ms: int) -> list[bytes]:
        """Take one message: `{"on": true, "ms": 1200}`, `{"on": false}` or `on`."""
        told = self.advance(now_ms)
        wanted = self._wanted(payload)
        if wanted is None:
            return told
        if wanted == 0:
            self._again_at_ms = None
            if self.is_on and "stuck-on" not in self.faults:
                self._end(now_ms)
                told += self._tell(now_ms)
        elif not self.is_on:
            told += self._begin(wanted, now_ms)
            if "double-pulse" in self.faults:
                self._again_at_ms = now_ms + wanted + BETWEEN_MS
                self._again_ms = wanted
        return told

    def ask(self, now_ms: int) -> list[bytes]:
        """Answer with its state."""
        return [*self.advance(now_ms), *self._tell(now_ms)]

    def advance(self, now_ms: int) -> list[bytes]:
        """Let time pass; call at least at `next_ms`."""
        told: list[bytes] = []
        if self._off_at_ms is not None and now_ms >= self._off_at_ms:
            self._end(self._off_at_ms)
            told += self._tell(now_ms)
        if self._again_at_ms is not None and now_ms >= self._again_at_ms:
            self._again_at_ms = None
            told += self._begin(self._again_ms, now_ms)
        if now_ms >= self._told_at_ms + STATE_PERIOD_MS:
            told += self._tell(now_ms)
        self._looked_ms = now_ms
        return told

    def next_ms(self) -> int:
        """The next moment at which time alone changes something."""
        moments = [self._told_at_ms + STATE_PERIOD_MS]
        moments += [x for x in (self._off_at_ms, self._again_at_ms) if x is not None]
        return min(moments)

    def on_ms(self, now_ms: int) -> int:
        """How long it was on so far, all spans together."""
        past_ms = sum(end - begin for begin, end in self.spans)
        return past_ms + (now_ms - self._on_since_ms if self.is_on else 0)

    def _wanted(self, payload: bytes) -> int | None:
        """The pulse asked for, 0 for off, None for what it does not understand."""
        text = payload.decode("utf-8", "replace")
        if self.always_ms:
            return {"on": self.always_ms, "off": 0}.get(text)
        try:
            read = json.loads(text)
        except ValueError:
            return None
        if not isinstance(read, dict) or not isinstance(read.get("on"), bool):
            return None
        wanted = read.get("ms", 0) if read["on"] else 0
        fits = isinstance(wanted, int) and 0 <= wanted <= self.ceiling_ms
        return wanted if fits else None

    def _begin(self, wanted_ms: int, now_ms: int) -> list[bytes]:
        self._on_since_ms = now_ms
        late_ms = LATE_MS if "late-off" in self.faults else 0
        far_ms = 10**12
        stuck = "stuck-on" in self.faults
        self._off_at_ms = far_ms if stuck else now_ms + wanted_ms + late_ms
        return self._tell(now_ms)

    def _end(self, at_ms: int) -> None:
        self.spans.append((self._on_since_ms, at_ms))
        self._off_at_ms = None

    def _tell(self, now_ms: int) -> list[bytes]:
        self._told_at_ms = now_ms
        if "lost-state" in self.faults:
            return []
        if self.always_ms:
            return [b"on" if self.is_on else b"off"]
        return [json.dumps({"on": self.is_on}).encode()]
