"""A calibration session on a real broker with the invented reef."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from slackwater.cli.commands import taking_back
from slackwater.errors import RefusedError
from slackwater.facts.doses import RequestTakenBack
from slackwater.facts.events import DoseIntended, HoldRaised, Started
from slackwater.facts.reasons import Code, because
from slackwater.facts.state import State
from slackwater.ledger.store import LedgerFile
from slackwater.outside.clock import SystemClock
from slackwater.pump.outcome import Stamp
from slackwater.service.calibrating import Session, Wait
from slackwater.service.memory import LIVE_NAME, read_state
from slackwater.service.standing import only_one
from slackwater.service.wiring import Places
from tests.service.household import (
    Household,
    approve,
    dense_plan,
    enable,
    household,
    kinds,
)

pytestmark = pytest.mark.mosquitto


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Household]:
    """A household that ends with the test."""
    with household(tmp_path) as made:
        yield made


def session(home: Household) -> Session:
    """A session of this household."""
    places = Places(config=home.config, state=home.state)
    return Session(places, SystemClock(), "keeper")


@pytest.mark.timeout(90)
def test_shots_run_without_approval_and_apart_from_the_water(home: Household) -> None:
    """Two shots of 1 mL end as reported; the account of the water stays empty."""
    with session(home) as open_session:
        shots = [open_session.shoot("carbonate", 1000, print) for _ in range(2)]
        charges = set(open_session.rig.memory.state.charges)
    assert ["full", "full"] == [shot.how for shot in shots]
    assert all(shot.ran_ms > 0 for shot in shots)
    assert {"calibrate/carbonate"} == charges
    events = home.events()
    assert all(not e.in_water for e in events if isinstance(e, DoseIntended))
    assert ["calibrate"] == [e.mode for e in events if isinstance(e, Started)]
    assert "stopped" == kinds(events)[-1]


@pytest.mark.timeout(90)
def test_h55_a_shot_that_somebody_takes_back_never_runs(home: Household) -> None:
    """It waits for a hold meanwhile; whoever measures is told who it was."""
    home.append(held)

    def somebody_else(_waits: tuple[Wait, ...]) -> None:
        if open_session.rig.memory.state.requests:
            home.append(taken_back)

    with session(home) as open_session, pytest.raises(RefusedError, match="sitter"):
        open_session.shoot("carbonate", 1000, somebody_else)
    found = kinds(home.events())
    assert 1 == found.count("request_taken_back")
    assert "dose_intended" not in found


@pytest.mark.timeout(90)
def test_a_pump_that_gave_too_much_can_be_measured(home: Household) -> None:
    """It waits for that before anybody may release it."""
    home.append(latched)
    with session(home) as open_session:
        assert "full" == open_session.shoot("carbonate", 1000, print).how
    assert "hold_released" not in kinds(home.events())


def latched(_state: State, stamp: Stamp) -> HoldRaised:
    """The pump delivered more than was asked."""
    return replace(
        held(_state, stamp),
        hold_id="over-delivered/carbonate",
        reason=because(Code.OVER_DELIVERED, asked_ul=1000, reported_ul=2000),
        by="daemon",
    )


def held(_state: State, stamp: Stamp) -> HoldRaised:
    """A person holds the pump."""
    return HoldRaised(
        **stamp,
        hold_id="h",
        scope="pump/carbonate",
        reason=because(Code.MANUAL_HOLD),
        latched=True,
        by="keeper",
    )


def taken_back(state: State, stamp: Stamp) -> RequestTakenBack:
    """Another person takes back all that waits."""
    (entry,) = taking_back.taken_back(state, stamp, "carbonate", ("sitter", ""))
    return entry


@pytest.mark.timeout(90)
def test_while_pumps_are_enabled_it_takes_the_place_of_the_daemon(
    home: Household,
) -> None:
    """Only one commands: a shot runs, no dose of the plan, and no daemon beside it.

    What fell due meanwhile is told by the daemon that comes after it.
    """
    approve(home, dense_plan(datetime.now(UTC), 5, 60, 500))
    enable(home)
    before = decided_at(home)
    with session(home) as open_session:
        assert "full" == open_session.shoot("carbonate", 1000, print).how
        with pytest.raises(RefusedError, match="another daemon"), only_one(home.state):
            pass
    events = home.events()
    assert {"calibrate"} == {e.dose_kind for e in events if isinstance(e, DoseIntended)}
    assert before == decided_at(home)
    with only_one(home.state), pytest.raises(RefusedError), session(home):
        pass


@pytest.mark.timeout(90)
def test_no_daemon_starts_beside_it_in_shadow_either(home: Household) -> None:
    """Both have one name at the broker: each would push the other off."""
    with session(home) as open_session:
        with (
            pytest.raises(RefusedError, match="another daemon") as told,
            only_one(home.state),
        ):
            pass
        assert "calibrate" in told.value.findings[0].do
        assert "full" == open_session.shoot("carbonate", 1000, print).how
    assert ["calibrate"] == [e.mode for e in home.events() if isinstance(e, Started)]
    with only_one(home.state), pytest.raises(RefusedError), session(home):
        pass


def decided_at(home: Household) -> datetime | None:
    """How far anybody looked at the plan."""
    with LedgerFile.open(home.state / LIVE_NAME, writable=False) as ledger:
        return read_state(ledger).decided_at
