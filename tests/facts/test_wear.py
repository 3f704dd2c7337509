"""How long tubes have run, by hand: what a run counts and what begins anew."""

from dataclasses import replace

import pytest

from slackwater.facts.events import DoseEnded, DoseSealed
from slackwater.facts.reasons import Code, because
from slackwater.facts.wear import (
    is_unmeasured,
    measured_share,
    tube_run_s,
    tube_share,
)
from tests.facts.diary import HOUR, Diary, attempt, begun, calibrated
from tests.facts.safeguards import swapped
from tests.gate.scene import machine

PUMP = replace(machine().pumps["carbonate"], tube_life_s=60.0)


def ran(diary: Diary, number: int, ran_ms: int) -> None:
    """A run that was asked for 1500 ms, and what was reported of it."""
    diary.intend(number)
    diary.write(
        DoseEnded(
            **diary.stamp,
            attempt=attempt(number),
            how="full",
            believed_ul=2000,
            charge_ul=2000,
            source="reported",
            ran_ms=ran_ms,
        )
    )


def test_a_run_counts_as_reported_else_as_asked() -> None:
    """1.4 s told, 1.5 s asked and not told, 1.5 s of one that was sealed."""
    diary = begun()
    ran(diary, 1, 1400)
    ran(diary, 2, 0)
    diary.intend(3)
    reasons = (because(Code.NODE_SILENT),)
    diary.write(DoseSealed(**diary.stamp, attempt=attempt(3), reasons=reasons))
    assert 4.4 == tube_run_s(diary.state, "carbonate")


def test_a_run_that_never_was_wears_nothing() -> None:
    """It is proven that no tube turned."""
    diary = begun()
    diary.intend(1)
    diary.void(1)
    assert 0.0 == tube_run_s(diary.state, "carbonate")


def test_a_swap_begins_anew_and_for_that_pump_alone() -> None:
    """The other pump's tube is as old as it was."""
    diary = begun()
    ran(diary, 1, 6000)
    diary.intend(2, pump="calcium")
    diary.end(2, 2000)
    diary.write(swapped(diary.stamp))
    assert 0.0 == tube_run_s(diary.state, "carbonate")
    assert 1.5 == tube_run_s(diary.state, "calcium")
    ran(diary, 3, 3000)
    assert pytest.approx(0.05) == tube_share(diary.state, PUMP)


def test_a_calibration_ends_what_ran_since_the_last() -> None:
    """A quarter of a tube of 60 s is 15 s; the tube itself stays as old as it is."""
    diary = begun()
    ran(diary, 1, 7500)
    assert pytest.approx(0.5) == measured_share(diary.state, PUMP)
    diary.write(calibrated(diary))
    assert 0.0 == measured_share(diary.state, PUMP)
    assert pytest.approx(0.125) == tube_share(diary.state, PUMP)


def test_a_new_tube_waits_for_a_calibration() -> None:
    """Where none was ever measured there is no rate that it could make wrong."""
    diary = begun()
    diary.write(swapped(diary.stamp))
    assert not is_unmeasured(diary.state, "carbonate")
    diary.wait(HOUR)
    diary.write(calibrated(diary))
    assert not is_unmeasured(diary.state, "carbonate")
    diary.wait(HOUR)
    diary.write(swapped(diary.stamp))
    assert is_unmeasured(diary.state, "carbonate")
