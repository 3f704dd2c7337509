"""Runs counted afresh where start and stop of a pump are made up for."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.events import Calibrated
from slackwater.pump.command import calibration_id
from tests.audit.books import BEGIN, Days, approved, stamp, wrongs

PUMP, RATE_NL_PER_S = "carbonate-reef", 500_000


def measured(offset_nl: int) -> Days:
    """Days as approved, on a pump of half the nominal rate and this offset."""
    days = Days()
    cal = calibration_id(PUMP, RATE_NL_PER_S, offset_nl)
    days.rules[0] = approved(
        1, BEGIN, (days.machine, days.plan), calibrations={PUMP: cal}
    )
    known = Calibrated(
        **stamp(BEGIN - timedelta(seconds=1)),
        pump=PUMP,
        rate_nl_per_s=RATE_NL_PER_S,
        cal=cal,
        shots=4,
        spread_percent=1.0,
        proofs=(),
        by="keeper",
        offset_nl=offset_nl,
    )
    days.rules.insert(0, known)
    for intent in [one for one in days.intents() if one.dose.pump == PUMP]:
        run_ms = 2 * (intent.command.ul - offset_nl // 1000)
        command = replace(
            intent.command, cal=cal, ms=run_ms, cut_ms=run_ms * 115 // 100
        )
        days.change(intent, command=command)
    return days


@pytest.mark.parametrize("offset_nl", [0, -40_000, 40_000])
def test_a_run_makes_up_for_start_and_stop(offset_nl: int) -> None:
    """Two milliseconds to the microlitre, and 80 ms more where 40 µL are lost."""
    assert [] == list(wrongs(measured(offset_nl).audited()))


def test_a_run_without_the_offset_is_altered() -> None:
    """The name of the calibration says that there is one, the run forgets it."""
    days = measured(-40_000)
    first = next(one for one in days.intents() if one.dose.pump == PUMP)
    run_ms = 2 * first.command.ul
    days.change(first, command=replace(first.command, ms=run_ms, cut_ms=run_ms))
    assert [("altered", first.dose.id)] == list(wrongs(days.audited()))
