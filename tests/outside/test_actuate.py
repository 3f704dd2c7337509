"""The commanding connection on a real Mosquitto and on servers that misbehave."""

import json
import socket
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from paho.mqtt.enums import MQTTProtocolVersion

from slackwater.errors import InputError, NotConnectedError
from slackwater.facts.messages import (
    Handed,
    LinkChanged,
    Result,
    RunPump,
    StopPump,
)
from slackwater.outside.broker.actuate import Actuate
from slackwater.outside.broker.client import connect, new_client
from slackwater.outside.broker.connection import Connection, Outgoing
from slackwater.outside.broker.credentials import Access, Secrets
from slackwater.outside.broker.observe import Observe
from slackwater.outside.broker.pace import Pace
from slackwater.outside.mailbox import BoundedMailbox
from slackwater.outside.wire import BrokerSettings, Kind, Topic
from slackwater.ports import PumpLink
from tests.outside.peers import (
    LOOPBACK,
    Broker,
    Collected,
    Peer,
    Proxy,
    ScriptedServer,
    free_port,
    until,
)
from tests.outside.samples import (
    COMMAND,
    KEY,
    ROOT,
    RUN,
    TAKEN,
    VIEW,
    SetClock,
    changed,
)

pytestmark = pytest.mark.mosquitto

QUICK = Pace(first_wait_s=0.05, longest_wait_s=0.1, look_s=0.05, brief_s=0.0)
COMMAND_AT = f"{ROOT}/node/left/command"

# MQTT 3.1.1 and 5.0, section 3.2: CONNACK.
ACCEPTED_3 = bytes.fromhex("20020000")
REFUSED_VERSION_3 = bytes.fromhex("20020001")
ACCEPTED_5 = bytes.fromhex("2003000000")
# MQTT 5.0, section 3.14: DISCONNECT with reason 0x8E, session taken over.
TAKEN_OVER_5 = bytes.fromhex("e0028e00")

Make = Callable[..., Actuate]


@pytest.fixture
def make_actuate(mailbox: BoundedMailbox) -> Iterator[Make]:
    """Start a link to a port; it is closed with the test."""
    made: list[Actuate] = []

    def make(port: int, pace: Pace = QUICK, **settings: object) -> Actuate:
        resolved = replace(
            BrokerSettings(host=LOOPBACK, port=port, site="reef"),
            **settings,  # type: ignore[arg-type]  # named settings of one test
        )
        actuate = Actuate(resolved, {"right": KEY}, mailbox, pace)
        made.append(actuate)
        actuate.start()
        return actuate

    yield make
    for actuate in made:
        actuate.close()


@pytest.fixture
def make_server() -> Iterator[Callable[[Callable[[int], bytes]], ScriptedServer]]:
    """Start a scripted server; it ends with the test."""
    made: list[ScriptedServer] = []

    def make(answer: Callable[[int], bytes]) -> ScriptedServer:
        made.append(ScriptedServer(answer))
        return made[-1]

    yield make
    for server in made:
        server.close()


@pytest.fixture
def collected(mailbox: BoundedMailbox) -> Collected:
    """What the mailbox gave."""
    return Collected(mailbox)


def is_up(change: LinkChanged) -> bool:
    """Whether a change says that commands can leave."""
    return change.link == "actuate" and change.up


def is_down(change: LinkChanged) -> bool:
    """Whether a change says that no command can leave."""
    return change.link == "actuate" and not change.up


def numbered(number: int) -> RunPump:
    """A command that can be told from others."""
    return replace(COMMAND, attempt=f"{number:032x}", n=number)


def test_run_reaches_the_node_byte_for_byte(
    broker: Broker, make_actuate: Make, collected: Collected
) -> None:
    """What the node receives is the contract's example, not retained; it was handed."""
    with Peer(broker.port, COMMAND_AT) as node:
        link: PumpLink = make_actuate(broker.port)
        collected.first(LinkChanged, is_up)
        sent = link.run(COMMAND)
        until(lambda: bool(node.received), "the command")
        handed = collected.any(Handed)
    assert sent
    assert [(COMMAND_AT, RUN, False)] == node.received
    assert Handed(attempt=COMMAND.attempt) == handed


def test_command_leaves_nothing_on_the_broker(
    broker: Broker, make_actuate: Make, collected: Collected
) -> None:
    """At most once on the wire, and whoever subscribes later finds nothing (H13)."""
    with Peer(broker.port, COMMAND_AT) as node:
        actuate = make_actuate(broker.port)
        collected.first(LinkChanged, is_up)
        actuate.run(numbered(1))
        actuate.stop(StopPump(node="left"))
        until(lambda: len(node.received) == 2, "both commands")
        with Peer(broker.port, COMMAND_AT) as late:
            actuate.run(numbered(2))
            until(lambda: bool(late.received), "the command after the subscription")
            found = [json.loads(each)["n"] for each in late.payloads(COMMAND_AT)]
    # The subscription allows QoS 1, so the level is the one it was published with.
    assert {0} == set(node.levels)
    assert [2] == found


