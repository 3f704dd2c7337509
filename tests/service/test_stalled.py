"""The real process stopped in its tracks across due doses, and woken again (H40)."""

import signal
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from slackwater.facts.events import DoseEnded, DoseIntended, DoseMissed
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

EVERY_S = 4
# Two doses or three fall due in it and pass their latest start, a second after each.
STALL = timedelta(seconds=2 * EVERY_S + 2)


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Household]:
    """A household that ends with the test."""
    with household(tmp_path) as made:
        yield made


def ended(home: Household) -> int:
    """How many runs have ended by now."""
    return kinds(home.events()).count("dose_ended")


@pytest.mark.timeout(120)
def test_h40_a_stopped_process_misses_and_never_comes_late(home: Household) -> None:
    """SIGSTOP for ten seconds: what fell due is missed, nothing is made up."""
    approve(home, dense_plan(datetime.now(UTC), 8, EVERY_S, 500))
    enable(home)
    daemon = home.start()
    until(lambda: ended(home) >= 1, "a first dose")
    daemon.send_signal(signal.SIGSTOP)
    stood_at = datetime.now(UTC)
    until(lambda: datetime.now(UTC) > stood_at + STALL, "the end of the stall")
    woken_at = datetime.now(UTC)
    before = ended(home)
    daemon.send_signal(signal.SIGCONT)
    until(lambda: ended(home) >= before + 2, "two doses after the stall")
    daemon.send_signal(signal.SIGTERM)
    assert 0 == daemon.wait(timeout=40)
    events = home.events()
    given = [event for event in events if isinstance(event, DoseIntended)]
    missed = [event for event in events if isinstance(event, DoseMissed)]
    assert [] == [i for i in given if not i.dose.due_at <= i.at <= i.dose.latest_at]
    assert [] == [i for i in given if stood_at < i.dose.latest_at < woken_at]
    passed = [m.dose for m in missed if stood_at < m.dose.latest_at < woken_at]
    assert 2 <= len(passed) <= 3
    assert len(given) == len({intent.dose.id for intent in given})
    assert "hold_raised" not in kinds(events)
    believed = sum(e.believed_ul for e in events if isinstance(e, DoseEnded))
    until(lambda: home.delivered_ul() > believed * 0.98, "the reef's account")
    assert home.delivered_ul() <= sum(i.command.ul for i in given) * 1.02
