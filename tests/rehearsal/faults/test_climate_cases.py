"""Faults of pH, temperature and salinity on a tank that watches all three."""

from dataclasses import replace
from functools import cache

import pytest

from slackwater.facts.tank import Machine, Probe
from slackwater.rehearsal.faults.case import Case, FaultRun, Tried
from slackwater.rehearsal.faults.climate_cases import CLIMATE_CASES
from slackwater.rehearsal.faults.running import run_cases
from tests.rehearsal.houses import sample

# Windows in which a value is a value, as of a probe in a reef tank (invented).
SPANS = {"ph": (6.5, 9.5), "temperature": (5.0, 45.0), "salinity": (5.0, 50.0)}
STEPS = {"ph": 0.01, "temperature": 0.1, "salinity": 0.1}


def probe(parameter: str) -> Probe:
    """A probe that speaks every ten minutes."""
    low, high = SPANS[parameter]
    return Probe(
        id=parameter,
        tank="reef",
        parameter=parameter,
        unit="",
        scale=1.0,
        offset=0.0,
        period_s=600.0,
        resolution=STEPS[parameter],
        low=low,
        high=high,
    )


def watched(*, hydroxide: bool = False, bicarbonate: bool = False) -> Machine:
    """The smallest sample with a probe of each, and another word on its carbonate."""
    machine, _plan = sample("smallest")
    stock = replace(
        machine.solutions["carbonate"],
        ions=(),
        hydroxide=hydroxide,
        bicarbonate=bicarbonate,
    )
    return replace(
        machine,
        solutions={**machine.solutions, "carbonate": stock},
        probes={name: probe(name) for name in SPANS},
    )


def run(machine: Machine, *names: str) -> FaultRun:
    """Some of the nine on such a machine."""
    _machine, plan = sample("smallest")
    cases = [case for case in CLIMATE_CASES if case.id in names]
    return run_cases(machine, plan, plan.starts, cases)


@cache
def tried(case: str) -> Tried:
    """What one fault did where the stock is hydroxide, which everything can hold."""
    (found,) = run(watched(hydroxide=True), case).tried
    return found


@pytest.mark.parametrize("case", CLIMATE_CASES, ids=lambda case: case.id)
def test_each_is_noticed_and_carries_nothing_over(case: Case) -> None:
    """Safe within the day, with the reason that must stand told first."""
    found = tried(case.id)
    assert found.is_sound
    assert found.reasons[0] in case.expects


@pytest.mark.parametrize(
    ("case", "carbonate"),
    [
        ("ph-high", "stops"),
        ("ph-climbs", "stops"),
        # Hydroxide waits where pH is not known (law 7: not proven refuses).
        ("ph-silent", "stops"),
        ("water-too-hot", "stops"),
        ("water-too-cold", "stops"),
        ("temperature-silent", "shortens"),
        ("water-too-salty", "stops"),
        ("water-too-fresh", "stops"),
        ("salinity-silent", "shortens"),
    ],
)
def test_too_far_stops_and_silence_shortens(case: str, carbonate: str) -> None:
    """Design law 7, read off the answers of the alkalinity pump."""
    assert carbonate == tried(case).answers["carbonate"]


def test_silent_ph_is_not_tried_on_a_stock_it_never_holds() -> None:
    """Carbonate runs on while pH is unknown: there is nothing that must stand."""
    found = run(watched(), "ph-silent", "salinity-silent")
    assert ["salinity-silent"] == [one.case for one in found.tried]
    why = {one.case: one.why for one in found.not_tried}
    assert {"ph-silent": "pump carbonate gives no hydroxide: pH never holds it"} == why


def test_ph_is_not_tried_on_bicarbonate() -> None:
    """Bicarbonate does not raise pH as it is dosed."""
    names = ("ph-high", "ph-climbs", "ph-silent", "water-too-hot")
    found = run(watched(bicarbonate=True), *names)
    assert ["water-too-hot"] == [one.case for one in found.tried]
    why = {one.case: one.why for one in found.not_tried}
    assert {"ph-high", "ph-climbs", "ph-silent"} == set(why)
    assert "gives no hydroxide or carbonate" in why["ph-high"]


def test_a_tank_that_watches_none_says_so_for_each() -> None:
    """Nine cases, each with the probe that is not there."""
    machine, plan = sample("smallest")
    not_tried = run_cases(machine, plan, plan.starts, CLIMATE_CASES).not_tried
    assert len(CLIMATE_CASES) == len(not_tried)
    for one in not_tried:
        assert "probe: nothing would notice" in one.why


@pytest.mark.parametrize(
    ("hours", "tried"),
    [
        # Twice the period is more than a day: silence is not missed in time.
        (13, ["water-too-hot"]),
        (25, []),
    ],
)
def test_what_a_probe_tells_too_seldom_is_not_tried(
    hours: int, tried: list[str]
) -> None:
    """A fault that shows after more than a day would look like one nobody notices."""
    machine = watched(hydroxide=True)
    slow = {
        name: replace(one, period_s=hours * 3600.0)
        for name, one in machine.probes.items()
    }
    silent = ("ph-silent", "temperature-silent", "salinity-silent")
    found = run(replace(machine, probes=slow), *silent, "water-too-hot")
    assert tried == [one.case for one in found.tried]
    assert {*silent, "water-too-hot"} == {
        *tried,
        *(one.case for one in found.not_tried),
    }
    told = f"speaks every {hours} h: a day is not enough to notice"
    assert all(one.why.endswith(told) for one in found.not_tried)
    assert all(one.is_sound for one in found.tried)
