"""The virtual node's connection, against a real broker and against odd ones."""

from collections.abc import Iterator
from pathlib import Path
from queue import Empty, SimpleQueue

import pytest

from demo.reef.link import Address, Broker, Inbox, Link, LinkUp, Said
from tests.outside.peers import LOOPBACK, Peer, ScriptedServer, free_port, until
from tests.outside.peers import Broker as RealBroker

PLACE = "slackwater/1/home/node/shelf"
ADDRESS = Address(
    link="shelf",
    client_id="test-shelf",
    commands=f"{PLACE}/command",
    hold=f"{PLACE}/hold",
    will=(f"{PLACE}/state", b"gone"),
)


class Ends:
    """Opens links and keeps what they heard."""

    def __init__(self) -> None:
        self.inbox: Inbox = SimpleQueue()
        self.heard: list[Said | LinkUp] = []
        self._links: list[Link] = []

    def link(self, port: int) -> Link:
        """An open link to this port."""
        link = Link(Broker(host=LOOPBACK, port=port), ADDRESS, self.inbox)
        self._links.append(link)
        link.open()
        return link

    def look(self) -> list[Said | LinkUp]:
        """Everything heard so far."""
        try:
            while (message := self.inbox.get_nowait()) is not None:
                self.heard.append(message)
        except Empty:
            pass
        return self.heard

    def ups(self) -> int:
        """How often a link came up."""
        return sum(isinstance(message, LinkUp) for message in self.look())

    def said(self) -> list[tuple[str, bytes, bool]]:
        """Messages heard so far."""
        return [
            (message.topic, message.payload, message.retained)
            for message in self.look()
            if isinstance(message, Said)
        ]

    def close(self) -> None:
        """Close every link."""
        for link in self._links:
            link.close()


@pytest.fixture
def ends() -> Iterator[Ends]:
    """Links that are closed with the test."""
    opened = Ends()
    yield opened
    opened.close()


# MQTT 3.1.1, section 3.2.2.3: 0 accepts, 1 refuses the protocol level.
_ACCEPTED = b"\x20\x02\x00\x00"
_REFUSED_LEVEL = b"\x20\x02\x00\x01"
# MQTT 5.0, section 3.14: the server hangs up.
_HANG_UP = b"\xe0\x00"


@pytest.mark.parametrize(
    "greeting",
    [_REFUSED_LEVEL, _HANG_UP, b""],
    ids=["says so", "hangs up", "is silent"],
)
def test_a_broker_that_knows_only_3_1_1_is_spoken_to_in_it(
    ends: Ends, greeting: bytes
) -> None:
    """MQTT 5 is tried first; refused or met with silence, 3.1.1 follows."""
    server = ScriptedServer(lambda level: greeting if level == 5 else _ACCEPTED)
    ends.link(server.port)
    until(lambda: ends.ups() == 1, "the older protocol")
    assert server.levels == [5, 4]
    server.close()


def test_a_refused_name_is_no_question_of_the_version(ends: Ends) -> None:
    """Turned away for another reason, it asks again in MQTT 5.

    Source: MQTT 5.0, section 3.2.2.2: 0x87 is "not authorized".
    """
    server = ScriptedServer(lambda _level: b"\x20\x03\x00\x87\x00")
    ends.link(server.port)
    until(lambda: len(server.levels) >= 3, "three greetings")
    assert set(server.levels) == {5}
    assert ends.ups() == 0
    server.close()


@pytest.mark.mosquitto
def test_hears_commands_and_holds(ends: Ends, broker_port: tuple[str, int]) -> None:
    """Both topics arrive with payload and retain flag, in order."""
    ends.link(broker_port[1])
    with Peer(broker_port[1]) as peer:
        until(lambda: ends.ups() == 1, "the link")
        _wait_for_subscription(peer, ends)
        peer.say(f"{PLACE}/command", b"\x00\xff")
        peer.say(f"{PLACE}/beat", b"not for it")
        peer.say(f"{PLACE}/hold", b"{}")
        until(lambda: (f"{PLACE}/hold", b"{}", False) in ends.said(), "the last")
    assert ends.said()[-2:] == [
        (f"{PLACE}/command", b"\x00\xff", False),
        (f"{PLACE}/hold", b"{}", False),
    ]


