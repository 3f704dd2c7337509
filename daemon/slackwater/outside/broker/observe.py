"""The listening connection: beats, results, readings in; state and events out.

Floor 6. One subject: what every mode of the daemon needs from the broker. Laws here:
there is no way to publish a command; the link counts as up only after a message of
our own came back; what is announced never blocks a decision.
"""

import secrets
import threading
import time
from collections import Counter

import structlog
from structlog.typing import FilteringBoundLogger

from slackwater.errors import InputError, NotConnectedError
from slackwater.facts.messages import Beat, LinkChanged, Tell
from slackwater.outside.broker.connection import Connection, Outgoing, Wanted
from slackwater.outside.broker.credentials import Access
from slackwater.outside.broker.pace import Pace
from slackwater.outside.broker.repeats import Repeats
from slackwater.outside.wire import (
    GONE,
    BrokerSettings,
    Decoded,
    Decoder,
    Foreign,
    Heard,
    Ignored,
    Kind,
    MachineView,
    Spoiled,
    Topic,
    birth_topic,
    event_bytes,
    parse_topic,
    state_bytes,
    topic_filter,
)
from slackwater.ports import Clock, Mailbox

MESSAGE_SPOILED = "message_spoiled"
ANNOUNCEMENT_REFUSED = "announcement_refused"

_QOS = {
    Kind.BEAT: 0,
    Kind.RESULT: 1,
    Kind.HOLD: 1,
    Kind.READING: 1,
    Kind.INPUT: 1,
    Kind.REQUEST: 1,
    Kind.COMMAND: 0,
    Kind.ECHO: 0,
    # Our own: what lies there and is in no ledger must be taken away.
    Kind.ALARM: 1,
}
_SHOWN = frozenset({Kind.TANK_STATE, Kind.DAEMON_STATE, Kind.ALARM})
_MAY_PUBLISH = _SHOWN | {Kind.EVENT, Kind.ECHO}

_ALARMS = "daemon/alarm/"
# A ledger has some hundred alarms; whoever writes more there is no daemon.
_LYING_AT_MOST = 1000

# What home automation says on its own topic when it has come up.
BORN = b"online"

_log: FilteringBoundLogger = structlog.get_logger()


