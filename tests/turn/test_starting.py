"""Starts that come too often hold everything until a person has looked."""

from datetime import UTC, datetime, timedelta

import pytest

from slackwater.facts.fold import fold
from slackwater.facts.state import State
from slackwater.facts.tank import Timing
from slackwater.pump.outcome import Stamp
from slackwater.turn.starting import storm_hold

AT = datetime(2026, 5, 3, 8, 0, tzinfo=UTC)
STAMP: Stamp = {"at": AT, "boot_s": 100.0, "proven_ms": 0}
TIMING = Timing(starts_allowed=3, starts_within_s=600.0)


def started(*before_s: float) -> State:
    """A state that knows of starts so many seconds ago, none after a clean stop."""
    state = State(ledger_id="test")
    state.unclean_starts = [AT - timedelta(seconds=ago_s) for ago_s in before_s]
    return state


@pytest.mark.parametrize(
    ("before_s", "is_storm"),
    [
        ((), False),
        ((1.0, 0.0), False),
        ((2.0, 1.0, 0.0), True),
        # Both ends of the span count, and a second beyond it does not.
        ((600.0, 1.0, 0.0), True),
        ((601.0, 1.0, 0.0), False),
    ],
)
def test_h07_so_many_starts_within_the_span_are_a_storm(
    before_s: tuple[float, ...], *, is_storm: bool
) -> None:
    """Three within ten minutes (hazard H07, project limit)."""
    assert is_storm is (storm_hold(started(*before_s), TIMING, STAMP) is not None)


def test_h07_the_hold_is_for_everything_and_waits_for_a_person() -> None:
    """Latched, with the count that led to it."""
    hold = storm_hold(started(3.0, 2.0, 1.0, 0.0), TIMING, STAMP)
    assert hold is not None
    assert ("all", True, None) == (hold.scope, hold.latched, hold.until)
    assert (AT, 4) == (hold.at, hold.reason.figures["starts"])


def test_h07_a_storm_that_holds_already_is_not_told_again() -> None:
    """Folded, the same starts lead to no second hold."""
    state = started(2.0, 1.0, 0.0)
    hold = storm_hold(state, TIMING, STAMP)
    assert hold is not None
    fold(state, hold)
    assert storm_hold(state, TIMING, STAMP) is None
