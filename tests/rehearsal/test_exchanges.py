"""Exchanges in a rehearsal: every portion out and in, whatever else goes wrong."""

from dataclasses import replace
from datetime import date
from itertools import pairwise

import pytest

from slackwater.rehearsal.faults.cases import CASES
from slackwater.rehearsal.faults.running import run_cases
from slackwater.rehearsal.rehearsal import rehearse
from tests.rehearsal.houses import sample

FIRST = date(2026, 5, 3)
# What strikes between a drain and its fill, and what a pump does beyond its command.
STRUCK = (
    "killed-after-sending",
    "command-doubled",
    "node-reboots",
    "results-lost",
    "gives-too-much",
    "gives-too-little",
    "plan-swap",
)


def test_a_rehearsal_shows_each_portion_out_and_in() -> None:
    """Four days: more new water than a canister of 5 L holds, for somebody fills it."""
    machine, plan = sample("exchange")
    small = {
        name: replace(one, content_ul=5_000_000)
        for name, one in machine.reservoirs.items()
    }
    found = rehearse(replace(machine, reservoirs=small), plan, FIRST, 4)
    lines = [dose.dose.line for dose in found.doses]
    assert ["daily-change-out", "daily-change-in"] * (4 * 20) == lines
    assert {("granted", 150_000)} == {
        (dose.verdict, dose.volume_ul) for dose in found.doses
    }
    for one, other in pairwise(found.doses):
        assert one.begun_at is not None
        assert other.begun_at is not None
        # 22.5 s for 150 mL, and a minute for the water to come to rest.
        assert (other.begun_at - one.begun_at).total_seconds() >= 22.5 + 60
    assert found.empty_on["new-water"] is not None


@pytest.mark.parametrize("name", STRUCK)
def test_what_strikes_an_exchange_ends_well(name: str) -> None:
    """Nothing is carried over, no cap is passed, and the pair is safe in time."""
    machine, plan = sample("exchange")
    cases = [case for case in CASES if case.id == name]
    (tried,) = run_cases(machine, plan, FIRST, cases).tried
    assert tried.is_sound
