"""Settling open intents, at the very moments and amounts where the answer changes."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from slackwater.facts.events import DoseIntended, HoldRaised
from slackwater.facts.fold import fold, fold_all
from slackwater.pump.outcome import (
    Stamp,
    settle_by_beat,
    settle_by_result,
    settle_by_time,
)
from tests.pump.test_outcome import (
    ATTEMPT,
    LATER,
    LATEST,
    beat,
    intent,
    kinds,
    opened,
    result,
)


def other_intent(attempt: str, latest_at: datetime, flow_end_ms: int) -> DoseIntended:
    """A second open intent, on another channel."""
    first = intent()
    return replace(
        first,
        dose=replace(first.dose, latest_at=latest_at),
        command=replace(first.command, attempt=attempt, channel="b"),
        flow_end_ms=flow_end_ms,
    )


@pytest.mark.parametrize(
    ("latest_at", "flow_end_ms"),
    [(LATEST + timedelta(hours=1), 10_500), (LATEST, 10**9)],
)
def test_one_that_must_wait_keeps_no_other_open(
    latest_at: datetime, flow_end_ms: int
) -> None:
    """Each is sealed by its own time, whichever is looked at first."""
    state = opened()
    fold(state, other_intent("00" * 16, latest_at, flow_end_ms))
    after: Stamp = {"at": LATEST + timedelta(seconds=1), "boot_s": 1.0, "proven_ms": 0}
    after["proven_ms"] = 900_000
    (sealed,) = settle_by_time(state, after)
    assert ATTEMPT == getattr(sealed, "attempt", "")


@pytest.mark.parametrize(("proven_ms", "expected"), [(40_500, 0), (40_501, 1)])
def test_silence_lasts_thirty_seconds(proven_ms: int, expected: int) -> None:
    """After the last drop at 10.5 s, to the millisecond."""
    at = LATEST + timedelta(seconds=1)
    stamp: Stamp = {"at": at, "boot_s": 1.0, "proven_ms": proven_ms}
    assert expected == len(list(settle_by_time(opened(), stamp)))


@pytest.mark.parametrize(
    ("taken", "number", "said"),
    [
        (True, 4, "taken, number unmoved"),
        (True, 3, "the number went back"),
        (False, 3, "the number went back"),
        (True, None, "the number went back"),
    ],
)
def test_an_impossible_number_says_which_lie_it_is(
    taken: bool, number: int | None, said: str
) -> None:
    """Unmoved after a word of taking, or gone back, or no such channel any more."""
    state = opened()
    if taken:
        fold_all(state, list(settle_by_result(state, result("taken", 0, ""), LATER)))
    heard = beat(number or 4, up=200_000)
    if number is None:
        heard = replace(heard, channels={})
    hold, _ = settle_by_beat(state, heard, LATER)
    assert isinstance(hold, HoldRaised)
    assert (said, True) == (dict(hold.reason.figures)["said"], hold.latched)


def test_an_odometer_that_shows_much_more_latches_the_pump() -> None:
    """The report is lost, and 2201 µL were drawn for 2000."""
    state = opened()
    events = list(settle_by_beat(state, beat(5, odo_ul=14_201), LATER))
    assert ["dose_ended:lost", "hold_raised"] == kinds(events)
    hold = events[1]
    assert isinstance(hold, HoldRaised)
    assert ("pump/carbonate", True) == (hold.scope, hold.latched)