class Observe:
    """Listens for the loop and announces for it; knows nothing of commands."""

    def __init__(
        self,
        settings: BrokerSettings,
        view: MachineView,
        mailbox: Mailbox,
        clock: Clock,
        pace: Pace | None = None,
    ) -> None:
        """Keep what is needed; `start` opens the connection."""
        self._root = settings.root
        self._pace = pace or Pace()
        self._mailbox = mailbox
        self._clock = clock
        self._decoder = Decoder(root=self._root, view=view)
        self._mapped_topics = view.mapped_topics
        self._daemon = Topic(root=self._root, kind=Kind.DAEMON_STATE)
        self._echo = Topic(root=self._root, kind=Kind.ECHO)
        self._counts: Counter[str] = Counter()
        self._documents: dict[Topic | Foreign, bytes] = {}
        self._birth = (
            "" if settings.home is None else birth_topic(settings.home.discovery)
        )
        self._documents_lock = threading.Lock()
        self._alarms = f"{self._root}/{_ALARMS}"
        self._lying: set[str] = set()
        # Touched by the connection's thread only.
        self._expected = b""
        self._sent_s = 0.0
        self._proven = False
        self._repeats = Repeats()
        self._born_s: float | None = None
        self._connection = Connection(
            Access(
                name="observe",
                settings=settings,
                user=settings.observe_user,
                password=settings.observe_password,
                may_publish=_MAY_PUBLISH,
                will=(self._daemon, GONE),
                foreign=view.ask_topics,
                announces=settings.home is not None,
            ),
            self,
            self._pace,
        )

    def start(self) -> None:
        """Connect, and stay connected until `close`.

        Raises: InputError when a credential or certificate file cannot be used.
        """
        self._connection.start()

    def close(self) -> None:
        """Say `gone` as the will would, and disconnect."""
        self._connection.close()

    def hurry(self) -> None:
        """Do not wait any longer with the next attempt to connect."""
        self._connection.hurry()

    @property
    def has_ended(self) -> bool:
        """Whether it will never come back though nobody closed it."""
        return self._connection.has_ended

    @property
    def counts(self) -> dict[str, int]:
        """How many messages were spoiled, ignored or not announced, by reason."""
        return dict(self._counts)

    @property
    def refusals(self) -> int:
        """How many attempts to connect came to nothing since the start."""
        return self._connection.refusals

    def tell(self, message: Tell) -> None:
        """Publish one event on the tank's topic; lost while the link is down."""
        try:
            topic = Topic(root=self._root, kind=Kind.EVENT, owner=message.tank)
            payload = event_bytes(topic, message, self._clock.now().utc)
        except InputError as error:
            self._refuse(error)
            return
        self._publish(Outgoing(topic=topic, payload=payload, qos=1))

    def ask(self, topic: str, payload: bytes) -> None:
        """Ask a relay for its state; nothing else can be asked of anybody here."""
        self._publish(Outgoing(topic=Foreign(topic), payload=payload))

    def show(self, topic: str, document: dict[str, object]) -> None:
        """Publish a retained state document below the site's prefix.

        `topic` is for example `tank/reef/state` or `daemon/state`. The newest document
        of each topic is published again whenever the connection comes back.
        """
        parsed = self._state_topic(topic)
        if parsed is None:
            return
        try:
            payload = state_bytes(parsed, document)
        except InputError as error:
            self._refuse(error)
            return
        self._keep(parsed, payload)

    def clear(self, topic: str) -> None:
        """Take a retained state document away, now or when the link comes back."""
        parsed = self._state_topic(topic)
        if parsed is not None:
            self._keep(parsed, b"")

    def lying(self) -> frozenset[str]:
        """Places of alarms, `CAUSE/ABOUT`, found retained since it was last asked."""
        with self._documents_lock:
            found, self._lying = frozenset(self._lying), set()
        return found

    def announce(self, topic: str, payload: bytes) -> None:
        """Tell home automation of a device, retained; an empty payload ends it.

        Told again when the connection comes back, and when home automation starts.
        Raises: InputError when the topic announces no device of this site.
        """
        self._keep(Foreign(topic), payload)

    def _state_topic(self, topic: str) -> Topic | None:
        parsed = parse_topic(f"{self._root}/{topic}", self._root)
        if parsed is not None and parsed.kind in _SHOWN:
            return parsed
        self._counts["not-announced"] += 1
        _log.warning(ANNOUNCEMENT_REFUSED, why="no topic for state", topic=topic)
        return None

    def _keep(self, topic: Topic | Foreign, payload: bytes) -> None:
        with self._documents_lock:
            self._documents[topic] = payload
        self._publish(Outgoing(topic=topic, payload=payload, qos=1, retain=True))

    def connected(self) -> None:
        """Subscribe, prove the way in, and show every document anew."""
        self._proven = False
        self._connection.subscribe(
            [
                Wanted(
                    topic_filter=topic_filter(self._root, kind),
                    qos=qos,
                    # A command planted as retained shows itself even later.
                    show_retained=kind is Kind.COMMAND,
                )
                for kind, qos in _QOS.items()
            ]
            + [Wanted(topic_filter=topic, qos=1) for topic in self._mapped_topics]
            + ([Wanted(topic_filter=self._birth)] if self._birth else [])
        )
        self._send_echo()
        for topic, payload in self._shown().items():
            self._publish(Outgoing(topic=topic, payload=payload, qos=1, retain=True))

    def _shown(self) -> dict[Topic | Foreign, bytes]:
        with self._documents_lock:
            return dict(self._documents)

    def lost(self, *, taken_over: bool) -> None:
        """Tell the loop that nothing can be heard any more."""
        if self._proven or taken_over:
            self._proven = False
            self._mailbox.put(
                LinkChanged(link="observe", up=False, taken_over=taken_over)
            )

    def heard(self, topic: str, payload: bytes, *, retained: bool) -> None:
        """Take one message: our own echo, a fact, or something to count."""
        if topic == str(self._echo):
            self._hear_echo(payload, retained=retained)
            return
        if self._birth and topic == self._birth:
            if payload == BORN:
                self._born_s = time.monotonic() + self._pace.apart_s()
            return
        if topic.startswith(self._alarms):
            self._hear_alarm(topic, payload, retained=retained)
            return
        if self._repeats.has(topic, payload):
            self._counts["ignored: repeated"] += 1
            return
        heard = Heard(
            topic=topic, payload=payload, retained=retained, now=self._clock.now()
        )
        for decoded in self._decoder.decode_all(heard):
            if isinstance(decoded, Beat):
                self._repeats.take(topic, payload)
            self._take(decoded)

    def _hear_alarm(self, topic: str, payload: bytes, *, retained: bool) -> None:
        """Note what lay there when we came; what we say ourselves comes back too."""
        if retained and payload and parse_topic(topic, self._root) is not None:
            with self._documents_lock:
                if len(self._lying) < _LYING_AT_MOST:
                    self._lying.add(topic.removeprefix(self._alarms))

    def _take(self, decoded: Decoded) -> None:
        if isinstance(decoded, Ignored):
            self._counts[f"ignored: {decoded.why}"] += 1
        elif isinstance(decoded, Spoiled):
            self._counts[f"spoiled: {decoded.why}"] += 1
            _log.debug(
                MESSAGE_SPOILED,
                why=decoded.why,
                detail=decoded.detail,
                topic=decoded.topic,
            )
        else:
            self._mailbox.put(decoded)

    def handed(self, mark: str) -> None:
        """Nothing here is marked."""

    def leaving(self) -> None:
        """Say `gone`: a clean good-bye makes the broker forget the will."""
        self._publish(Outgoing(topic=self._daemon, payload=GONE, qos=1, retain=True))

    def tick(self) -> None:
        """Ask for the echo again while the way in is not proven."""
        waited_s = time.monotonic() - self._sent_s
        if not self._proven and self._expected and waited_s > self._pace.echo_s:
            self._send_echo()
        if self._born_s is not None and time.monotonic() >= self._born_s:
            self._born_s = None
            self._announce_again()

    def _announce_again(self) -> None:
        """Tell home automation that just started of every device there is."""
        for topic, payload in self._shown().items():
            if isinstance(topic, Foreign) and payload:
                self._publish(
                    Outgoing(topic=topic, payload=payload, qos=1, retain=True)
                )

    def _send_echo(self) -> None:
        nonce = secrets.token_hex(16)
        self._expected = f'{{"v":1,"nonce":"{nonce}"}}'.encode()
        self._sent_s = time.monotonic()
        self._publish(Outgoing(topic=self._echo, payload=self._expected))

    def _hear_echo(self, payload: bytes, *, retained: bool) -> None:
        if retained or payload != self._expected or self._proven:
            return
        self._proven = True
        self._mailbox.put(LinkChanged(link="observe", up=True))

    def _publish(self, outgoing: Outgoing) -> None:
        try:
            self._connection.publish(outgoing)
        except NotConnectedError:
            self._counts["not-announced"] += 1

    def _refuse(self, error: InputError) -> None:
        self._counts["not-announced"] += 1
        _log.warning(ANNOUNCEMENT_REFUSED, why=str(error))
