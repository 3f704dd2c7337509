"""One connection to the broker: opened, watched, lost and opened anew.

Floor 6. One subject: when there is a link and when not. Laws here: each attempt gets
a new client object, so nothing queued in an old one can ever leave; nothing is
published before the broker accepted the connection or after it was lost; a connection
publishes only on the kinds of topic it was made for; callbacks only hand over.
"""

import threading
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Protocol

import structlog
from paho.mqtt.client import Client, MQTTMessageInfo
from paho.mqtt.enums import MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.subscribeoptions import SubscribeOptions
from structlog.typing import FilteringBoundLogger

from slackwater.errors import Finding, NotConnectedError
from slackwater.outside.broker.client import (
    Calls,
    Marks,
    Session,
    connect,
    expiring,
    listen,
    new_client,
)
from slackwater.outside.broker.credentials import Access, Secrets, read_secrets
from slackwater.outside.broker.pace import Pace, Waits
from slackwater.outside.wire import Foreign, Topic
from slackwater.outside.wire.guest import STUMBLES

# A ping being written may stand in the way of a command for an instant.
_CLEAR_WITHIN_S = 0.2
# Far longer than writing takes; nothing rests on it.
_WRITTEN_WITHIN_S = 0.05
_CLOSE_WITHIN_S = 12.0

_NOT_ACCEPTED = "the broker has not accepted the connection"
_NOT_IDLE = "earlier bytes are still waiting to be sent"

CONNECTION_OPENED = "connection_opened"
CONNECTION_LOST = "connection_lost"
CONNECTION_REFUSED = "connection_refused"

_log: FilteringBoundLogger = structlog.get_logger()


@dataclass(frozen=True, slots=True, kw_only=True)
class Outgoing:
    """One message to publish; `mark` comes back when its bytes were handed over."""

    topic: Topic | Foreign
    payload: bytes
    qos: int = 0
    retain: bool = False
    expiry_s: int = 0
    mark: str = ""
    alone: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """One subscription; `show_retained` keeps the retain flag on later messages."""

    topic_filter: str
    qos: int = 0
    show_retained: bool = False


class Listener(Protocol):
    """Whoever owns the connection; called from the connection's own thread."""

    def connected(self) -> None:
        """The broker accepted the connection."""

    def lost(self, *, taken_over: bool) -> None:
        """The connection that was accepted is gone."""

    def heard(self, topic: str, payload: bytes, *, retained: bool) -> None:
        """A message came."""

    def handed(self, mark: str) -> None:
        """The bytes of a marked message were given to the system."""

    def leaving(self) -> None:
        """The last moment to publish before the connection is closed on purpose."""

    def tick(self) -> None:
        """A moment to look at one's own time limits."""


