"""A test typed into a dashboard, over a real broker to a real daemon; and its figures.

It waits there, is shown as unconfirmed, and becomes a test on the machine alone.
"""

import http.client
import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from slackwater import __version__
from slackwater.facts.entered import LevelEntered
from slackwater.facts.waters import MeasurementKept
from tests.cli.run_program import run
from tests.outside.peers import Peer, free_port
from tests.service.household import (
    MACHINE,
    Household,
    approve,
    dense_plan,
    household,
    until,
)

pytestmark = pytest.mark.mosquitto

TANK = "house/device/slackwater_home_tank_reef/config"
STATE = "slackwater/1/home/tank/reef/state"


@pytest.fixture
def port() -> int:
    """Where figures are served."""
    return free_port()


@pytest.fixture
def home(tmp_path: Path, port: int) -> Iterator[Household]:
    """A household with `[home]` and `[metrics]`, in shadow."""
    tables = f'[home]\ndiscovery = "house"\n[metrics]\nloopback_port = {port}\n'
    with household(tmp_path, MACHINE.replace("[broker]", f"{tables}[broker]")) as made:
        approve(made, dense_plan(datetime.now(UTC), 10, 60, 500))
        yield made


def entered(peer: Peer) -> dict[str, object]:
    """What the newest state of the tank shows as unconfirmed."""
    told = peer.payloads(STATE)
    found = json.loads(told[-1])["entered"] if told else {}
    assert isinstance(found, dict)
    return found


def figures(port: int) -> str:
    """The page of figures; empty while nobody serves it."""
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    try:
        line.request("GET", "/metrics")
        return line.getresponse().read().decode()
    except OSError:
        return ""
    finally:
        line.close()


@pytest.mark.timeout(240)
def test_what_is_typed_into_a_dashboard_waits_for_the_machine(
    home: Household, port: int
) -> None:
    """From the announced box to ledger and state, and to a person's confirmation."""
    home.start()
    with Peer(home.port, TANK, STATE) as peer:
        until(lambda: bool(peer.payloads(TANK)), "the announcement")
        until(lambda: bool(peer.payloads(STATE)), "the state")
        box = json.loads(peer.payloads(TANK)[-1])["components"]["test_alkalinity"]
        text = box["command_template"].replace("{{ value }}", "8.3")
        for payload in (b'{"v":1,"act":"test"}', text.encode(), text.encode()):
            peer.say(box["command_topic"], payload)
        until(lambda: "alkalinity" in entered(peer), "the entry in the state")
        (told,) = [one for one in home.events() if isinstance(one, LevelEntered)]
        assert ("8.3 dKH", "request") == (told.typed, told.by)
        assert [] == [one for one in home.events() if isinstance(one, MeasurementKept)]
        places = ("--config", home.config, "--state", home.state)
        done = run("confirm", *places, told.id, "--by", "mara")
        assert 0 == done.code, done.err
        until(lambda: not entered(peer), "the entry gone from the state")
    (kept,) = [one for one in home.events() if isinstance(one, MeasurementKept)]
    assert ("mara", told.taken_at) == (kept.by, kept.taken_at)
    until(lambda: "slackwater_link_up" in figures(port), "the page of figures")
    lines = figures(port).splitlines()
    (build,) = [line for line in lines if line.startswith("slackwater_build_info{")]
    assert f'version="{__version__}"' in build
