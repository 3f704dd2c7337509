"""A plain client for one who looks in on a broker, and is gone again.

Floor 6. One subject: paho as a short-lived guest uses it. Laws here: each guest has a
name of its own, so that nobody is turned out for it; it leaves no session and no word
behind, and does not come back by itself. The daemon's own connections are no guests.
"""

import secrets
import struct
from collections.abc import Callable
from dataclasses import dataclass

from paho.mqtt.client import Client, ConnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.properties import (  # type: ignore[attr-defined]  # as in 2.1
    MQTTException,
    Properties,
)
from paho.mqtt.reasoncodes import ReasonCode

_KEEPALIVE_S = 15
CONNECT_S = 10.0
# What a broken packet makes paho raise, in any client; in 2.1 its properties have an
# error of their own. ValueError includes names that cannot be looked up.
STUMBLES = (MQTTException, ValueError, IndexError, KeyError, struct.error)


@dataclass(frozen=True, slots=True, kw_only=True)
class Calls:
    """What a guest is told: let in, turned away and why, listening, and messages."""

    accepted: Callable[[Client], None]
    refused: Callable[[str], None]
    granted: Callable[[], None]
    heard: Callable[[MQTTMessage], None]


def guest_client(name: str, calls: Calls, user: str = "", password: str = "") -> Client:
    """A client that is not connected yet; `name` is made unlike any other.

    MQTT 3.1.1, because every broker speaks it.
    """

    def on_connect(
        client: Client,
        _userdata: object,
        _flags: ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if reason.is_failure:
            calls.refused(f"the broker refused: {reason}")
        else:
            calls.accepted(client)

    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=f"{name}-{secrets.token_hex(6)}",
        protocol=MQTTProtocolVersion.MQTTv311,
        clean_session=True,
        reconnect_on_failure=False,
    )
    if user:
        client.username_pw_set(user, password)
    client.on_connect = on_connect
    client.on_subscribe = lambda *_: calls.granted()
    client.on_message = lambda _client, _userdata, message: calls.heard(message)
    return client


def reach(client: Client, host: str, port: int) -> str:
    """Open the connection; why there is none, empty when it stands."""
    try:
        client.connect(host, port, _KEEPALIVE_S)
    except OSError as error:
        return error.strerror or "no answer"
    except ValueError:
        return "no name or address of a machine"
    return ""


def serve(client: Client, wait_s: float) -> bool:
    """Let the client do its work for so long; False when the connection is no more."""
    try:
        return client.loop(wait_s) is MQTTErrorCode.MQTT_ERR_SUCCESS
    except (OSError, *STUMBLES):
        return False
