"""Beats that were heard before, byte for byte.

Floor 6. One subject: knowing a repeat by sight. Laws here: a beat counts up, so what
is repeated is a copy and never news; only what was in order is remembered, so that
nobody pushes it out with rubbish; what is kept is bounded.
"""

# More than are ever on the way at once; a node says one every few seconds.
REMEMBERED = 16


class Repeats:
    """The newest beats of each topic; used by one thread."""

    def __init__(self) -> None:
        """Begin with none."""
        self._heard: dict[str, dict[bytes, None]] = {}

    def has(self, topic: str, payload: bytes) -> bool:
        """Whether it was taken lately; asked for again and again it stays known."""
        heard = self._heard.get(topic)
        if heard is None or payload not in heard:
            return False
        del heard[payload]
        heard[payload] = None
        return True

    def take(self, topic: str, payload: bytes) -> None:
        """Remember one that was in order."""
        heard = self._heard.setdefault(topic, {})
        heard[payload] = None
        if len(heard) > REMEMBERED:
            del heard[next(iter(heard))]