def test_small_packets_are_not_held_back(broker: Broker) -> None:
    """The socket of a connection has Nagle's algorithm switched off."""
    access = Access(
        name="actuate",
        settings=BrokerSettings(host=LOOPBACK, port=broker.port, site="reef"),
        user="",
        password=None,
        may_publish=frozenset({Kind.COMMAND}),
    )
    client = new_client(access, Secrets(), MQTTProtocolVersion.MQTTv5, QUICK)
    connect(client, access, QUICK)
    opened = client.socket()
    assert isinstance(opened, socket.socket)
    without_delay = opened.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
    opened.close()
    assert without_delay != 0


def test_node_with_a_key_gets_signed_commands(
    broker: Broker, make_actuate: Make, collected: Collected
) -> None:
    """Run and stop of a signing node carry a code."""
    place = f"{ROOT}/node/right/command"
    with Peer(broker.port, place) as node:
        actuate = make_actuate(broker.port)
        collected.first(LinkChanged, is_up)
        actuate.run(replace(COMMAND, node="right"))
        actuate.stop(StopPump(node="right"))
        until(lambda: len(node.received) == 2, "both commands")
        codes = [json.loads(payload)["mac"] for payload in node.payloads(place)]
    assert [64, 64] == [len(code) for code in codes]


def test_stop_may_be_repeated(
    broker: Broker, make_actuate: Make, collected: Collected
) -> None:
    """Each stop is a message of its own with its own identity."""
    with Peer(broker.port, COMMAND_AT) as node:
        actuate = make_actuate(broker.port)
        collected.first(LinkChanged, is_up)
        for _ in range(3):
            actuate.stop(StopPump(node="left", channel="a"))
        until(lambda: len(node.received) == 3, "three stops")
        stops = [json.loads(payload) for payload in node.payloads(COMMAND_AT)]
    assert [("stop", "a")] * 3 == [(stop["act"], stop["chan"]) for stop in stops]
    assert 3 == len({stop["id"] for stop in stops})


def test_nothing_sent_while_down_arrives_later(
    broker: Broker, make_actuate: Make, collected: Collected
) -> None:
    """A dose due while the broker is down is refused and never delivered (H10)."""
    actuate = make_actuate(broker.port)
    collected.first(LinkChanged, is_up)
    broker.stop()
    collected.first(LinkChanged, is_down)
    collected.forget()
    for number in range(5):
        with pytest.raises(NotConnectedError):
            actuate.run(numbered(number))
        actuate.stop(StopPump(node="left"))
    idle_while_down = actuate.is_idle
    broker.start()
    with Peer(broker.port, COMMAND_AT) as node:
        collected.first(LinkChanged, is_up)
        actuate.run(numbered(99))
        until(lambda: bool(node.received), "the command of now")
        numbers = [json.loads(payload)["n"] for payload in node.payloads(COMMAND_AT)]
    assert idle_while_down
    assert [99] == numbers


def test_before_the_broker_accepts_nothing_is_queued(
    make_server: Callable[[Callable[[int], bytes]], ScriptedServer],
    make_actuate: Make,
) -> None:
    """Between the socket and the CONNACK a command is refused, not kept (H10)."""
    server = make_server(lambda _level: b"")
    actuate = make_actuate(server.port)
    until(lambda: bool(server.levels), "the CONNECT")
    with pytest.raises(NotConnectedError):
        actuate.run(COMMAND)
    assert actuate.is_idle


def test_command_into_a_half_open_link_is_not_repeated(
    broker: Broker, proxy: Proxy, make_actuate: Make, collected: Collected
) -> None:
    """Bytes lost on the way are lost: the new connection begins empty (H12)."""
    with Peer(broker.port, COMMAND_AT) as node:
        actuate = make_actuate(proxy.port, replace(QUICK, keepalive_s=1, connack_s=0.5))
        collected.first(LinkChanged, is_up)
        proxy.freeze()
        handed = actuate.run(numbered(1))
        collected.first(LinkChanged, is_down)
        with pytest.raises(NotConnectedError):
            actuate.run(numbered(2))
        collected.forget()
        proxy.cut()
        proxy.thaw()
        collected.first(LinkChanged, is_up)
        actuate.run(numbered(3))
        until(lambda: bool(node.received), "the third command")
        numbers = [json.loads(payload)["n"] for payload in node.payloads(COMMAND_AT)]
    assert handed
    assert [3] == numbers


def test_no_answer_to_connect_is_given_up(
    make_server: Callable[[Callable[[int], bytes]], ScriptedServer],
    make_actuate: Make,
) -> None:
    """A silent port is left after a while; the other protocol is tried in turn."""
    server = make_server(lambda _level: b"")
    make_actuate(server.port, replace(QUICK, connack_s=0.2, silence_s=0.1))
    until(lambda: len(server.levels) > 2, "a third attempt")
    assert [5, 4, 5] == server.levels[:3]