class Connection:
    """A link that is either accepted by the broker or refuses to publish."""

    def __init__(self, access: Access, listener: Listener, pace: Pace) -> None:
        """Keep what is needed; `start` opens."""
        self._access = access
        self._listener = listener
        self._pace = pace
        self._waits = Waits(pace)
        self._closing = threading.Event()
        self._stirred = threading.Event()
        self._thread: threading.Thread | None = None
        self._secrets = Secrets()
        self._protocol = MQTTProtocolVersion.MQTTv5
        # Held while paho publishes, so never taken in its callback `published`: paho
        # keeps a lock of its own around that, which `publish` waits for as well.
        self._lock = threading.Lock()
        self._client: Client | None = None
        self._marks = Marks()
        self._refusals = 0
        self._said_goodbye = False
        self._calls = Calls(
            accepted=self._accepted, published=self._published, heard=self._heard
        )

    def start(self) -> None:
        """Read the credentials and begin to connect, and to reconnect for ever.

        Raises: InputError when a credential or certificate file cannot be used.
        """
        self._secrets = read_secrets(self._access)
        self._thread = threading.Thread(
            target=self._live, name=f"mqtt-{self._access.name}", daemon=True
        )
        self._thread.start()

    def close(self) -> None:
        """Say good-bye to the broker and end the thread."""
        self._closing.set()
        self._stirred.set()
        with self._lock:
            client = self._client
        if client is not None:
            self._say_goodbye(client)
        if self._thread is not None:
            self._thread.join(_CLOSE_WITHIN_S)

    def hurry(self) -> None:
        """End the present wait, if there is one, and try again at once."""
        self._stirred.set()

    @property
    def has_ended(self) -> bool:
        """Whether it will never come back though nobody closed it: a fault of ours."""
        thread = self._thread
        closed = self._closing.is_set()
        return thread is not None and not closed and not thread.is_alive()

    @property
    def is_up(self) -> bool:
        """Whether the broker has accepted the connection and it was not lost since."""
        client = self._client
        return client is not None and client.is_connected()

    @property
    def is_idle(self) -> bool:
        """Whether nothing waits to be written."""
        client = self._client
        return client is None or not client.want_write()

    @property
    def refusals(self) -> int:
        """How many attempts came to nothing since the start."""
        return self._refusals

    @property
    def protocol(self) -> MQTTProtocolVersion:
        """The protocol of the present or next attempt."""
        return self._protocol

    def publish(self, outgoing: Outgoing) -> bool:
        """Publish now or not at all; False means that it may have been sent.

        Raises: NotConnectedError when it is certain that nothing was sent;
        InputError when this connection may not publish on such a topic.
        """
        self._access.check(outgoing.topic)
        if outgoing.alone:
            self._wait_until_clear()
        with self._lock:
            client = self._client
            if client is None or not client.is_connected():
                raise self._not_connected(_NOT_ACCEPTED)
            if outgoing.alone and client.want_write():
                raise self._not_connected(_NOT_IDLE)
            sent = self._hand_over(client, outgoing)
        if outgoing.alone:
            _let_write(sent)
        return sent.rc is MQTTErrorCode.MQTT_ERR_SUCCESS

    def subscribe(self, wanted: Sequence[Wanted]) -> None:
        """Subscribe in one packet; whether it works is proven by what arrives."""
        client = self._client
        if client is None:
            return
        if self._protocol is MQTTProtocolVersion.MQTTv5:
            client.subscribe(
                [
                    (
                        one.topic_filter,
                        SubscribeOptions(
                            qos=one.qos, retainAsPublished=one.show_retained
                        ),
                    )
                    for one in wanted
                ]
            )
        else:
            client.subscribe([(one.topic_filter, one.qos) for one in wanted])

    def _say_goodbye(self, client: Client) -> None:
        # Called by `close`, and by the loop when the broker accepted the connection
        # just after `close` had looked.
        with self._lock:
            if self._said_goodbye:
                return
            self._said_goodbye = True
        self._listener.leaving()
        client.disconnect()

    def _wait_until_clear(self) -> None:
        until_s = time.monotonic() + _CLEAR_WITHIN_S
        while not self.is_idle and time.monotonic() < until_s:
            self._closing.wait(0.002)

    def _hand_over(self, client: Client, outgoing: Outgoing) -> MQTTMessageInfo:
        sent = client.publish(
            str(outgoing.topic),
            outgoing.payload,
            qos=outgoing.qos,
            retain=outgoing.retain,
            properties=expiring(self._protocol, outgoing.expiry_s),
        )
        if outgoing.mark and self._marks.put(sent.mid, outgoing.mark):
            self._listener.handed(outgoing.mark)
        return sent

    def _not_connected(self, what: str) -> NotConnectedError:
        return NotConnectedError(
            Finding(
                what=what,
                where=f"broker {self._access.settings.host}, {self._access.name}",
                expected="a connection that is up and idle",
                do="Nothing was sent. Look at the broker and the network.",
            )
        )

    def _live(self) -> None:
        while not self._closing.is_set():
            session = Session(opened_s=time.monotonic())
            self._attempt(session)
            session.lost_s = time.monotonic()
            self._begin_anew_if_asked()
            wait_s = self._conclude(session)
            if not self._closing.is_set():
                self._stirred.wait(wait_s)
                self._begin_anew_if_asked()

    def _begin_anew_if_asked(self) -> None:
        # Also before a loss is told: haste from before it must not end its pause.
        if self._stirred.is_set():
            self._stirred.clear()
            self._waits.begin_anew()

    def _conclude(self, session: Session) -> float:
        """Tell what became of an attempt; the wait before the next, in seconds."""
        taken_over = session.taken_over
        if session.accepted_s is not None and not self._closing.is_set():
            brief = self._waits.is_taken_over(session.accepted_s, session.lost_s)
            taken_over = taken_over or brief
            _log.warning(CONNECTION_LOST, link=self._access.name, taken_over=taken_over)
        elif session.refused:
            self._refusals += 1
            _log.warning(
                CONNECTION_REFUSED, link=self._access.name, reason=session.refused
            )
        if session.accepted_s is not None:
            self._listener.lost(taken_over=taken_over)
        if session.unsupported and self._protocol is MQTTProtocolVersion.MQTTv5:
            self._protocol = MQTTProtocolVersion.MQTTv311
            return 0.0
        if session.silent and session.accepted_s is None:
            return self._try_the_other()
        if taken_over:
            return self._waits.rest()
        return self._waits.after(session.accepted_for_s())

    def _try_the_other(self) -> float:
        """After silence, the other protocol: neither is given up for good."""
        if self._protocol is MQTTProtocolVersion.MQTTv5:
            self._protocol = MQTTProtocolVersion.MQTTv311
            return 0.0
        self._protocol = MQTTProtocolVersion.MQTTv5
        return self._waits.after(0.0)

    def _attempt(self, session: Session) -> None:
        client = new_client(self._access, self._secrets, self._protocol, self._pace)
        listen(client, session, self._calls)
        try:
            connect(client, self._access, self._pace)
            self._turn(client, session)
        # Whatever the network or a broken broker makes paho stumble over ends this
        # attempt and no more.
        except (OSError, *STUMBLES) as error:
            session.refused = f"{type(error).__name__}: {error}"[:200]
        finally:
            with self._lock:
                self._client = None
                self._marks = Marks()
            _shut(client)

    def _turn(self, client: Client, session: Session) -> None:
        """Run the connection until it is lost, refused or no answer comes."""
        short_s = min(1.0, self._pace.look_s)
        while not session.over:
            accepted = session.accepted_s is not None
            if accepted and self._closing.is_set():
                # The loop goes on until the good-bye is written.
                self._say_goodbye(client)
            waited_s = time.monotonic() - session.opened_s
            if not accepted and waited_s > self._patience_s():
                session.refused = "no answer to CONNECT in time"
                session.silent = True
                return
            if not accepted and self._closing.is_set():
                return
            if client.loop(self._pace.look_s if accepted else short_s):
                session.silent = not session.refused
                return
            self._listener.tick()

    def _patience_s(self) -> float:
        if self._protocol is MQTTProtocolVersion.MQTTv5:
            return min(self._pace.silence_s, self._pace.connack_s)
        return self._pace.connack_s

    def _accepted(self, client: Client) -> None:
        with self._lock:
            self._client = client
        _log.info(CONNECTION_OPENED, link=self._access.name)
        self._listener.connected()

    def _published(self, message_id: int) -> None:
        mark = self._marks.take(message_id)
        if mark:
            self._listener.handed(mark)

    def _heard(self, topic: str, payload: bytes, retained: bool) -> None:  # noqa: FBT001
        self._listener.heard(topic, payload, retained=retained)


def _let_write(sent: MQTTMessageInfo) -> None:
    """Give the floor to the thread that writes, until the bytes are out.

    It would else wait for the next pause of this one, a millisecond at best.
    """
    # One that was not taken, or was lost with its connection, is none to wait for.
    with suppress(RuntimeError, ValueError):
        sent.wait_for_publish(_WRITTEN_WITHIN_S)


def _shut(client: Client) -> None:
    sock = client.socket()
    if sock is not None:
        sock.close()
