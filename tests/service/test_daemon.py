"""The real process on a real broker with the invented reef."""

import signal
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from slackwater.facts.events import DoseEnded, DoseIntended, LedgerMade
from slackwater.facts.waters import DaySummed
from slackwater.ledger.store import LedgerFile
from slackwater.outside.clock import SystemClock
from slackwater.service.memory import LIVE_NAME
from tests.service.household import (
    Household,
    approve,
    dense_plan,
    disable,
    enable,
    household,
    kinds,
    until,
)

pytestmark = pytest.mark.mosquitto


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Household]:
    """A household that ends with the test."""
    with household(tmp_path) as made:
        yield made


@pytest.mark.timeout(120)
def test_live_doses_are_commanded_settled_and_accounted(home: Household) -> None:
    """Two doses end as reported, and the reef's own integral agrees within 2 %."""
    approve(home, dense_plan(datetime.now(UTC), 10, 5, 500))
    enable(home)
    daemon = home.start()
    until(lambda: kinds(home.events()).count("dose_ended") >= 2, "two ended doses")
    daemon.send_signal(signal.SIGTERM)
    assert 0 == daemon.wait(timeout=40)
    events = home.events()
    asked = sum(e.command.ul for e in events if isinstance(e, DoseIntended))
    believed = sum(e.believed_ul for e in events if isinstance(e, DoseEnded))
    until(lambda: home.delivered_ul() > believed * 0.98, "the reef's account")
    assert home.delivered_ul() <= asked * 1.02
    assert "stopped" == kinds(events)[-1]


@pytest.mark.timeout(120)
def test_shadow_commands_nothing_and_writes_aside(home: Household) -> None:
    """Not enabled: imagined doses in the shadow ledger, not a drop in the water."""
    approve(home, dense_plan(datetime.now(UTC), 10, 5, 500))
    home.start()
    shadow = home.state / "shadow.ledger"
    until(shadow.exists, "the shadow ledger")

    def imagined() -> bool:
        return b"dose_ended" in shadow.read_bytes()

    until(imagined, "an imagined dose")
    assert "dose_intended" not in kinds(home.events())
    until((home.folder / "delivered.json").exists, "the reef's account")
    assert 0.0 == home.delivered_ul()


@pytest.mark.timeout(120)
def test_disabling_stops_the_running_dose_and_begins_no_other(home: Household) -> None:
    """A 4 mL dose of eight seconds is stopped early; the reef's account says how."""
    approve(home, dense_plan(datetime.now(UTC), 10, 15, 4000))
    enable(home)
    home.start()
    until(lambda: "dose_taken" in kinds(home.events()), "a taken dose")
    disable(home)
    until(lambda: "dose_ended" in kinds(home.events()), "its end")
    ended = [e for e in home.events() if isinstance(e, DoseEnded)]
    assert ["stopped"] == [event.how for event in ended]
    until(lambda: "stopped" in kinds(home.events()), "the end of the live stage")
    assert home.delivered_ul() < 4000
    assert 1 == kinds(home.events()).count("dose_intended")


@pytest.mark.timeout(120)
def test_a_daemon_that_starts_adds_up_the_oldest_day(home: Household) -> None:
    """The ledger is two days old: one of them is over and can change no more."""
    for left in home.state.iterdir():
        left.unlink()
    now = SystemClock().now()
    made = LedgerMade(
        at=now.utc - timedelta(days=2),
        boot_s=now.boot_s,
        proven_ms=0,
        ledger_id="two days old",
        boot_id=now.boot_id,
        answered=True,
        by="keeper",
    )
    LedgerFile.create(home.state / LIVE_NAME, made).close()
    home.start()
    until(lambda: "day_summed" in kinds(home.events()), "a sum")

    assert [("reef", made.at.date())] == [
        (event.tank, event.day)
        for event in home.events()
        if isinstance(event, DaySummed)
    ]
