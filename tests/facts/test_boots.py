"""Boards that start in the past: what an outage proves once the clock is right.

Such a board has no clock of its own, or one that goes on from the last hour it saved
(common practice, no source).
"""

from datetime import UTC, datetime, timedelta

import pytest

from slackwater.facts.events import (
    AnyEvent,
    ClockConfirmed,
    HoldRaised,
    LedgerMade,
    Started,
)
from slackwater.facts.fold import fold_all
from slackwater.facts.now import Mark, Now, proven_ms
from slackwater.facts.reasons import Code, because
from slackwater.facts.state import State

T0 = datetime(2026, 5, 3, 12, 0, tzinfo=UTC)
BEFORE_MS = 7_200_000
MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)
POWERLESS = timedelta(minutes=10)
SAVED = T0 - timedelta(hours=1)
YEARS_AGO = datetime(1970, 1, 1, tzinfo=UTC)


def life_before() -> list[AnyEvent]:
    """A ledger of two hours whose machine then loses its power."""
    made = LedgerMade(
        at=T0 - timedelta(hours=2),
        boot_s=10.0,
        proven_ms=0,
        ledger_id="invented",
        boot_id="one",
        answered=True,
        by="keeper",
    )
    return [made, hold_of(T0, 7210.0)]


def hold_of(at: datetime, boot_s: float) -> HoldRaised:
    """An entry of a person's process, which does not say which boot it was."""
    return HoldRaised(
        at=at,
        boot_s=boot_s,
        proven_ms=BEFORE_MS,
        hold_id="hand-1",
        scope="all",
        reason=because(Code.HANDS_IN),
        latched=True,
    )


def start_of(at: datetime) -> Started:
    """The daemon's entry half a minute after the power came back."""
    return Started(
        at=at,
        boot_s=30.0,
        proven_ms=BEFORE_MS,
        boot_id="two",
        fence=2,
        version="0",
        mode="live",
    )


@pytest.mark.parametrize("begun", [SAVED, YEARS_AGO])
@pytest.mark.parametrize("by_daemon", [True, False])
def test_h39_a_second_start_counts_no_more_than_the_outage(
    begun: datetime, *, by_daemon: bool
) -> None:
    """What was written in the past by a clock nobody vouched for begins no outage."""
    written = start_of(begun) if by_daemon else hold_of(begun, 30.0)
    state = fold_all(State(), [*life_before(), written])
    right = Now(utc=T0 + POWERLESS, boot_s=30.0, boot_id="three", synchronised=True)
    assert isinstance(state.mark, Mark)
    assert proven_ms(state.mark, right) == BEFORE_MS + 600_000


def test_h39_within_the_start_no_more_than_its_own_time_is_proven() -> None:
    """Set right by the network, the clock tells of no outage: only the boot counts."""
    state = fold_all(State(), [*life_before(), start_of(YEARS_AGO)])
    right = Now(utc=T0 + POWERLESS, boot_s=90.0, boot_id="two", synchronised=True)
    assert isinstance(state.mark, Mark)
    assert proven_ms(state.mark, right) == BEFORE_MS + 60_000


def confirmed(at: datetime) -> ClockConfirmed:
    """A person vouches for the clock of the second boot."""
    return ClockConfirmed(
        at=at, boot_s=40.0, proven_ms=BEFORE_MS, boot_id="two", by="keeper"
    )


@pytest.mark.parametrize(
    ("words", "passed", "boot_s", "counted_s"),
    [
        # Wrongly put back a day: five minutes later the network sets it right.
        ([-DAY], 5 * MINUTE, 30.0, 300.0),
        # The machine has been on for longer than the clock is beyond that time.
        ([-DAY], 5 * MINUTE, 400.0, 400.0),
        # Rightly put back, and then an outage: it counts when that time is passed.
        ([-DAY], -20 * HOUR, 30.0, 30.0),
        ([-DAY, -DAY - HOUR], 5 * MINUTE, 30.0, 300.0),
        ([-DAY, HOUR, -DAY], HOUR + 5 * MINUTE, 30.0, 300.0),
        # A right word on a clock that was behind takes nothing back.
        ([HOUR], 2 * HOUR, 30.0, 3600.0),
    ],
)
def test_h38_what_two_clocks_saw_counts_once(
    words: list[timedelta], passed: timedelta, boot_s: float, counted_s: float
) -> None:
    """A clock put back by a person, and right after a reboot, frees no cap by it."""
    state = fold_all(State(), life_before())
    fold_all(state, [start_of(T0 + by) for by in words[:1]])
    fold_all(state, [confirmed(T0 + by) for by in words])
    right = Now(utc=T0 + passed, boot_s=boot_s, boot_id="three", synchronised=True)
    assert isinstance(state.mark, Mark)
    assert proven_ms(state.mark, right) == BEFORE_MS + int(counted_s * 1000)
