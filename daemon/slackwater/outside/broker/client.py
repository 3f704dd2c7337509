"""paho's client, set up the way every connection needs it.

Floor 6. One subject: one client object for one attempt. Laws here: clean start and no
session, so the broker keeps nothing for us; nothing waits for more bytes before it is
sent; callbacks only take notes or hand over.

paho is driven by `loop` from one thread of ours; `on_socket_register_write` is set to
keep `publish` from writing to the socket in the caller's thread at the same time.
"""

import socket
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from paho.mqtt.client import (
    Client,
    ConnectFlags,
    DisconnectFlags,
    MQTTMessage,
)
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from slackwater.outside.broker.credentials import Access, Secrets
from slackwater.outside.broker.pace import Pace
from slackwater.outside.wire import PAYLOAD_BYTES_AT_MOST

# Source: MQTT 5.0, section 2.4.
UNSUPPORTED_VERSION = 0x84
TAKEN_OVER = 0x8E
# The payload's bound and room for topic and properties; a broker that speaks
# MQTT 5 then drops larger packets before they reach this process.
_PACKET_BYTES_AT_MOST = PAYLOAD_BYTES_AT_MOST + 1024
# State and events waiting for the broker's receipt; beyond it they are dropped.
_UNACKNOWLEDGED_AT_MOST = 256
# Only the numbers of the last few messages can still be asked for.
_EARLY_AT_MOST = 16


@dataclass(slots=True, kw_only=True)
class Session:
    """What one attempt came to."""

    opened_s: float
    accepted_s: float | None = None
    lost_s: float = 0.0
    over: bool = False
    refused: str = ""
    unsupported: bool = False
    silent: bool = False
    taken_over: bool = False

    def accepted_for_s(self) -> float:
        """How long the broker kept it, 0 when it never accepted."""
        return 0.0 if self.accepted_s is None else self.lost_s - self.accepted_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Calls:
    """Whom the client's callbacks tell, in the connection's own thread."""

    accepted: Callable[[Client], None]
    published: Callable[[int], None]
    heard: Callable[[str, bytes, bool], None]


class Marks:
    """Marks of messages whose bytes are not handed over yet.

    A message may be written, and its callback run, before `publish` has returned its
    number: such a number is remembered until its mark comes.
    """

    def __init__(self) -> None:
        """Begin without any."""
        self._lock = threading.Lock()
        self._waiting: dict[int, str] = {}
        self._early: deque[int] = deque(maxlen=_EARLY_AT_MOST)

    def put(self, message_id: int, mark: str) -> bool:
        """Keep a mark; True when its message was handed over already."""
        with self._lock:
            early = message_id in self._early
            # Whatever else came early carried no mark.
            self._early.clear()
            if not early:
                self._waiting[message_id] = mark
            return early

    def take(self, message_id: int) -> str:
        """The mark of a message that was handed over, empty when it has none yet."""
        with self._lock:
            mark = self._waiting.pop(message_id, "")
            if not mark:
                self._early.append(message_id)
            return mark


def new_client(
    access: Access, secrets: Secrets, protocol: MQTTProtocolVersion, pace: Pace
) -> Client:
    """A client that has not connected yet and keeps nothing between attempts."""
    five = protocol is MQTTProtocolVersion.MQTTv5
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=f"slackwater-{access.settings.site}-{access.name}",
        clean_session=None if five else True,
        protocol=protocol,
        reconnect_on_failure=False,
    )
    client.connect_timeout = pace.tcp_s
    client.max_queued_messages_set(_UNACKNOWLEDGED_AT_MOST)
    if access.user:
        client.username_pw_set(access.user, secrets.password)
    if secrets.tls is not None:
        client.tls_set_context(secrets.tls)
    if access.will is not None:
        topic, payload = access.will
        client.will_set(str(topic), payload, qos=1, retain=True)
    client.on_socket_open = _without_delay
    client.on_socket_register_write = _leave_writing_to_the_loop
    return client


def listen(client: Client, session: Session, calls: Calls) -> None:
    """Let the client's callbacks note what happens in the session and tell it on."""

    def connected(
        client: Client,
        _userdata: object,
        _flags: ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if reason.is_failure:
            session.refused = str(reason)
            session.unsupported = reason.value == UNSUPPORTED_VERSION
            session.over = True
            return
        session.accepted_s = time.monotonic()
        calls.accepted(client)

    def disconnected(
        _client: Client,
        _userdata: object,
        _flags: DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        session.taken_over |= reason.value == TAKEN_OVER
        session.over = True

    def published(
        _client: Client,
        _userdata: object,
        message_id: int,
        _reason: ReasonCode,
        _properties: Properties,
    ) -> None:
        calls.published(message_id)

    def heard(_client: Client, _userdata: object, message: MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            # Not a topic of ours, whatever it is.
            topic = ""
        calls.heard(topic, bytes(message.payload), message.retain)

    client.on_connect = connected
    client.on_disconnect = disconnected
    client.on_publish = published
    client.on_message = heard


def connect(client: Client, access: Access, pace: Pace) -> None:
    """Open the socket and send CONNECT; the answer comes to the loop.

    Raises: OSError or ValueError when there is no way to the broker.
    """
    # paho's own default is "clean on the first connect", and each client object
    # connects once.
    client.connect(
        access.settings.host,
        access.settings.port,
        keepalive=pace.keepalive_s,
        properties=_connect_properties(client.protocol),
    )


def expiring(protocol: MQTTProtocolVersion, expiry_s: int) -> Properties | None:
    """The properties of a message that goes stale; None where there are none."""
    if not expiry_s or protocol is not MQTTProtocolVersion.MQTTv5:
        return None
    properties = _properties(PacketTypes.PUBLISH)
    properties.MessageExpiryInterval = expiry_s
    return properties


def _connect_properties(protocol: MQTTProtocolVersion) -> Properties | None:
    if protocol is not MQTTProtocolVersion.MQTTv5:
        return None
    properties = _properties(PacketTypes.CONNECT)
    properties.SessionExpiryInterval = 0
    properties.MaximumPacketSize = _PACKET_BYTES_AT_MOST
    return properties


def _properties(packet_type: int) -> Properties:
    return Properties(packet_type)  # type: ignore[no-untyped-call]  # paho's gap


def _without_delay(_client: Client, _userdata: object, sock: object) -> None:
    # Small packets held back for an acknowledgement cost tens of milliseconds.
    if isinstance(sock, socket.socket):
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


def _leave_writing_to_the_loop(
    _client: Client, _userdata: object, _sock: object
) -> None:
    """The loop looks for waiting bytes by itself."""
