"""The line to a node on a bench broker.

Floor 6. One subject: paho, between one node and the judge. Laws here: commands go at
QoS 0 and are never retained; what is not in form, or not under the key, is kept as
spoilt; a broker that lets nobody in is one clear error; a line on which a daemon lives
is no bench.
"""

import secrets
import time
from dataclasses import dataclass, field
from types import TracebackType
from typing import Self

from paho.mqtt.client import Client, MQTTMessage

from slackwater.errors import Finding, RefusedError, WireError
from slackwater.outside.kit.bench import Told
from slackwater.outside.wire import Kind, Root, Topic
from slackwater.outside.wire.guest import (
    CONNECT_S,
    Calls,
    guest_client,
    reach,
    serve,
)

# What the broker keeps for us comes right after the subscription.
_KEPT_S = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where the bench broker is, and which node hangs on it."""

    root: Root
    node: str
    host: str = "127.0.0.1"
    port: int = 1883
    user: str = ""
    password: str = field(default="", repr=False)
    key: bytes = field(default=b"", repr=False)


class Line:
    """A line to one node; enter it to connect."""

    delivers_old = False

    def __init__(self, place: Place) -> None:
        self.told = Told(key=place.key)
        self._place = place
        self._topics = {
            kind: str(Topic(root=place.root, kind=kind, owner=place.node))
            for kind in (Kind.COMMAND, Kind.BEAT, Kind.RESULT, Kind.HOLD)
        }
        self._daemon = str(Topic(root=place.root, kind=Kind.DAEMON_STATE))
        self._daemon_lives = False
        self._refusal = ""
        self._ready = False
        self._news = 0
        self._beat_at_s = 0.0
        calls = Calls(
            accepted=self._accepted,
            refused=self._refused,
            granted=self._granted,
            heard=self._heard,
        )
        self._client = guest_client("conform", calls, place.user, place.password)

    def __enter__(self) -> Self:
        """Connect and listen.

        Raises: WireError when nobody lets us in; RefusedError where a daemon lives.
        """
        place = self._place
        if why := reach(self._client, place.host, place.port):
            raise self._failure(why)
        end_s = time.monotonic() + CONNECT_S
        while not self._ready and not self._refusal and time.monotonic() < end_s:
            self.look(0.1)
        if not self._ready:
            raise self._failure(self._refusal or "no greeting")
        end_s = time.monotonic() + _KEPT_S
        while time.monotonic() < end_s:
            self.look(0.1)
        if self._daemon_lives:
            self.__exit__(None, None, None)
            raise self._no_bench()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Hang up."""
        self._client.disconnect()
        serve(self._client, 0.1)

    def say(
        self, suffix: str, payload: bytes, *, retain: bool = False, old: bool = False
    ) -> None:
        """Send to the node; `old` is nothing a broker can be asked for."""
        del old
        topic = self._topics[Kind(suffix)]
        self._client.publish(topic, payload, qos=int(retain), retain=retain)

    def look(self, at_most_s: float) -> float:
        """Serve the connection until something came or the time is over.

        Raises: WireError when the broker hung up.
        """
        begin_s = time.monotonic()
        seen = self._news
        while self._news == seen and time.monotonic() - begin_s < at_most_s:
            left_s = at_most_s - (time.monotonic() - begin_s)
            if not serve(self._client, max(0.0, min(0.1, left_s))):
                raise self._failure(self._refusal or "the connection was lost")
        return time.monotonic() - begin_s

    def up_ms(self) -> int:
        """The node's uptime by its last beat, carried on to now."""
        since_ms = round((time.monotonic() - self._beat_at_s) * 1000)
        return self.told.beats[-1].up + since_ms

    def new_id(self) -> str:
        """An id never used before."""
        return secrets.token_hex(16)

    def _accepted(self, client: Client) -> None:
        wanted = (self._topics[Kind.BEAT], self._topics[Kind.RESULT], self._daemon)
        client.subscribe([(topic, 1) for topic in wanted])

    def _refused(self, why: str) -> None:
        self._refusal = why

    def _granted(self) -> None:
        self._ready = True

    def _heard(self, message: MQTTMessage) -> None:
        self._news += 1
        if message.topic == self._daemon:
            self._daemon_lives = b'"here"' in message.payload
            return
        is_beat = message.topic == self._topics[Kind.BEAT]
        count = len(self.told.beats)
        self.told.take("beat" if is_beat else "result", bytes(message.payload))
        if len(self.told.beats) > count:
            self._beat_at_s = time.monotonic()

    def _failure(self, found: str) -> WireError:
        place = self._place
        return WireError(
            Finding(
                what=found,
                where=f"{place.host}:{place.port}",
                expected="a bench broker that lets us in and stays",
                do="Check --broker, --user and --password-file.",
            )
        )

    def _no_bench(self) -> RefusedError:
        return RefusedError(
            Finding(
                what="a daemon lives on this broker and site",
                where=self._daemon,
                expected="a bench: a broker with the node alone",
                do="Nothing was sent. Take the node to a broker of its own.",
            )
        )
