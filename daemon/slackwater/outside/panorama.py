"""What daemons publish of their tanks, read once from a broker.

Floor 6. One subject: retained states of many sites. Laws here: it only listens and
publishes nothing; what is not a state document of this version is named and left out;
nothing that is read here ever decides anything.
"""

import re
import ssl
import time
from dataclasses import dataclass, field
from pathlib import Path

from paho.mqtt.client import Client, MQTTMessage

from slackwater.errors import Finding, InputError, WireError
from slackwater.outside.wire import DaemonDocument, Spoiled, TankDocument, read_strictly
from slackwater.outside.wire.guest import (
    CONNECT_S,
    Calls,
    guest_client,
    reach,
    serve,
)

# A broker hands over what it keeps right after the subscription; when nothing came for
# so long it has handed over everything.
_QUIET_S = 0.5
# States of hundred tanks are each far below this; a hold has reasons with figures.
_BYTES_AT_MOST, _DEPTH_AT_MOST = 262_144, 8
# Nobody looks at more on one page, and a broker could send without end.
TANKS_AT_MOST = 500
_NOTHING_THERE = "nothing/there"
_IDENTITY = "[a-z0-9-]{1,32}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Vantage:
    """Where to look from: a broker, and who one is there."""

    host: str
    port: int
    prefix: str = "slackwater/1"
    user: str = ""
    password: str = field(default="", repr=False)
    ca_file: Path | None = None


@dataclass(slots=True, kw_only=True)
class Seen:
    """States by (site, tank), daemons by site, and topics that could not be read."""

    tanks: dict[tuple[str, str], TankDocument] = field(default_factory=dict)
    daemons: dict[str, DaemonDocument] = field(default_factory=dict)
    spoilt: dict[str, str] = field(default_factory=dict)


def look_around(vantage: Vantage) -> Seen:
    """Everything that lies retained on the broker, of every site.

    Raises: WireError when nobody lets us in; InputError for a file of certificates
    that cannot be used.
    """
    listener = _Listener(vantage)
    try:
        listener.connect()
        listener.gather()
    finally:
        listener.hang_up()
    return listener.seen


class _Listener:
    """One connection, from its greeting until the broker has handed all over."""

    def __init__(self, vantage: Vantage) -> None:
        self.seen = Seen()
        self._vantage = vantage
        self._shape = re.compile(
            f"{re.escape(vantage.prefix)}/(?P<site>{_IDENTITY})/"
            f"(?:tank/(?P<tank>{_IDENTITY})/state|daemon/state)"
        )
        self._refusal = ""
        self._answers = 0
        self._heard = 0
        self._client = self._new_client()

    def connect(self) -> None:
        """Connect and subscribe."""
        vantage = self._vantage
        if why := reach(self._client, vantage.host, vantage.port):
            raise self._failure(why)
        self._await_answers(1)
        if not self._answers:
            raise self._failure(self._refusal or "no greeting")

    def gather(self) -> None:
        """Listen until the broker has handed over what it keeps.

        The answer to a second subscription comes behind all that the first one brought;
        the quiet moment after it is for brokers that do not keep that order.
        """
        self._client.subscribe(f"{self._vantage.prefix}/{_NOTHING_THERE}", 0)
        self._await_answers(2)
        heard, quiet_since_s = self._heard, time.monotonic()
        while time.monotonic() - quiet_since_s < _QUIET_S:
            self._serve()
            if self._heard != heard:
                heard, quiet_since_s = self._heard, time.monotonic()

    def _await_answers(self, count: int) -> None:
        end_s = time.monotonic() + CONNECT_S
        while self._answers < count and not self._refusal:
            if time.monotonic() > end_s:
                return
            self._serve()

    def hang_up(self) -> None:
        """Say good-bye."""
        self._client.disconnect()
        serve(self._client, 0.1)

    def _serve(self) -> None:
        if not serve(self._client, 0.1):
            raise self._failure(self._refusal or "the connection was lost")

    def _new_client(self) -> Client:
        calls = Calls(
            accepted=self._accepted,
            refused=self._refused,
            granted=self._granted,
            heard=self._take,
        )
        vantage = self._vantage
        client = guest_client("overview", calls, vantage.user, vantage.password)
        if vantage.ca_file is not None:
            client.tls_set_context(_trusting(vantage.ca_file))
        return client

    def _accepted(self, client: Client) -> None:
        prefix = self._vantage.prefix
        client.subscribe(
            [(f"{prefix}/+/tank/+/state", 0), (f"{prefix}/+/daemon/state", 0)]
        )

    def _refused(self, why: str) -> None:
        self._refusal = why

    def _granted(self) -> None:
        self._answers += 1

    def _take(self, message: MQTTMessage) -> None:
        found = self._shape.fullmatch(message.topic)
        if not message.retain or found is None or not message.payload:
            return
        self._heard += 1
        site, tank = found["site"], found["tank"]
        model = TankDocument if tank else DaemonDocument
        read = read_strictly(
            bytes(message.payload),
            model,
            bytes_at_most=_BYTES_AT_MOST,
            depth_at_most=_DEPTH_AT_MOST,
        )
        if isinstance(read, Spoiled):
            if len(self.seen.spoilt) < TANKS_AT_MOST:
                self.seen.spoilt[message.topic] = f"{read.why} {read.detail}".strip()
        elif isinstance(read.model, TankDocument):
            if len(self.seen.tanks) < TANKS_AT_MOST:
                self.seen.tanks[site, tank] = read.model
        elif isinstance(read.model, DaemonDocument):
            self.seen.daemons[site] = read.model

    def _failure(self, why: str) -> WireError:
        vantage = self._vantage
        return WireError(
            Finding(
                what=why,
                where=f"{vantage.host}:{vantage.port}",
                expected="a broker that lets this user read the states of tanks",
                do="Look at address, user and rights; nothing was sent.",
            )
        )


def _trusting(ca_file: Path) -> ssl.SSLContext:
    try:
        return ssl.create_default_context(cafile=ca_file)
    except OSError as error:
        raise InputError(
            Finding(
                what=f"the file cannot be used ({type(error).__name__})",
                where=str(ca_file),
                expected="certificates in PEM form",
                do="Name the file of the authority that vouches for the broker.",
            )
        ) from error
