"""The bounded queue between the world's threads and the loop.

Floor 6. One subject: holding messages until the loop collects them.
Laws here: a flood costs bounded memory; what is given up first is the newest status
(a beat or reading follows soon anyway), then requests, and results only when twice
the bound is filled with nothing else; every loss is counted.
"""

import threading

from slackwater.facts.messages import (
    Beat,
    CounterSeen,
    Message,
    Overreach,
    Reading,
    Request,
    SpoiledReading,
    SpoiledSwitch,
    SwitchSeen,
)

CAPACITY = 4096
# Messages that must not be lost may fill the queue twice; a loop that is that far
# behind is under attack, and a node's next beat settles what a lost result said.
_ESSENTIAL_FACTOR = 2

_STATUS, _REQUESTS, _ESSENTIAL = 0, 1, 2


class BoundedMailbox:
    """A thread-safe mailbox that never blocks whoever puts."""

    def __init__(self, capacity: int = CAPACITY) -> None:
        """Take at most `capacity` messages, and as many results beyond them."""
        self._capacity = capacity
        self._ranks: tuple[
            list[tuple[int, Message]],
            list[tuple[int, Message]],
            list[tuple[int, Message]],
        ] = ([], [], [])
        self._arrivals = 0
        self._dropped = 0
        self._woken = False
        self._changed = threading.Condition()

    def put(self, message: Message) -> None:
        """Put without waiting; when full, the least important newest is dropped."""
        rank = _rank(message)
        with self._changed:
            if not self._make_room(rank):
                self._dropped += 1
                return
            self._arrivals += 1
            self._ranks[rank].append((self._arrivals, message))
            self._changed.notify()

    def wake(self) -> None:
        """End the current wait at once, or the next one if nobody waits."""
        with self._changed:
            self._woken = True
            self._changed.notify()

    def collect(self, timeout_s: float) -> tuple[Message, ...]:
        """Wait at most so long for the first message, then take all there are.

        Shape: in order of arrival; empty after a wake-up or when the time is over.
        """
        with self._changed:
            self._changed.wait_for(self._has_something, timeout_s)
            self._woken = False
            arrived = sorted(
                (entry for rank in self._ranks for entry in rank),
                key=lambda entry: entry[0],
            )
            for rank in self._ranks:
                rank.clear()
        return tuple(message for _, message in arrived)

    @property
    def dropped(self) -> int:
        """How many messages were given up since the start."""
        return self._dropped

    @property
    def depth(self) -> int:
        """How many messages wait to be collected."""
        with self._changed:
            return sum(map(len, self._ranks))

    def _has_something(self) -> bool:
        return self._woken or any(self._ranks)

    def _make_room(self, rank: int) -> bool:
        if sum(map(len, self._ranks)) < self._capacity:
            return True
        for lower in self._ranks[:rank]:
            if lower:
                lower.pop()
                self._dropped += 1
                return True
        return (
            rank == _ESSENTIAL
            and len(self._ranks[rank]) < _ESSENTIAL_FACTOR * self._capacity
        )


def _rank(message: Message) -> int:
    if isinstance(
        message,
        Beat | Reading | SpoiledReading | CounterSeen | SpoiledSwitch | Overreach,
    ):
        return _STATUS
    # A switch may speak once and never again: it goes after all status.
    if isinstance(message, Request | SwitchSeen):
        return _REQUESTS
    return _ESSENTIAL
