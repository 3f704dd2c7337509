"""A wire that loses, doubles, delays and reorders, under a virtual clock."""

from collections import Counter
from dataclasses import dataclass, field
from heapq import heappop, heappush
from random import Random

from slackwater.facts.messages import Message

# Either bytes for a topic of the node, or a fact that needs no reading.
Parcel = tuple[str, bytes] | Message


@dataclass(slots=True, kw_only=True)
class Habits:
    """How bad the wire is; shares from 0 to 1, the slowest message in milliseconds."""

    loss: float = 0.0
    double: float = 0.0
    slow: float = 0.0
    slowest_ms: int = 40_000


@dataclass(slots=True, kw_only=True)
class Bus:
    """Both directions of the wire; every copy of a message travels for itself.

    `deaf` names what is lost for the time being: `beat` or `result`. `spoiled` counts
    messages that were lost, doubled or late.
    """

    chance: Random
    habits: Habits = field(default_factory=Habits)
    down_until_ms: int = 0
    deaf: set[str] = field(default_factory=set)
    inbound: list[tuple[int, int, Parcel]] = field(default_factory=list)
    outbound: list[tuple[int, int, tuple[str, bytes]]] = field(default_factory=list)
    spoiled: Counter[str] = field(default_factory=Counter)
    count: int = 0

    def to_daemon(self, parcel: Parcel, now_ms: int) -> None:
        """Send towards the daemon; what is sent while the broker is away is lost."""
        for at_ms in self._arrivals(now_ms):
            heappush(self.inbound, (at_ms, self._next(), parcel))

    def to_node(self, node: str, payload: bytes, now_ms: int) -> None:
        """Send towards a node."""
        for at_ms in self._arrivals(now_ms):
            heappush(self.outbound, (at_ms, self._next(), (node, payload)))

    def surely(self, message: Message, at_ms: int) -> None:
        """What does not travel: it is known at the daemon's own side."""
        heappush(self.inbound, (at_ms, self._next(), message))

    def surely_said(self, place: str, text: str, at_ms: int) -> None:
        """What arrives whatever the wire does."""
        heappush(self.inbound, (at_ms, self._next(), (place, text.encode())))

    def arrived(self, now_ms: int) -> list[Parcel]:
        """What the daemon may hear by now, in the order of arrival."""
        found = []
        while self.inbound and self.inbound[0][0] <= now_ms:
            found.append(heappop(self.inbound)[2])
        return found

    def commands(self, now_ms: int) -> list[tuple[str, bytes]]:
        """What the nodes may hear by now, in the order of arrival."""
        found = []
        while self.outbound and self.outbound[0][0] <= now_ms:
            found.append(heappop(self.outbound)[2])
        return found

    def _next(self) -> int:
        self.count += 1
        return self.count

    def _arrivals(self, now_ms: int) -> list[int]:
        chance, habits = self.chance, self.habits
        if now_ms < self.down_until_ms or chance.random() < habits.loss:
            self.spoiled["lost"] += 1
            return []
        copies = 2 if chance.random() < habits.double else 1
        self.spoiled["doubled"] += copies - 1
        return [now_ms + self._delay_ms() for _ in range(copies)]

    def _delay_ms(self) -> int:
        if self.chance.random() < self.habits.slow:
            self.spoiled["late"] += 1
            return self.chance.randint(1, self.habits.slowest_ms)
        return self.chance.randint(1, 30)
