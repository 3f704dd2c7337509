"""Brokers of the tests: a real Mosquitto on loopback, restarted at will."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from slackwater.outside.mailbox import BoundedMailbox
from tests.outside.peers import Broker, Proxy, free_port


@pytest.fixture
def make_broker(tmp_path: Path) -> Iterator[Callable[..., Broker]]:
    """Start a Mosquitto with these configuration lines; all end with the test."""
    started: list[Broker] = []

    def make(*lines: str) -> Broker:
        broker = Broker(tmp_path / f"mosquitto-{len(started)}.conf", free_port(), lines)
        started.append(broker)
        broker.start()
        return broker

    yield make
    for broker in started:
        broker.stop()


@pytest.fixture
def broker(make_broker: Callable[..., Broker]) -> Broker:
    """A running Mosquitto that lets everybody in."""
    return make_broker("allow_anonymous true")


@pytest.fixture
def proxy(broker: Broker) -> Iterator[Proxy]:
    """A wire to the broker that can be frozen and cut."""
    between = Proxy(broker.port)
    yield between
    between.close()


@pytest.fixture
def mailbox() -> BoundedMailbox:
    """The mailbox of this test."""
    return BoundedMailbox()
