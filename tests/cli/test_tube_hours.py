"""How long a tube ran, and how long it lasts: in a check, and before it is worn.

By hand: 36 mL a day at 30 mL/min are 72 s a day.
"""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from slackwater.cli.lasting import tube_days, tube_hours, tubes
from slackwater.cli.reading import read_files
from slackwater.facts.plan import Plan
from slackwater.facts.safeguards import TubeSwapped
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.facts.wear import fold_calibrated, fold_tube_swapped
from tests.cli.run_program import SMALLEST, changed, run
from tests.facts.diary import Diary, calibrated

HOUR_MS = 3_600_000


def files() -> tuple[Machine, Plan]:
    """Machine and plan of the smallest sample."""
    read = read_files(SMALLEST)
    return read.machine, read.plan


def test_what_ran_since_the_tube_was_new_is_behind() -> None:
    """100 h, then a new tube and 20 h of 500."""
    machine, _ = files()
    state = State(run_ms={"carbonate": 100 * HOUR_MS})
    swap = TubeSwapped(**Diary().stamp, pump="carbonate", by="keeper")
    fold_tube_swapped(state, swap)
    state.run_ms["carbonate"] += 20 * HOUR_MS
    found = {one.pump: one for one in tubes(machine, state)}
    assert "20.0 of 500 h" == tube_hours(found["carbonate"])
    assert "0.0 of 500 h" == tube_hours(found["calcium"])


@pytest.mark.parametrize(("ran_h", "days"), [(0, 25_000), (499, 50), (500, 0)])
def test_the_rest_lasts_as_the_plan_runs(ran_h: int, days: float) -> None:
    """An hour is 50 days of 72 s."""
    machine, plan = files()
    state = State(run_ms={"carbonate": ran_h * HOUR_MS})
    (tube,) = [one for one in tubes(machine, state) if one.pump == "carbonate"]
    assert pytest.approx(days, abs=1) == tube_days(plan, tube, plan.starts)


def test_a_pump_that_gives_twice_as_much_runs_half_as_long() -> None:
    """The rate in force counts, not the nominal one."""
    machine, plan = files()
    diary = Diary()
    state = diary.state
    state.run_ms["carbonate"] = 499 * HOUR_MS
    rate = 2 * machine.pumps["carbonate"].rate_nl_per_s
    fold_calibrated(state, replace(calibrated(diary), rate_nl_per_s=rate))
    (tube,) = [one for one in tubes(machine, state) if one.pump == "carbonate"]
    assert pytest.approx(100, abs=1) == tube_days(plan, tube, plan.starts)


def test_a_check_lists_every_tube() -> None:
    """Without a ledger they count as new; the days are those of the plan."""
    told = run("check", "--config", SMALLEST)
    lines = told.out.split("How long tubes last")[1].splitlines()
    carbonate = next(one for one in lines if one.split()[:1] == ["carbonate"])
    assert "carbonate 0.0 of 500 h beyond ten years" == " ".join(carbonate.split())
    found: Any = run("check", "--config", SMALLEST, "--json").document["tubes"]
    assert {"pump": "calcium", "ran_h": 0.0, "life_h": 500.0, "days": 25000.0} in found


def test_a_tube_that_is_worn_within_the_rehearsed_days_is_told(tmp_path: Path) -> None:
    """A tube of one hour lasts 50 days: told of 60, not of 30."""
    short = ("[pump.carbonate]", '[pump.carbonate]\ntube_life = "1 h"')
    config = changed(tmp_path / "config", SMALLEST, slackwater=short)
    state = tmp_path / "state"
    places = ("--config", config, "--state", state)
    run("init", "--dosed-nothing", "--by", "keeper", *places)
    told = run("rehearse", "--days", "60", *places).out
    words = " ".join(told.split())
    assert "tube of carbonate has run 0.0 of 1 h and is worn in 50 days" in words
    assert "is worn in" not in run("rehearse", "--days", "30", *places).out
