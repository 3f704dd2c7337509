"""A real Mosquitto on a free port of the loopback, for tests of the wire."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.outside.peers import LOOPBACK, Broker, free_port


@pytest.fixture
def broker_port(tmp_path: Path) -> Iterator[tuple[str, int]]:
    """Host and port of a broker that ends with the test and lets everybody in."""
    broker = Broker(tmp_path / "mosquitto.conf", free_port(), ("allow_anonymous true",))
    broker.start()
    yield LOOPBACK, broker.port
    broker.stop()
