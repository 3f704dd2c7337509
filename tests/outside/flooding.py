"""Somebody who says the same thing ten thousand times a second.

Source of the packet forms: MQTT 3.1.1, sections 3.1 (CONNECT), 3.2 (CONNACK) and 3.3
(PUBLISH); a client library would be the slowest part of a flood.
"""

import socket
import threading
import time
from types import TracebackType
from typing import Self

from tests.outside.peers import DEADLINE_S, LOOPBACK

# Small enough that the flood is even, large enough that one thread keeps it up.
BATCH_S = 0.01
# A clean session, no keepalive, and no name: the broker gives one.
_CONNECT = b"\x10\x0c\x00\x04MQTT\x04\x02\x00\x00\x00\x00"
_ACCEPTED = b"\x20\x02\x00\x00"


def published(topic: str, payload: bytes) -> bytes:
    """One PUBLISH at QoS 0."""
    head = topic.encode()
    body = len(head).to_bytes(2, "big") + head + payload
    return b"\x30" + _length(len(body)) + body


def _length(number: int) -> bytes:
    """Remaining length, seven bits a byte (MQTT 3.1.1, section 2.2.3)."""
    out = bytearray()
    while True:
        number, low = divmod(number, 128)
        out.append(low | (0x80 if number else 0))
        if not number:
            return bytes(out)


def line_to(port: int) -> socket.socket:
    """A connection that a broker has accepted; whoever asked for it closes it."""
    line = socket.create_connection((LOOPBACK, port), DEADLINE_S)
    line.sendall(_CONNECT)
    assert _ACCEPTED == line.recv(len(_ACCEPTED))
    return line


class Flood:
    """Publishes one message at a rate from entering to leaving; counts what it sent."""

    def __init__(self, port: int, topic: str, payload: bytes, per_s: int) -> None:
        """Keep what to say and how often; entering begins."""
        self.sent = 0
        self.span_s = 0.0
        self._batch = round(per_s * BATCH_S)
        self._bytes = published(topic, payload) * self._batch
        self._ended = threading.Event()
        self._line = line_to(port)
        self._thread = threading.Thread(target=self._pour, name="flood", daemon=True)

    @property
    def per_s(self) -> float:
        """How many a second it really was."""
        return self.sent / self.span_s if self.span_s else 0.0

    def __enter__(self) -> Self:
        """Begin."""
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End it."""
        self._ended.set()
        self._thread.join(DEADLINE_S)
        self._line.close()

    def _pour(self) -> None:
        begun_s = time.monotonic()
        while not self._ended.is_set():
            self._line.sendall(self._bytes)
            self.sent += self._batch
            self.span_s = time.monotonic() - begun_s
            ahead_s = self.sent / self._batch * BATCH_S - self.span_s
            if ahead_s > 0:
                self._ended.wait(ahead_s)
