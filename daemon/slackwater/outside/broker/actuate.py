"""The commanding connection: the only object that can make a pump run.

Floor 6. One subject: publishing on command topics. Laws here: QoS 0, never retained,
never queued; sent now, on a connection that is up and idle, or not at all; the
credential is read when the connection is opened and not before.
"""

import secrets
from collections.abc import Mapping

from slackwater.errors import NotConnectedError
from slackwater.facts.messages import Handed, LinkChanged, RunPump, StopPump
from slackwater.outside.broker.connection import Connection, Outgoing
from slackwater.outside.broker.credentials import Access, read_secrets
from slackwater.outside.broker.pace import Pace
from slackwater.outside.wire import (
    BrokerSettings,
    Foreign,
    Kind,
    Topic,
    run_bytes,
    stop_bytes,
)
from slackwater.ports import Mailbox

# A broker that speaks MQTT 5 drops copies it has not begun to deliver by then. This
# is hygiene: what guards is the deadline in the node's own uptime.
EXPIRY_S = 8


class Actuate:
    """A pump link over MQTT."""

    def __init__(
        self,
        settings: BrokerSettings,
        keys: Mapping[str, bytes],
        mailbox: Mailbox,
        pace: Pace | None = None,
        relay_topics: frozenset[str] = frozenset(),
    ) -> None:
        """Keep what is needed; `start` opens the connection."""
        self._root = settings.root
        self._keys = keys
        self._mailbox = mailbox
        self._access = Access(
            name="actuate",
            settings=settings,
            user=settings.actuate_user,
            password=settings.actuate_password,
            may_publish=frozenset({Kind.COMMAND}),
            foreign=relay_topics,
        )
        self._connection = Connection(self._access, self, pace or Pace())

    def check(self) -> None:
        """Whether what the connection needs is there, without opening it.

        Raises: InputError when a credential or certificate file cannot be used.
        """
        read_secrets(self._access)

    def start(self) -> None:
        """Connect, and stay connected until `close`.

        Raises: InputError when a credential or certificate file cannot be used.
        """
        self._connection.start()

    def run(self, command: RunPump) -> bool:
        """Send once. True: surely handed to the client; False: maybe sent.

        Raises: NotConnectedError when it is certain that nothing was sent; InputError
        when the command breaks the wire's own form, and then nothing was sent either.
        """
        payload = run_bytes(command, self._keys.get(command.node))
        return self._connection.publish(
            Outgoing(
                topic=self._topic(command.node),
                payload=payload,
                expiry_s=EXPIRY_S,
                mark=command.attempt,
                alone=True,
            )
        )

    def stop(self, command: StopPump) -> None:
        """Send a stop; safe to repeat, never raises for a lost link."""
        key = self._keys.get(command.node)
        payload = stop_bytes(command, secrets.token_hex(16), key)
        topic = self._topic(command.node)
        try:
            self._connection.publish(Outgoing(topic=topic, payload=payload))
        except NotConnectedError:
            # The node ends its run by itself, and the loop repeats the stop.
            return

    def post(self, topic: str, payload: bytes, mark: str = "") -> bool:
        """Tell a relay something once; True: surely handed to the client.

        Raises: NotConnectedError when it is certain that nothing was sent; InputError
        for a topic of no relay.
        """
        return self._connection.publish(
            Outgoing(
                topic=Foreign(topic),
                payload=payload,
                expiry_s=EXPIRY_S,
                mark=mark,
                alone=bool(mark),
            )
        )

    def close(self) -> None:
        """Disconnect; runs go on by themselves on the node."""
        self._connection.close()

    def hurry(self) -> None:
        """Do not wait any longer with the next attempt to connect."""
        self._connection.hurry()

    @property
    def has_ended(self) -> bool:
        """Whether it will never come back though nobody closed it."""
        return self._connection.has_ended

    @property
    def is_idle(self) -> bool:
        """Whether nothing waits to be written; true while the link is down."""
        return self._connection.is_idle

    @property
    def refusals(self) -> int:
        """How many attempts to connect came to nothing since the start."""
        return self._connection.refusals

    def connected(self) -> None:
        """Tell the loop that commands can leave."""
        self._mailbox.put(LinkChanged(link="actuate", up=True))

    def lost(self, *, taken_over: bool) -> None:
        """Tell the loop that no command can leave."""
        self._mailbox.put(LinkChanged(link="actuate", up=False, taken_over=taken_over))

    def handed(self, mark: str) -> None:
        """Tell the loop that a command's bytes were given to the system."""
        self._mailbox.put(Handed(attempt=mark))

    def heard(self, topic: str, payload: bytes, *, retained: bool) -> None:
        """Nothing is subscribed here."""

    def leaving(self) -> None:
        """Nothing is said: a stop is the loop's decision."""

    def tick(self) -> None:
        """Nothing here has a time limit of its own."""

    def _topic(self, node: str) -> Topic:
        return Topic(root=self._root, kind=Kind.COMMAND, owner=node)
