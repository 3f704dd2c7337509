"""States of many sites, read once from a real broker."""

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from slackwater.outside.panorama import Vantage, look_around
from tests.cli.stage import Stage
from tests.outside.home.samples import DOCUMENT
from tests.outside.peers import Broker, Peer, free_port

HERE = b'{"v":1,"state":"here","version":"1","mode":"live","health":"fine"}'


def publish(broker: Broker, said: dict[str, bytes]) -> None:
    """Leave these on the broker."""
    with Peer(broker.port) as peer:
        for topic, payload in said.items():
            peer.say(topic, payload, retain=True)


def state(hours: float) -> bytes:
    """A state as a daemon publishes it now."""
    at = datetime.now(UTC).isoformat()
    return json.dumps(
        {**DOCUMENT, "at": at, "hours_to_floor": {"alkalinity": hours}}
    ).encode()


def test_states_of_many_sites_are_read_from_a_broker(
    broker: Broker, tmp_path: Path
) -> None:
    """Of a living daemon, of one that is gone, and what is no state is named."""
    publish(
        broker,
        {
            "slackwater/1/shop/tank/left/state": state(20.0),
            "slackwater/1/shop/tank/right/state": state(12.0),
            "slackwater/1/shop/daemon/state": HERE,
            "slackwater/1/hall/tank/lagoon/state": state(16.0),
            "slackwater/1/hall/daemon/state": b'{"v":1,"state":"gone"}',
            "slackwater/1/hall/tank/broken/state": b"{",
            "slackwater/1/hall/tank/UPPER/state": state(1.0),
            "other/1/hall/tank/reef/state": state(1.0),
        },
    )
    stage = Stage(tmp_path, tmp_path)
    words = ("--broker", f"127.0.0.1:{broker.port}")
    done = stage.run("overview", *words, "--json")
    assert 1 == done.code
    tanks = done.document["tanks"]
    assert isinstance(tanks, list)
    assert ["shop/right", "hall/lagoon", "shop/left"] == [one["tank"] for one in tanks]
    assert [False, True, False] == [one["gone"] for one in tanks]
    errors = done.document["errors"]
    assert isinstance(errors, list)
    assert ["slackwater/1/hall/tank/broken/state"] == [one["where"] for one in errors]
    page = stage.run("overview", *words).out
    assert max(map(len, page.splitlines())) < 80
    assert "broken" in page


def test_what_is_not_retained_is_no_state(broker: Broker) -> None:
    """A forged message of the moment stands in no overview; nor does nothing at all."""
    vantage = Vantage(host="127.0.0.1", port=broker.port)
    with Peer(broker.port) as peer:
        peer.say("slackwater/1/shop/tank/left/state", state(1.0))
    seen = look_around(vantage)
    assert ({}, {}, {}) == (seen.tanks, seen.daemons, seen.spoilt)


def test_a_broker_that_is_not_there_or_lets_nobody_in_is_one_error(
    make_broker: Callable[..., Broker], tmp_path: Path
) -> None:
    """With the place, and never a traceback."""
    stage = Stage(tmp_path, tmp_path)
    closed = make_broker("allow_anonymous false")
    for port in (free_port(), closed.port):
        done = stage.run("overview", "--broker", f"127.0.0.1:{port}", "--json")
        assert done.code
        errors = done.document["errors"]
        assert isinstance(errors, list)
        assert [f"127.0.0.1:{port}"] == [one["where"] for one in errors]
