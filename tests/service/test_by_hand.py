"""A dose by hand from the verb to the water, through the real daemon (H55)."""

import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from slackwater.cli.opening import daemon_is_here
from slackwater.facts.events import DoseEnded, DoseHeld, DoseIntended, HoldReleased
from tests.service.household import (
    MACHINE,
    TOP,
    Household,
    approve,
    dense_plan,
    enable,
    environment,
    household,
    until,
)

CAP = 'most_per_calibration = "60 mL"'


def by_hand(home: Household) -> list[DoseIntended]:
    """Doses by hand that were intended."""
    found = [e for e in home.events() if isinstance(e, DoseIntended)]
    return [intent for intent in found if intent.dose_kind == "manual"]


def has_ended(home: Household) -> bool:
    """Whether one of them has ended."""
    attempts = {intent.command.attempt for intent in by_hand(home)}
    ends = [e.attempt for e in home.events() if isinstance(e, DoseEnded)]
    return bool(attempts.intersection(ends))


def say(home: Household, *words: str) -> None:
    """A verb by a process of its own, beside the daemon."""
    places = ("--config", str(home.config), "--state", str(home.state))
    done = subprocess.run(
        [sys.executable, "-m", "slackwater", *words, *places],
        env=environment(),
        cwd=TOP,
        capture_output=True,
        check=False,
        text=True,
    )
    assert 0 == done.returncode, done.stderr


@pytest.mark.mosquitto
@pytest.mark.timeout(120)
def test_h55_a_dose_by_hand_reaches_the_water_once(tmp_path: Path) -> None:
    """Asked for beside the running daemon, which gives it between its own doses."""
    with household(
        tmp_path, MACHINE.replace(CAP, f'{CAP}\nmost_by_hand = "5 mL"')
    ) as home:
        approve(home, dense_plan(datetime.now(UTC), 5, 60, 500))
        enable(home)
        home.start()
        until(lambda: bool(daemon_is_here(home.state)), "a daemon in charge")
        say(home, "dose", "carbonate", "1 mL", "--reason", "a test was low")
        until(lambda: has_ended(home), "the end of the dose by hand")
        (intent,) = by_hand(home)
    assert (1000, True) == (intent.command.ul, intent.in_water)


@pytest.mark.mosquitto
@pytest.mark.timeout(180)
def test_h55_what_was_taken_back_never_reaches_the_water(tmp_path: Path) -> None:
    """It waits for a hold and is taken back; then the pump runs, for its plan alone."""
    with household(
        tmp_path, MACHINE.replace(CAP, f'{CAP}\nmost_by_hand = "5 mL"')
    ) as home:
        approve(home, dense_plan(datetime.now(UTC), 5, 10, 500))
        enable(home)
        home.start()
        until(lambda: bool(daemon_is_here(home.state)), "a daemon in charge")
        say(home, "hold", "--scope", "pump/carbonate")
        say(home, "dose", "carbonate", "1 mL", "--reason", "a test was low")
        until(lambda: waits(home), "the dose by hand waits")
        say(home, "take-back", "carbonate")
        say(home, "release", "--all", "--why", "done")
        until(lambda: len(given_since_the_release(home)) > 1, "two doses of the plan")
        assert [] == by_hand(home)


def waits(home: Household) -> bool:
    """Whether the daemon has said why a dose by hand waits."""
    held = [e.dose_id for e in home.events() if isinstance(e, DoseHeld)]
    return any(name.startswith("hand-") for name in held)


def given_since_the_release(home: Household) -> list[DoseIntended]:
    """What was begun after the newest release."""
    events = home.events()
    last = max(
        (n for n, e in enumerate(events) if isinstance(e, HoldReleased)),
        default=len(events),
    )
    return [e for e in events[last:] if isinstance(e, DoseIntended)]
