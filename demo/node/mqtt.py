"""Just enough of MQTT 3.1.1 for a node, in the common subset of Python and MicroPython.

Bytes in, news out: it opens no socket and waits for nothing. Laws here: the session is
clean, so nothing waits at the broker; commands are asked for at QoS 0, the hold at 1;
a result is kept until the broker has it and sent again on the next connection, which
is harmless because it is judged by boot id and number; bytes that are no packet of the
standard end the connection.

Source: MQTT Version 3.1.1, OASIS Standard; the numbers are its sections.
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    News = list[tuple[str, str, bytes, bool]]

# What may wait for the broker's receipt; the oldest is dropped before a newer one.
KEPT_AT_MOST = 32
PACKET_BYTES_AT_MOST = 8192
_CONNECT, _CONNACK, _PUBLISH, _PUBACK = 1, 2, 3, 4
_SUBSCRIBE, _SUBACK, _PINGREQ, _PINGRESP, _DISCONNECT = 8, 9, 12, 13, 14
_CLEAN_SESSION, _WILL_QOS_1_RETAINED, _PASSWORD, _USER = 0x02, 0x2C, 0x40, 0x80


class WireError(ValueError):
    """The broker refused, or sent what is no packet: hang up and connect anew."""


def packet(kind: int, flags: int, body: bytes) -> bytes:
    """Gives one control packet: type, flags, remaining length (2.2), body."""
    length, sizes = len(body), b""
    while True:
        length, low = length >> 7, length & 0x7F
        sizes += bytes([low | (0x80 if length else 0)])
        if not length:
            return bytes([kind << 4 | flags]) + sizes + body


def text_field(text: str) -> bytes:
    """Gives a text with its length before it (1.5.3)."""
    encoded = text.encode()
    return _two(len(encoded)) + encoded


class Session:
    """What one client says and hears; `will` is (topic, payload)."""

    def __init__(self, client_id: str, will: tuple[str, bytes]) -> None:
        self.client_id, self.will = client_id, will
        self.accepted = False
        self._heard = b""
        self._next_id = 0
        self._kept: list[tuple[int, bytes]] = []

    def connect(self, keepalive_s: int, user: str = "", password: str = "") -> bytes:
        """Gives the first packet of a new connection (3.1)."""
        self.accepted, self._heard = False, b""
        flags = _CLEAN_SESSION | _WILL_QOS_1_RETAINED
        flags |= (_USER | _PASSWORD) if user else 0
        topic, payload = self.will
        body = text_field("MQTT") + bytes([4, flags]) + _two(keepalive_s)
        body += text_field(self.client_id)
        body += text_field(topic) + _two(len(payload)) + payload
        body += text_field(user) + text_field(password) if user else b""
        return packet(_CONNECT, 0, body)

    def subscribe(self, wanted: list[tuple[str, int]]) -> bytes:
        """Gives one request for (topic, QoS) pairs (3.8)."""
        body = _two(self._new_id())
        for topic, qos in wanted:
            body += text_field(topic) + bytes([qos])
        return packet(_SUBSCRIBE, 2, body)

    def publish(self, topic: str, payload: bytes, qos: int, retain: int) -> bytes:
        """Gives one message (3.3); at QoS 1 it is kept until the broker has it."""
        if qos == 0:
            return packet(_PUBLISH, retain, text_field(topic) + payload)
        number = self._new_id()
        body = text_field(topic) + _two(number) + payload
        self._kept = self._kept[1 - KEPT_AT_MOST :]
        # Bit 3: it may be a copy (3.3.1.1); bits 2 and 1: QoS 1.
        self._kept.append((number, packet(_PUBLISH, 0x08 | 2 | retain, body)))
        return packet(_PUBLISH, 2 | retain, body)

    def unsent(self) -> bytes:
        """Gives again what the broker never said it had, for a new connection."""
        return b"".join([again for _, again in self._kept])

    def ping(self) -> bytes:
        """Gives the sign of life that keeps the connection (3.12)."""
        return packet(_PINGREQ, 0, b"")

    def disconnect(self) -> bytes:
        """Gives the farewell after which no will is told (3.14)."""
        return packet(_DISCONNECT, 0, b"")

    def feed(self, received: bytes) -> "tuple[News, bytes]":
        """Gives (kind, topic, payload, retained) of what arrived, and what to answer.

        Kinds: accepted, message, other. Raises: WireError.
        """
        self._heard += received
        news: News = []
        answer = b""
        while True:
            start, end = _frame(self._heard)
            if end == 0 or len(self._heard) < end:
                return news, answer
            head, body = self._heard[0], self._heard[start:end]
            self._heard = self._heard[end:]
            item, reply = self._take(head, body)
            news.append(item)
            answer += reply

    def _take(
        self, head: int, body: bytes
    ) -> "tuple[tuple[str, str, bytes, bool], bytes]":
        kind = head >> 4
        if kind == _PUBLISH:
            return _message(head, body)
        if kind == _CONNACK:
            if len(body) != 2 or body[1] != 0:  # noqa: PLR2004  # 3.2.2.3
                message = "the broker lets us in no more"
                raise WireError(message)
            self.accepted = True
            return ("accepted", "", b"", False), b""
        if kind == _PUBACK and len(body) == 2:  # noqa: PLR2004  # 3.4
            number = body[0] << 8 | body[1]
            self._kept = [kept for kept in self._kept if kept[0] != number]
        elif kind not in (_SUBACK, _PINGRESP):
            message = "a packet no client can be sent"
            raise WireError(message)
        return ("other", "", b"", False), b""

    def _new_id(self) -> int:
        self._next_id = self._next_id % 0xFFFF + 1
        return self._next_id


def _frame(heard: bytes) -> tuple[int, int]:
    """Gives begin and end of the first packet's body, (0, 0) when it is too early."""
    length, shift = 0, 0
    for at in range(1, min(len(heard), 5)):
        length |= (heard[at] & 0x7F) << shift
        shift += 7
        if length > PACKET_BYTES_AT_MOST or (at == 4 and heard[at] & 0x80):  # noqa: PLR2004  # 2.2.3
            message = "a packet longer than any for a node"
            raise WireError(message)
        if not heard[at] & 0x80:
            return at + 1, at + 1 + length
    return 0, 0


def _message(head: int, body: bytes) -> "tuple[tuple[str, str, bytes, bool], bytes]":
    """Gives one message and its receipt where QoS 1 asks for one (3.3, 3.4)."""
    begin = 2 + (body[0] << 8 | body[1]) if len(body) > 1 else len(body) + 1
    qos = head >> 1 & 3
    payload_at = begin + (2 if qos else 0)
    if payload_at > len(body) or qos > 1:
        message = "a message out of form"
        raise WireError(message)
    try:
        topic = body[2:begin].decode()
    except UnicodeError:
        topic = ""
    answer = packet(_PUBACK, 0, body[begin:payload_at]) if qos else b""
    return ("message", topic, body[payload_at:], bool(head & 1)), answer


def _two(number: int) -> bytes:
    return bytes([number >> 8, number & 0xFF])