def test_old_broker_gets_the_old_protocol(
    make_server: Callable[[Callable[[int], bytes]], ScriptedServer],
    make_actuate: Make,
    collected: Collected,
) -> None:
    """MQTT 5 refused as an unsupported version: a new client speaks 3.1.1."""
    server = make_server(lambda level: ACCEPTED_3 if level == 4 else REFUSED_VERSION_3)
    make_actuate(server.port)
    collected.first(LinkChanged, is_up)
    assert [5, 4] == server.levels


def test_session_taken_over_is_told_and_not_fought(
    make_server: Callable[[Callable[[int], bytes]], ScriptedServer],
    make_actuate: Make,
    collected: Collected,
) -> None:
    """Reason 0x8E becomes a take-over, and the link rests (H25)."""
    server = make_server(lambda _level: ACCEPTED_5 + TAKEN_OVER_5)
    make_actuate(server.port, replace(QUICK, rest_s=0.5))
    lost = collected.first(LinkChanged, is_down)
    lost_s = time.monotonic()
    until(lambda: len(server.levels) > 1, "the attempt after the rest")
    rested_s = time.monotonic() - lost_s
    assert LinkChanged(link="actuate", up=False, taken_over=True) == lost
    # Told and begun to rest are an instant apart.
    assert rested_s > 0.4


def test_second_client_of_the_same_name_is_a_take_over(
    broker: Broker, make_actuate: Make, collected: Collected
) -> None:
    """A rival that takes the name again and again is noticed on a real broker (H25)."""
    pace = Pace(first_wait_s=0.02, longest_wait_s=0.05, look_s=0.02, rest_s=30.0)
    make_actuate(broker.port, pace)
    for _ in range(pace.brief_losses):
        collected.first(LinkChanged, is_up)
        collected.forget()
        with Peer(broker.port, name="slackwater-reef-actuate"):
            lost = collected.first(LinkChanged, is_down)
        if lost.taken_over:
            break
        collected.forget()
    assert LinkChanged(link="actuate", up=False, taken_over=True) == lost


def test_connection_publishes_only_what_it_was_made_for(
    mailbox: BoundedMailbox,
) -> None:
    """A command on an observing connection is refused by the connection itself."""
    settings = BrokerSettings(host=LOOPBACK, port=free_port(), site="reef")
    access = Access(
        name="observe",
        settings=settings,
        user="",
        password=None,
        may_publish=frozenset({Kind.EVENT}),
    )
    connection = Connection(access, Actuate(settings, {}, mailbox), QUICK)
    topic = Topic(root=ROOT, kind=Kind.COMMAND, owner="left")
    with pytest.raises(InputError):
        connection.publish(Outgoing(topic=topic, payload=RUN))


def test_impossible_command_is_refused_before_the_wire(make_actuate: Make) -> None:
    """A malformed command is an error even without a connection."""
    with pytest.raises(InputError):
        make_actuate(free_port()).run(replace(COMMAND, ul=0))


@pytest.mark.parametrize(
    "settings",
    [
        {"actuate_user": "a", "actuate_password": Path("/nonexistent/word")},
        {"tls_ca": Path("/nonexistent/ca.pem")},
        {"tls_ca": Path("/etc/hostname")},
    ],
)
def test_unusable_credentials_are_named(
    make_actuate: Make, settings: dict[str, object]
) -> None:
    """A missing or wrong file is one clear error at the start."""
    with pytest.raises(InputError) as caught:
        make_actuate(free_port(), **settings)
    path = next(value for value in settings.values() if isinstance(value, Path))
    assert f"broker, {path}" == caught.value.findings[0].where


def test_an_answer_follows_each_command(
    broker: Broker, make_actuate: Make, mailbox: BoundedMailbox, collected: Collected
) -> None:
    """Fifty in a row; `tests.bench.answer` times them."""
    settings = BrokerSettings(host=LOOPBACK, port=broker.port, site="reef")
    observe = Observe(settings, VIEW, mailbox, SetClock(), QUICK)
    observe.start()
    actuate = make_actuate(broker.port)
    collected.first(LinkChanged, is_up)
    collected.first(LinkChanged, lambda change: change.link == "observe")
    with Peer(broker.port, COMMAND_AT) as node:

        def reply(_topic: str, payload: bytes) -> None:
            command = json.loads(payload)
            answer = changed(TAKEN, id=command["id"], n=command["n"])
            node.answer(f"{ROOT}/node/left/result", answer)

        node.on_message = reply
        for number in range(50):
            actuate.run(numbered(number))
            until(
                lambda: any(isinstance(m, Result) for m in mailbox.collect(0.1)),
                "an answer",
            )
    observe.close()
