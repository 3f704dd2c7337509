"""The broker killed in the middle of a dose, with all it keeps, and started anew (H14).

The judge is the reef's own integral of what its hose gave.
"""

import signal
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from slackwater.facts.events import DoseEnded, DoseIntended
from slackwater.outside.glimpse import read_glimpse
from tests.outside.peers import Broker
from tests.service.household import (
    Household,
    approve,
    dense_plan,
    enable,
    household,
    kinds,
    until,
)

pytestmark = pytest.mark.mosquitto


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Household]:
    """A household whose broker keeps whatever can be kept."""
    with household(tmp_path) as made:
        made.broker.stop()
        lines = (
            "allow_anonymous true",
            "persistence true",
            f"persistence_location {tmp_path}/",
            "queue_qos0_messages true",
        )
        made.broker = Broker(tmp_path / "keeping.conf", made.port, lines)
        made.broker.start()
        yield made


def is_cut(home: Household) -> bool:
    """Whether the daemon wrote down that it has no broker."""
    seen = read_glimpse(home.state)
    return seen is not None and seen.cut_since is not None


def one_more(home: Household, kind: str) -> None:
    """Wait for one more entry of a kind than there are now."""
    before = kinds(home.events()).count(kind)
    until(lambda: kinds(home.events()).count(kind) > before, f"one more {kind}")


@pytest.mark.timeout(120)
def test_h14_a_broker_killed_in_mid_dose_doubles_nothing(home: Household) -> None:
    """Twice: taken, killed, restarted from its file; every drop is accounted for."""
    approve(home, dense_plan(datetime.now(UTC), 8, 4, 500))
    enable(home)
    daemon = home.start()
    for _ in range(2):
        one_more(home, "dose_taken")
        home.broker.save()
        home.broker.kill()
        until(lambda: is_cut(home), "the daemon's word of it")
        home.broker.start()
        one_more(home, "dose_ended")
    daemon.send_signal(signal.SIGTERM)
    assert 0 == daemon.wait(timeout=40)
    events = home.events()
    given = [event for event in events if isinstance(event, DoseIntended)]
    believed = sum(e.believed_ul for e in events if isinstance(e, DoseEnded))
    assert len(given) == len({intent.dose.id for intent in given})
    assert [] == [i for i in given if i.at > i.dose.latest_at]
    asked = sum(intent.command.ul for intent in given)
    until(lambda: home.delivered_ul() > believed * 0.98, "the reef's account")
    assert home.delivered_ul() <= asked * 1.02
