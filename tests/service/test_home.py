"""Home automation on a real broker: everything there is announced, and stays true."""

import json
import signal
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from slackwater.outside.settings import read_machine
from tests.outside.home.shown import missing_figures
from tests.outside.peers import Peer
from tests.service.household import (
    MACHINE,
    Household,
    approve,
    dense_plan,
    household,
    until,
)

pytestmark = pytest.mark.mosquitto

SPARE = """
[pump.spare]
tank = "reef"
node = "shelf"
channel = "b"
solution = "carbonate"
reservoir = "carbonate"
rate = "30 mL/min"
smallest_dose = "0.5 mL"
most_per_dose = "4 mL"
most_per_day = "100 mL"
[interlock.reef]
[home]
discovery = "house"
"""
TANK = "house/device/slackwater_home_tank_reef/config"
PUMP = "house/device/slackwater_home_pump_carbonate/config"
GONE = "house/device/slackwater_home_pump_spare/config"
STATE = "slackwater/1/home/tank/reef/state"
DAEMON = "slackwater/1/home/daemon/state"


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Household]:
    """A household with a table `[home]`, an approved plan and pumps in shadow."""
    with household(tmp_path, MACHINE.replace("[broker]", f"{SPARE}[broker]")) as made:
        approve(made, dense_plan(datetime.now(UTC), 10, 60, 500))
        yield made


class Platform:
    """What a home automation that just came up knows: the retained messages."""

    def __init__(self, home: Household) -> None:
        """Remember where the broker is."""
        self._home = home

    def known(self) -> dict[str, bytes]:
        """Connect anew and wait until all that must be there is retained."""
        with Peer(self._home.port, "house/#", "slackwater/#") as peer:
            until(lambda: self._is_whole(peer), "devices and states")
            return self._retained(peer)

    def _retained(self, peer: Peer) -> dict[str, bytes]:
        return {topic: payload for topic, payload, _ in peer.received if payload}

    def _is_whole(self, peer: Peer) -> bool:
        known = self._retained(peer)
        here = plain(known.get(DAEMON, b"{}")).get("state") == "here"
        word = plain(known.get(STATE, b"{}")).get("word", "")
        return here and bool(word) and {TANK, PUMP} <= known.keys()


def plain(payload: bytes) -> Mapping[str, Any]:
    """A payload as it reads."""
    found: Mapping[str, Any] = json.loads(payload)
    return found


def announced(known: Mapping[str, bytes]) -> dict[str, bytes]:
    """The devices among what is retained."""
    return {topic: text for topic, text in known.items() if topic.startswith("house/")}


@pytest.mark.timeout(240)
def test_every_entity_is_there_whoever_starts_anew(home: Household) -> None:
    """After a start of the platform, the broker and the daemon: the same entities.

    Each has its device, its availability, and a state to be shown.
    """
    daemon, platform = home.start(), Platform(home)
    first = platform.known()
    assert {TANK, PUMP, GONE} == announced(first).keys()
    assert [] == missing_figures(announced(first), plain(first[STATE]))
    # The platform comes up: what it lost is told again though nobody asked.
    with Peer(home.port, "house/device/#") as peer:
        until(lambda: len(peer.received) == len(announced(first)), "the retained")
        peer.received.clear()
        peer.say("house/status", b"online")
        until(lambda: len(peer.received) == len(announced(first)), "all of it again")
        assert announced(first) == {topic: text for topic, text, _ in peer.received}
    # A broker that forgets everything.
    home.broker.stop()
    home.broker.start()
    assert announced(first) == announced(platform.known())
    # The daemon: away, so nothing is available; and back with equal identities.
    daemon.send_signal(signal.SIGTERM)
    assert 0 == daemon.wait(timeout=60)
    with Peer(home.port, DAEMON) as peer:
        until(lambda: bool(peer.received), "its good-bye")
        assert "gone" == plain(peer.received[-1][1])["state"]
    home.start()
    assert announced(first) == announced(platform.known())


@pytest.mark.timeout(240)
def test_what_the_configuration_drops_is_taken_away(home: Household) -> None:
    """A pump and a parameter go with the approval that drops them; none is an orphan.

    A daemon that is told to announce nothing takes the rest away.
    """
    daemon, platform = home.start(), Platform(home)
    assert GONE in platform.known()
    machine = read_machine(home.config)
    pumps = {"carbonate": machine.pumps["carbonate"]}
    reef = replace(machine.tanks["reef"], name="Renamed reef")
    changed = replace(machine, pumps=pumps, tanks={"reef": reef})
    with Peer(home.port, GONE, TANK) as peer:
        until(lambda: len(peer.received) == 2, "the retained")
        before = plain(peer.payloads(TANK)[0])
        peer.received.clear()
        approve(home, dense_plan(datetime.now(UTC), 10, 60, 500), changed)
        until(lambda: peer.payloads(GONE) == [b""], "the end of the pump")
        until(lambda: bool(peer.payloads(TANK)), "the new name")
        after = plain(peer.payloads(TANK)[-1])
    assert "Renamed reef" == after["device"]["name"]
    assert before["components"] == after["components"]
    assert before["device"]["identifiers"] == after["device"]["identifiers"]
    daemon.send_signal(signal.SIGTERM)
    assert 0 == daemon.wait(timeout=60)
    path = home.config / "slackwater.toml"
    path.write_text(path.read_text().replace("[home]", "[home]\nannounce = false"))
    home.start()
    with Peer(home.port, "house/#") as peer:
        until(
            lambda: peer.payloads(TANK)[-1:] == peer.payloads(PUMP)[-1:] == [b""],
            "the end of everything",
        )
    with Peer(home.port, "house/#", DAEMON) as peer:
        until(lambda: bool(peer.payloads(DAEMON)), "what is retained")
        assert {} == announced({topic: text for topic, text, _ in peer.received})
