"""Commands that come when their time is over, from a broker that kept them (H14, H16).

The broker here does its worst: it keeps even QoS 0 for clients that are away, over a
kill and a restart, and bytes on their way to a node are past any expiry of its own.
What is left is the node's own memory: the demo's node judges what arrives.
"""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from queue import SimpleQueue

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from demo.reef.link import Address, Inbox, Link, LinkUp, Said
from demo.reef.link import Broker as Place
from slackwater.facts.messages import Handed, LinkChanged, RunPump
from slackwater.outside.broker.actuate import Actuate
from slackwater.outside.broker.pace import Pace
from slackwater.outside.mailbox import BoundedMailbox
from slackwater.outside.wire import BrokerSettings, run_bytes
from tests.demo.nodes import BOOT, RESTED_MS, answer, attempt, bench
from tests.outside.peers import DEADLINE_S, LOOPBACK, Broker, Collected, Proxy, until

pytestmark = pytest.mark.mosquitto

COMMANDS = "slackwater/1/home/node/shelf/command"
ADDRESS = Address(link="shelf", client_id="test-shelf", commands=COMMANDS)
QUICK = Pace(first_wait_s=0.05, longest_wait_s=0.1, look_s=0.05, brief_s=0.0)
DEADLINE_MS = 1_000
COMMAND = RunPump(
    node="shelf",
    channel="a",
    attempt=attempt(1),
    boot=BOOT,
    n=0,
    fence=3,
    ul=1_000,
    ms=2_000,
    cut_ms=2_500,
    until_up=RESTED_MS + DEADLINE_MS,
    cal="77aa01cf",
)


def keeping(folder: Path) -> tuple[str, ...]:
    """A broker's settings that keep everything that can be kept."""
    return (
        "allow_anonymous true",
        "persistence true",
        f"persistence_location {folder}/",
        "queue_qos0_messages true",
    )


def properties_of(packet: int) -> Properties:
    """Empty properties of one kind of packet."""
    return Properties(packet)  # type: ignore[no-untyped-call]  # paho's gap


@contextmanager
def subscriber(port: int, *, quality: int) -> Iterator[SimpleQueue[bytes]]:
    """A client with a session that outlives its connection, for an hour."""
    heard: SimpleQueue[bytes] = SimpleQueue()
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id="keeper",
        protocol=MQTTProtocolVersion.MQTTv5,
    )
    client.on_message = lambda _client, _userdata, message: heard.put(
        bytes(message.payload)
    )
    granted = threading.Event()
    client.on_subscribe = lambda *_: granted.set()
    lasting = properties_of(PacketTypes.CONNECT)
    lasting.SessionExpiryInterval = 3600
    client.connect(LOOPBACK, port, clean_start=False, properties=lasting)
    client.loop_start()
    until(client.is_connected, "the keeper's connection")
    client.subscribe(COMMANDS, quality)
    assert granted.wait(DEADLINE_S)
    yield heard
    client.disconnect()
    client.loop_stop()


@contextmanager
def reference(port: int) -> Iterator[Inbox]:
    """The demo node's own link, up and subscribed."""
    inbox: Inbox = SimpleQueue()
    link = Link(Place(host=LOOPBACK, port=port), ADDRESS, inbox)
    link.open()
    assert isinstance(inbox.get(timeout=DEADLINE_S), LinkUp)
    yield inbox
    link.close()


@pytest.fixture
def actuate(mailbox: BoundedMailbox) -> Iterator[Callable[[int], Actuate]]:
    """Open the daemon's commanding link to a port; closed with the test."""
    made: list[Actuate] = []

    def start(port: int) -> Actuate:
        settings = BrokerSettings(host=LOOPBACK, port=port, site="home")
        made.append(Actuate(settings, {}, mailbox, QUICK))
        made[-1].start()
        return made[-1]

    yield start
    for link in made:
        link.close()


def test_h14_what_a_killed_broker_replays_does_not_run(
    make_broker: Callable[..., Broker],
    actuate: Callable[[int], Actuate],
    mailbox: BoundedMailbox,
    tmp_path: Path,
) -> None:
    """A node asks for no old messages; one that is given them refuses by itself."""
    broker = make_broker(*keeping(tmp_path))
    collected = Collected(mailbox)
    # Both have been there once, so that the broker knows them.
    with subscriber(broker.port, quality=1), reference(broker.port):
        pass
    link = actuate(broker.port)
    collected.first(LinkChanged, lambda change: change.up)
    link.run(COMMAND)
    collected.any(Handed)
    kept = tmp_path / "mosquitto.db"

    def is_kept() -> bool:
        # What left this side may still be unread over there when it is told to save.
        broker.save()
        return kept.exists() and COMMAND.attempt.encode() in kept.read_bytes()

    until(is_kept, "the command in the broker's file")
    broker.kill()
    collected.forget()
    broker.start()
    with subscriber(broker.port, quality=1) as heard:
        replayed = heard.get(timeout=DEADLINE_S)
    assert run_bytes(COMMAND, None) == replayed
    collected.first(LinkChanged, lambda change: change.up)
    fresh = replace(COMMAND, attempt=attempt(2))
    with reference(broker.port) as inbox:
        # Sent until it is heard: nobody says when a subscription holds.
        until(lambda: link.run(fresh) and not inbox.empty(), "the fresh command")
        first = inbox.get()
    assert isinstance(first, Said)
    assert run_bytes(fresh, None) == first.payload
    late = bench(up_ms=COMMAND.until_up + 1)
    assert ("refused", "late") == answer(late.send(replayed))
    moved = bench()
    moved.send(run_bytes(fresh, None))
    moved.wait(2_000)
    assert ("refused", "number") == answer(moved.send(replayed))


@pytest.mark.parametrize("quality", [0, 1, 2])
def test_h16_expiry_does_not_stop_what_is_on_its_way(
    broker: Broker, proxy: Proxy, quality: int
) -> None:
    """Delivered a second past its expiry, at any QoS; only the node says late."""
    begun_s = time.monotonic()

    def up_ms() -> int:
        return RESTED_MS + int((time.monotonic() - begun_s) * 1000)

    with subscriber(proxy.port, quality=quality) as heard:
        proxy.freeze()
        payload = run_bytes(replace(COMMAND, until_up=up_ms() + DEADLINE_MS), None)
        publish_once(broker.port, payload, quality, expiry_s=1)
        sent_s = time.monotonic()
        until(lambda: time.monotonic() > sent_s + 1.5, "the end of its time")
        proxy.thaw()
        arrived = heard.get(timeout=DEADLINE_S)
    assert payload == arrived
    node = bench(up_ms=up_ms())
    assert ("refused", "late") == answer(node.send(arrived))
    assert 0 == node.channel()["n"]


def publish_once(port: int, payload: bytes, quality: int, expiry_s: int) -> None:
    """Publish from a client of its own and wait until the broker has it."""
    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
    client.connect(LOOPBACK, port)
    client.loop_start()
    until(client.is_connected, "the publisher's connection")
    properties = properties_of(PacketTypes.PUBLISH)
    properties.MessageExpiryInterval = expiry_s
    client.publish(COMMANDS, payload, quality, properties=properties).wait_for_publish(
        DEADLINE_S
    )
    client.disconnect()
    client.loop_stop()