@pytest.mark.mosquitto
def test_a_retained_hold_arrives_and_a_retained_command_does_not(
    ends: Ends, broker_port: tuple[str, int]
) -> None:
    """Hazard H13: on MQTT 5 the broker is asked to keep retained commands."""
    with Peer(broker_port[1]) as peer:
        peer.say(f"{PLACE}/command", b"planted", retain=True)
        peer.say(f"{PLACE}/hold", b"{}", retain=True)
        ends.link(broker_port[1])
        until(lambda: bool(ends.said()), "the hold")
        # Commands are subscribed to first: a planted one would be here before this.
        peer.say(f"{PLACE}/command", b"live")
        until(lambda: len(ends.said()) == 2, "the live command")
    assert ends.said() == [
        (f"{PLACE}/hold", b"{}", True),
        (f"{PLACE}/command", b"live", False),
    ]


@pytest.mark.mosquitto
def test_a_lost_link_lets_the_will_speak_and_comes_back(
    ends: Ends, broker_port: tuple[str, int]
) -> None:
    """The broker tells that the node vanished; later the link is up again."""
    with Peer(broker_port[1], f"{PLACE}/state") as peer:
        link = ends.link(broker_port[1])
        until(lambda: ends.ups() == 1, "the link")
        link.lose(0.5, forget=False)
        until(lambda: peer.payloads(f"{PLACE}/state") == [b"gone"], "the will")
        until(lambda: ends.ups() == 2, "the link again")


@pytest.mark.mosquitto
def test_while_away_beats_are_dropped_and_results_wait(
    ends: Ends, broker_port: tuple[str, int]
) -> None:
    """QoS 0 said offline is never heard; QoS 1 comes after the reconnect."""
    with Peer(broker_port[1], f"{PLACE}/beat", f"{PLACE}/result") as peer:
        link = ends.link(broker_port[1])
        until(lambda: ends.ups() == 1, "the link")
        link.lose(1.0, forget=False)
        until(lambda: not link.connected, "the loss")
        link.publish(f"{PLACE}/beat", b"old", qos=0, retain=False)
        link.publish(f"{PLACE}/result", b"late", qos=1, retain=False)
        until(lambda: ends.ups() == 2, "the link again")
        link.publish(f"{PLACE}/beat", b"new", qos=0, retain=False)
        until(lambda: len(peer.received) >= 2, "result and beat")
    heard = sorted(payload for _, payload, _ in peer.received)
    assert heard == [b"late", b"new"]


@pytest.mark.mosquitto
def test_a_power_up_forgets_what_was_to_be_sent(
    ends: Ends, broker_port: tuple[str, int]
) -> None:
    """After `forget` a result that waited is gone."""
    with Peer(broker_port[1], f"{PLACE}/result") as peer:
        link = ends.link(broker_port[1])
        until(lambda: ends.ups() == 1, "the link")
        link.lose(1.0, forget=True)
        until(lambda: not link.connected, "the loss")
        link.publish(f"{PLACE}/result", b"before", qos=1, retain=False)
        until(lambda: ends.ups() == 2, "the link again")
        link.publish(f"{PLACE}/result", b"after", qos=1, retain=False)
        until(lambda: bool(peer.received), "the second result")
    assert peer.payloads(f"{PLACE}/result") == [b"after"]


@pytest.mark.mosquitto
def test_closing_says_what_the_will_would_have_said(
    ends: Ends, broker_port: tuple[str, int]
) -> None:
    """A clean end leaves the same retained word as a sudden one."""
    link = ends.link(broker_port[1])
    until(lambda: ends.ups() == 1, "the link")
    link.close()
    with Peer(broker_port[1], f"{PLACE}/state") as peer:
        until(lambda: bool(peer.received), "the retained state")
    assert peer.received == [(f"{PLACE}/state", b"gone", True)]


@pytest.mark.mosquitto
def test_a_broker_that_comes_later_is_found(
    ends: Ends, make_broker_later: RealBroker
) -> None:
    """Nobody there is no error; the link is up when somebody is."""
    ends.link(make_broker_later.port)
    make_broker_later.start()
    until(lambda: ends.ups() == 1, "the link")


@pytest.fixture
def make_broker_later(tmp_path: Path) -> Iterator[RealBroker]:
    """A broker that is not started yet."""
    broker = RealBroker(tmp_path / "later.conf", free_port(), ("allow_anonymous true",))
    yield broker
    broker.stop()


def _wait_for_subscription(peer: Peer, ends: Ends) -> None:
    """The broker has taken both subscriptions when the later one delivers."""

    def heard() -> bool:
        peer.say(f"{PLACE}/hold", b"probe")
        return bool(ends.said())

    until(heard, "the subscription")
