"""One node's or probe's own connection to the broker.

Outside every floor; never imports Slackwater. One subject: paho, kept connected. Laws
here: MQTT 5 first, 3.1.1 where the broker knows no better; clean start, so nothing
waits at the broker; commands at QoS 0 and never the retained ones; a will tells that
the node vanished; nothing waits for more bytes before it is sent.

Each link has one thread of its own, which connects again by itself and alone touches
the socket. What arrives is only put into the reef's inbox, where one loop takes it.
"""

import contextlib
import socket
import threading
import time
from dataclasses import dataclass, field
from queue import SimpleQueue

from paho.mqtt.client import Client, ConnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

_KEEPALIVE_S = 15
# Loopback or a room's network: longer means that nobody is there.
_CONNECT_S = 5.0
_BACKOFF_S = (0.2, 0.5, 1.0, 2.0, 5.0)
# MQTT 5.0, section 2.4: unsupported protocol version.
_UNSUPPORTED_VERSION = 0x84
# A broker that knows only 3.1.1 may not even say so: seen with amqtt 0.12, which gives
# up on an MQTT 5 greeting with a will. Silence counts as a no after this time.
_GREETING_S = 2.0
# MQTT 5.0, section 3.8.3.1: "do not send retained messages".
_NO_RETAINED = 2
_GOODBYE_S = 1.0
# How long one look at the socket lasts when nothing happens; a publish ends it.
_LOOK_S = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Broker:
    """Where the broker is and who asks."""

    host: str
    port: int
    user: str = ""
    password: str = field(default="", repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """One message a link heard."""

    link: str
    topic: str
    payload: bytes
    retained: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkUp:
    """A link has been accepted by the broker."""

    link: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Address:
    """What one link is called, asks for and leaves behind."""

    link: str
    client_id: str
    commands: str = ""
    hold: str = ""
    will: tuple[str, bytes] | None = None


Inbox = SimpleQueue[Said | LinkUp | None]


class Link:
    """A connection that comes back until it is closed."""

    def __init__(self, broker: Broker, address: Address, inbox: Inbox) -> None:
        self._broker = broker
        self._address = address
        self._inbox = inbox
        self._protocol = MQTTProtocolVersion.MQTTv5
        self._misunderstood = False
        self._client = self._new_client()
        self._away_until_s = 0.0
        self._stale = False
        self._accepted = threading.Event()
        self._closed = threading.Event()
        self._thread = threading.Thread(
            target=self._stay, name=address.link, daemon=True
        )

    @property
    def connected(self) -> bool:
        """Whether the broker has let this link in."""
        return self._client.is_connected()

    def open(self) -> None:
        """Begin to connect, and stay so."""
        self._thread.start()

    def publish(self, topic: str, payload: bytes, *, qos: int, retain: bool) -> None:
        """Send now; while offline only QoS 1 is kept, which then arrives late.

        Harmless for results: they are judged by boot id and number.
        """
        if qos > 0 or self.connected:
            self._client.publish(topic, payload, qos=qos, retain=retain)

    def lose(self, for_s: float, *, forget: bool) -> None:
        """Break the connection without a word and stay away for a time.

        With `forget` what was still to be sent is lost too, as at a power-up.
        """
        self._away_until_s = time.monotonic() + for_s
        self._stale = forget
        self._break()

    def close(self) -> None:
        """Say what the will would have said, hang up and end the thread."""
        self._closed.set()
        will = self._address.will
        if will is not None and self._client.is_connected():
            farewell = self._client.publish(*will, qos=1, retain=True)
            with contextlib.suppress(RuntimeError, ValueError):
                farewell.wait_for_publish(_GOODBYE_S)
        self._client.disconnect()
        self._break()
        if self._thread.is_alive():
            self._thread.join(_CONNECT_S)
        # A client in no circle is freed at once, and with it its inner sockets.
        self._client.on_connect = self._client.on_message = None

    def _stay(self) -> None:
        failures = 0
        while not self._closed.is_set():
            if (away_s := self._away_until_s - time.monotonic()) > 0:
                self._closed.wait(away_s)
                continue
            if self._stale:
                self._stale = False
                self._client = self._new_client()
            failures = 0 if self._connect_once() else failures + 1
            pause_s = _BACKOFF_S[min(failures, len(_BACKOFF_S) - 1)]
            self._closed.wait(pause_s)

    def _connect_once(self) -> bool:
        """Connect, stay until it is over; whether the broker had accepted."""
        self._accepted.clear()
        self._misunderstood = True
        client = self._client
        host, port = self._broker.host, self._broker.port
        try:
            if self._protocol is MQTTProtocolVersion.MQTTv5:
                client.connect(host, port, _KEEPALIVE_S, clean_start=True)
            else:
                client.connect(host, port, _KEEPALIVE_S)
        except (OSError, ValueError):
            self._misunderstood = False
            return False
        self._keep(client)
        if self._misunderstood and not self._closed.is_set():
            self._speak_otherwise()
        return self._accepted.is_set()

    def _keep(self, client: Client) -> None:
        """Serve the connection until it is over."""
        end_s = time.monotonic() + _GREETING_S
        while client.loop(_LOOK_S) is MQTTErrorCode.MQTT_ERR_SUCCESS:
            too_long = not self._accepted.is_set() and time.monotonic() > end_s
            # Closed while it connected, nobody else would break it any more.
            if too_long or self._closed.is_set():
                self._break()

    def _speak_otherwise(self) -> None:
        """Try the other version next; one of the two is understood."""
        five = self._protocol is MQTTProtocolVersion.MQTTv5
        self._protocol = (
            MQTTProtocolVersion.MQTTv311 if five else MQTTProtocolVersion.MQTTv5
        )
        self._client = self._new_client()

    def _new_client(self) -> Client:
        five = self._protocol is MQTTProtocolVersion.MQTTv5
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=self._address.client_id,
            clean_session=None if five else True,
            protocol=self._protocol,
            reconnect_on_failure=False,
        )
        client.connect_timeout = _CONNECT_S
        if self._broker.user:
            client.username_pw_set(self._broker.user, self._broker.password)
        if self._address.will is not None:
            topic, payload = self._address.will
            client.will_set(topic, payload, qos=1, retain=True)
        client.on_connect = self._on_connect
        client.on_message = self._on_message
        client.on_socket_open = _without_delay
        client.on_socket_register_write = _leave_writing_to_the_loop
        return client

    def _on_connect(
        self,
        client: Client,
        _userdata: object,
        _flags: ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._misunderstood = reason.value == _UNSUPPORTED_VERSION
        if reason.is_failure:
            return
        self._accepted.set()
        self._subscribe(client)
        self._inbox.put(LinkUp(link=self._address.link))

    def _subscribe(self, client: Client) -> None:
        five = self._protocol is MQTTProtocolVersion.MQTTv5
        if self._address.commands and five:
            options = SubscribeOptions(qos=0, retainHandling=_NO_RETAINED)
            client.subscribe(self._address.commands, options=options)
        elif self._address.commands:
            client.subscribe(self._address.commands, qos=0)
        if self._address.hold:
            client.subscribe(self._address.hold, qos=1)

    def _on_message(
        self, _client: Client, _userdata: object, message: MQTTMessage
    ) -> None:
        with contextlib.suppress(UnicodeDecodeError):
            self._inbox.put(
                Said(
                    link=self._address.link,
                    topic=message.topic,
                    payload=bytes(message.payload),
                    retained=message.retain,
                )
            )

    def _break(self) -> None:
        held = self._client.socket()
        if isinstance(held, socket.socket):
            with contextlib.suppress(OSError):
                held.shutdown(socket.SHUT_RDWR)


def _without_delay(_client: Client, _userdata: object, opened: object) -> None:
    """Nagle's wait and the delayed acknowledgement cost 40 ms a message."""
    if isinstance(opened, socket.socket):
        opened.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


def _leave_writing_to_the_loop(
    _client: Client, _userdata: object, _opened: object
) -> None:
    """Without this paho writes to the socket in the publisher's thread as well."""
