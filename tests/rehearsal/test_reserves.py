"""Bottles, pauses and runs beside their limits."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from slackwater.rehearsal.rehearsal import rehearse
from slackwater.rehearsal.reserves import bottles, closest_gaps, longest_runs
from tests.rehearsal.houses import FIRST, sample

DAYS = 10
UNTIL = FIRST + timedelta(days=DAYS - 1)


def test_a_bottle_goes_on_as_the_plan_draws_beyond_the_rehearsal() -> None:
    """2 L at 36 mL a day: 55 whole days, the 56th is 27 June."""
    machine, plan = sample("smallest")
    done = rehearse(machine, plan, FIRST, DAYS)
    (first, _second) = bottles(machine, plan, done.doses, (FIRST, UNTIL))
    assert (2_000_000, 36_000) == (first.content_ul, first.per_day_ul)
    assert (55.56, date(2026, 6, 27), False) == (
        first.lasts_days,
        first.empty_on,
        first.within,
    )


@pytest.mark.parametrize(
    ("visit", "short_ul"),
    [
        (None, 0),
        (date(2026, 5, 5), 8_000),
        (date(2026, 5, 12), 260_000),
        (date(2026, 5, 14), 332_000),
    ],
)
def test_tells_what_lacks_until_the_next_visit(
    visit: date | None, short_ul: int
) -> None:
    """100 mL at 36 mL a day, the day of the visit included, beyond the end too."""
    machine, plan = sample("smallest")
    small = replace(machine.reservoirs["carbonate"], content_ul=100_000)
    tight = replace(machine, reservoirs={**machine.reservoirs, "carbonate": small})
    done = rehearse(machine, plan, FIRST, DAYS)
    first = bottles(tight, plan, done.doses, (FIRST, UNTIL), visit)[0]
    assert ("carbonate", short_ul) == (first.id, first.short_ul)
    assert first.within
    assert date(2026, 5, 5) == first.empty_on


def test_an_undrawn_bottle_has_no_end() -> None:
    """It stands last, and nothing is said of a day."""
    machine, plan = sample("smallest")
    lines = tuple(line for line in plan.lines if line.id == "calcium")
    alone = replace(plan, lines=lines, groups={})
    done = rehearse(machine, alone, FIRST, DAYS)
    last = bottles(machine, alone, done.doses, (FIRST, UNTIL))[-1]
    assert ("carbonate", None, None) == (last.id, last.lasts_days, last.empty_on)


def test_a_bottle_that_outlives_everybody_names_no_day() -> None:
    """A drop a day from a lake."""
    machine, plan = sample("smallest")
    lake = replace(machine.reservoirs["carbonate"], content_ul=10**13)
    large = replace(machine, reservoirs={**machine.reservoirs, "carbonate": lake})
    done = rehearse(machine, plan, FIRST, 2)
    last = bottles(large, plan, done.doses, (FIRST, FIRST + timedelta(days=1)))[-1]
    assert last.empty_on is None
    assert last.lasts_days is not None


def test_pauses_are_those_between_end_and_beginning() -> None:
    """A run takes 6 s; the first dose of the other pump is an hour after it began."""
    machine, plan = sample("smallest")
    done = rehearse(machine, plan, FIRST, DAYS)
    gaps_s = {("carbonate", "calcium"): 900.0, ("calcium", "carbonate"): 900.0}
    found = closest_gaps(gaps_s, done.doses)
    assert 2 == len(found)
    for gap in found:
        assert gap.gap_s >= gap.least_s
        assert 3594.0 == pytest.approx(gap.gap_s, abs=0.1)


def test_missed_doses_make_no_pause() -> None:
    """What never began ends nothing."""
    machine, plan = sample("smallest")
    pump = replace(machine.pumps["carbonate"], per_dose_ul=1)
    held = replace(machine, pumps={**machine.pumps, "carbonate": pump})
    done = rehearse(held, plan, FIRST, 2)
    assert () == closest_gaps({("calcium", "carbonate"): 900.0}, done.doses)


def test_the_longest_run_stands_beside_its_cut() -> None:
    """3 mL at 30 mL/min run 6 s; the node cuts at 30 s."""
    machine, plan = sample("smallest")
    done = rehearse(machine, plan, FIRST, 2)
    found = longest_runs(machine, done.doses)
    assert {("calcium", 6000, 30_000), ("carbonate", 6000, 30_000)} == {
        (run.pump, run.run_ms, run.cut_ms) for run in found
    }
