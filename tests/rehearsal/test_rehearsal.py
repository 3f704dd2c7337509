"""The real turn under a virtual clock: samples, totals, sameness."""

import json
import os
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine, Probe
from slackwater.outside.settings import read_machine, read_plan
from slackwater.planning.ceilings import check
from slackwater.planning.daily import per_day
from slackwater.rehearsal.record import effect_days, empty_days, pump_days
from slackwater.rehearsal.rehearsal import rehearse

TOP = Path(__file__).resolve().parents[2]
SAMPLES = [path.parent for path in sorted((TOP / "config").glob("*/slackwater.toml"))]
SAMPLES.append(TOP / "demo" / "config")
TOGETHER = """
import json, sys
from pathlib import Path
from slackwater.outside.settings import read_machine, read_plan
from slackwater.rehearsal.rehearsal import rehearse
folder = Path(sys.argv[1])
machine = read_machine(folder)
plan = read_plan(folder, machine)
done = rehearse(machine, plan, plan.starts, 3)
print(json.dumps([repr(each) for each in done.doses]), repr(done.nearest))
"""


def sample(folder: Path) -> tuple[Machine, Plan]:
    """The machine and plan of a sample."""
    machine = read_machine(folder)
    return machine, read_plan(folder, machine)


@pytest.mark.parametrize("folder", SAMPLES, ids=lambda path: str(path.name))
def test_every_sample_rehearses_without_a_refusal(folder: Path) -> None:
    """Each sample passes its caps, and a week of it would be given whole."""
    machine, plan = sample(folder)
    assert [] == check(plan, machine)
    done = rehearse(machine, plan, plan.starts, 7)
    assert {"granted"} == set(Counter(each.verdict for each in done.doses))
    assert all(near.share <= 1 for near in done.nearest)


@pytest.mark.parametrize("folder", SAMPLES, ids=lambda path: str(path.name))
def test_daily_totals_are_those_of_the_timetable(folder: Path) -> None:
    """What would be dosed each day is what the plan asks, to the microlitre."""
    machine, plan = sample(folder)
    done = rehearse(machine, plan, plan.starts, 5)
    for day in pump_days(machine, done.doses):
        asked = per_day(plan, machine, day.tank, day.day).volumes_ul[day.pump]
        assert asked == day.volume_ul


def test_effects_and_bottles_follow_from_the_volumes() -> None:
    """36 mL of 100 g/L soda (99 %): 36 x 1.868 meq a day; 2 L last 55 whole days.

    Source: 2 x 100 x 0.99 / 105.988 g/mol (IUPAC conventional atomic weights).
    """
    machine, plan = sample(TOP / "config" / "smallest")
    done = rehearse(machine, plan, plan.starts, 60)
    first = next(
        each
        for each in effect_days(machine, done.doses)
        if each.parameter == "alkalinity"
    )
    assert first.added == pytest.approx(36 * 1.86814 * 1e9, rel=1e-4)
    # 2000 mL / 36 mL: 55 days are whole, the 56th is not.
    assert date(2026, 6, 27) == empty_days(machine, done.doses)["carbonate"]


def test_a_cap_below_the_plan_shows_as_missed_doses() -> None:
    """A daily cap of half the plan: the rest would be missed, and says why."""
    machine, plan = sample(TOP / "config" / "smallest")
    pump = replace(machine.pumps["carbonate"], per_day_ul=18_000)
    tight = replace(machine, pumps={**machine.pumps, "carbonate": pump})
    done = rehearse(tight, plan, plan.starts, 1)
    missed = [each for each in done.doses if each.verdict == "missed"]
    assert 6 == len(missed)
    assert {"window-passed", "cap-per-local-day", "cap-per-24-hours"} == {
        str(reason.code) for each in missed for reason in each.reasons
    }


def test_d3_the_same_bytes_under_another_zone_locale_and_hash_seed() -> None:
    """Host zone, locale and hash seed change nothing."""
    outputs = set()
    for number, zone in ((1, "UTC"), (2, "Pacific/Kiritimati")):
        environment = {
            **os.environ,
            "TZ": zone,
            "LC_ALL": "C" if number == 1 else "C.UTF-8",
            "PYTHONHASHSEED": str(number),
            "PYTHONPATH": str(TOP / "daemon"),
        }
        done = subprocess.run(
            [sys.executable, "-c", TOGETHER, str(TOP / "config" / "two-tanks")],
            env=environment,
            capture_output=True,
            text=True,
            check=True,
        )
        outputs.add(done.stdout)
    assert 1 == len(outputs)
    assert json.loads(outputs.pop().split("] ", 1)[0] + "]")


def test_probes_show_quiet_water_and_never_look_frozen() -> None:
    """A month with a probe is given whole: nothing is shortened for want of one."""
    machine, plan = sample(TOP / "demo" / "config")
    assert isinstance(machine.probes["alk"], Probe)
    done = rehearse(machine, plan, plan.starts, 30)
    assert {"granted"} == {each.verdict for each in done.doses}


def test_half_doses_after_enabling_are_rehearsed_with_the_plan() -> None:
    """Two days of proven time by halves, then whole; nothing is missed for it."""
    machine, plan = sample(SAMPLES[0].parent / "smallest")
    timing = replace(machine.timing, half_stage_s=2 * 86_400.0)
    done = rehearse(replace(machine, timing=timing), plan, plan.starts, 4)
    given: dict[date, set[int]] = {}
    for each in done.doses:
        given.setdefault(each.dose.local_day, set()).add(each.volume_ul)
    assert [{1500}, {1500}, {3000}, {3000}] == [given[day] for day in sorted(given)]
    assert {"shortened", "granted"} == {each.verdict for each in done.doses}
