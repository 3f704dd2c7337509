"""Every fault of the list on the samples: safe, counted, nothing carried over."""

import gc
import time
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pytest

from slackwater.facts.reasons import Code
from slackwater.rehearsal.faults.alkalinity_cases import ALKALINITY_CASES
from slackwater.rehearsal.faults.case import GROUPS, Case, FaultRun, Tried
from slackwater.rehearsal.faults.cases import CASES
from slackwater.rehearsal.faults.climate_cases import CLIMATE_CASES
from slackwater.rehearsal.faults.running import run_cases
from slackwater.rehearsal.faults.switch_cases import SWITCH_CASES
from slackwater.rehearsal.rehearsal import rehearse
from tests.bench import year
from tests.rehearsal.houses import sample

# Four samples with all faults: long, where others share the machine.
pytestmark = pytest.mark.timeout(400)
SAMPLES = ("smallest", "two-tanks", "chemistry", "demo")
BY_ID = {case.id: case for case in CASES}
# Processor seconds allowed for thirty days of eight pumps and all faults where a bare
# loop over a thousand days takes so long; on a slower machine as many times more.


@cache
def tried(name: str) -> FaultRun:
    """All faults, tried on a sample."""
    machine, plan = sample(name)
    return run_cases(machine, plan, plan.starts, CASES)


def result(name: str, case: str) -> Tried:
    """What one fault did to a sample."""
    return next(one for one in tried(name).tried if one.case == case)


def test_the_list_has_each_group_and_three_bursts() -> None:
    """At least 24 cases, each hazard group of A to I, three bursts."""
    groups = [case.group for case in CASES]
    assert len(CASES) >= 24
    assert set(GROUPS) == set(groups)
    assert 3 == groups.count("burst")
    assert len(CASES) == len(BY_ID)
    named = {hazard for case in CASES for hazard in case.hazards}
    assert named <= {f"H{number:02}" for number in range(1, 64)}
    assert all(case.hazards for case in CASES)


@pytest.mark.parametrize("name", SAMPLES)
def test_every_fault_ends_safe_and_carries_nothing_over(name: str) -> None:
    """No cap passed, nothing twice, nothing late, nothing made up for."""
    run = tried(name)
    assert [] == [one for one in run.tried if not one.is_sound]
    assert len(CASES) == len(run.tried) + len(run.not_tried)
    assert all(one.why for one in run.not_tried)


@pytest.mark.parametrize("name", SAMPLES)
def test_at_least_24_are_tried_on_each_sample(name: str) -> None:
    """Whatever a sample lacks: probes, clock changes, hold-offs."""
    assert len(tried(name).tried) >= 24


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.id)
def test_the_reason_that_must_stand_is_the_first_one_told(case: Case) -> None:
    """On the sample that can be tried with all of them."""
    found = [
        one
        for name in ("two-tanks", "chemistry")
        for one in tried(name).tried
        if one.case == case.id
    ]
    # No sample has such an input: those are tried in files of their own.
    elsewhere = ("switch", "pH probe", "temperature probe", "salinity probe")
    assert found or case.about[0] in elsewhere
    if case.expects:
        assert all(one.reasons[0] in case.expects for one in found)


COUNTS = [
    # A day away, doses an hour apart: all of it is missed and none made up.
    ("outage-of-a-day", 3, 23),
    ("broker-gone", 24, 2),
    ("node-away", 20, 6),
    ("stall", 23, 3),
    ("killed-after-sending", 26, 0),
    ("killed-before-sending", 25, 1),
    ("command-doubled", 26, 0),
    ("command-late", 25, 1),
    ("results-lost", 26, 0),
    ("restart-storm", 0, 26),
    ("plan-swap", 23, 3),
]


@pytest.mark.parametrize(("case", "given", "missed"), COUNTS)
def test_counts_doses_by_the_calendar(case: str, given: int, missed: int) -> None:
    """An hour between doses, 26 of them from the strike to the end."""
    found = result("smallest", case)
    assert (given, missed) == (found.given, found.missed)


def test_what_cannot_be_decided_is_not_called_missed() -> None:
    """After a jump of the clock nothing is decided, not even a miss."""
    found = result("smallest", "clock-forward")
    assert (0, 0) == (found.given, found.missed)
    assert found.undecided >= 20


@pytest.mark.parametrize(
    ("case", "least_s", "most_s"),
    [
        # A beat counts for 15 s (contract, timing); the last one came up to 5 s before.
        ("node-away", 5.0, 15.0),
        ("beats-lost", 5.0, 15.0),
        # A run of 6 s, struck at its beginning or in its middle.
        ("link-lost-in-run", 3.0, 8.0),
        ("held-at-device", 3.0, 10.0),
        ("gives-too-much", 6.0, 8.0),
        # Three short doses, an hour apart.
        ("bottle-empty", 7200.0, 7210.0),
        # Three starts three seconds apart.
        ("restart-storm", 6.0, 10.0),
    ],
)
def test_seconds_to_a_safe_state_follow_from_the_contract(
    case: str, least_s: float, most_s: float
) -> None:
    """From the strike until nothing flows and the reason stands."""
    safe_after_s = result("smallest", case).safe_after_s
    assert safe_after_s is not None
    assert least_s <= safe_after_s <= most_s


def test_without_a_probe_a_swing_is_noticed_by_nobody_and_that_is_said() -> None:
    """The smallest sample has none: every case that needs one says so."""
    why = {one.case: one.why for one in tried("smallest").not_tried}
    assert "no alkalinity probe: nothing would notice" in why["water-climbs"]
    probes = (*ALKALINITY_CASES, *CLIMATE_CASES, *SWITCH_CASES)
    assert {case.id for case in probes} == set(why)
    assert all(why.values())


def test_a_slow_second_probe_keeps_a_freeze_hidden_for_longer_than_a_day() -> None:
    """One reading in four hours: eleven of them take two days."""
    why = {one.case: one.why for one in tried("two-tanks").not_tried}
    told = "probe kh-two speaks every 4 h: a day is not enough to notice"
    assert told == why["probe-frozen"]
    aside = {case.id for case in (*CLIMATE_CASES, *SWITCH_CASES)}
    assert {"probe-frozen", *aside} == set(why)


@pytest.mark.parametrize(
    ("case", "answer"),
    [
        ("probe-silent", "shortens"),
        ("probe-never-heard", "shortens"),
        ("probe-frozen", "shortens"),
        ("probe-spike", "stops"),
        ("test-contradicts", "shortens"),
        ("test-too-high", "stops"),
        ("water-climbs", "stops"),
        ("broker-gone", "stops"),
    ],
)
def test_excess_stops_and_ignorance_shortens(case: str, answer: str) -> None:
    """Design law 7, read off the answers of the alkalinity pump."""
    assert answer == result("chemistry", case).answers["carbonate"]


def test_a_probe_never_reaches_what_adds_no_alkalinity() -> None:
    """Potassium goes on through a swing; the pair of carbonate stops with it."""
    answers = result("chemistry", "water-climbs").answers
    assert ("stops", "runs") == (answers["calcium"], answers["potassium"])


def test_a_latched_pump_stops_its_group_and_nothing_else() -> None:
    """Too much delivered: carbonate and its mate, not the other tank."""
    answers = result("two-tanks", "gives-too-much").answers
    assert ("stops", "stops", "runs") == (
        answers["reef-carbonate"],
        answers["reef-calcium"],
        answers["frags-carbonate"],
    )


def test_too_much_delivered_counts_in_full() -> None:
    """12 doses of 3 mL and half a dose more that nobody asked for."""
    found = result("smallest", "gives-too-much").highest
    assert ("carbonate", 37_500, 37_500) == (
        found.pump,
        found.charged_ul,
        found.flowed_ul,
    )


def test_a_plan_without_doses_tries_nothing_and_says_why() -> None:
    """Every case carries the reason."""
    machine, plan = sample("smallest")
    empty = type(plan)(name="empty", starts=plan.starts, lines=())
    run = run_cases(machine, empty, plan.starts, CASES)
    assert {"the plan doses nothing"} == {one.why for one in run.not_tried}
    assert () == run.tried


def test_a_plan_that_doses_once_a_week_survives_the_same_faults() -> None:
    """A pump that has not run for days is struck all the same, and ends safe."""
    machine, plan = sample("smallest")
    lines = [
        replace(line, every_days=7, count=3, per_day_ul=9_000) for line in plan.lines
    ]
    seldom = replace(plan, lines=tuple(lines))
    run = run_cases(machine, seldom, seldom.starts, CASES)
    assert [] == [one for one in run.tried if not one.is_sound]
    assert {one.case for one in tried("smallest").tried} == {
        one.case for one in run.tried
    }


def test_a_machine_that_takes_any_number_of_starts_is_told() -> None:
    """The demo allows a hundred."""
    why = {one.case: one.why for one in tried("demo").not_tried}
    assert "starts_allowed is 100" in why["restart-storm"]
    assert "start_hold_off is 1 s" in why["restart"]


@pytest.mark.long
def test_thirty_days_of_eight_pumps_with_all_faults(
    tell: Callable[[str], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    """24 doses a day of each; `tests.bench.faults` times it beside a bare loop."""
    monkeypatch.setattr(year, "DOSES", 24)
    machine, plan = year.house()
    gc.collect()
    begin_s = time.process_time()
    done = rehearse(machine, plan, plan.starts, 30)
    run = run_cases(machine, plan, plan.starts, CASES)
    spent_s = time.process_time() - begin_s
    tell(f"30 days, 8 pumps, {len(run.tried)} faults: {spent_s:.1f} s of processor")
    assert 8 * 24 * 30 == len(done.doses)
    assert len(run.tried) >= 24


def test_the_same_faults_do_the_same_again() -> None:
    """Nothing is left to chance: each fifth fault, once more and on its own."""
    machine, plan = sample("smallest")
    again = run_cases(machine, plan, plan.starts, CASES[::5])
    names = {case.id for case in CASES[::5]}
    before = tried("smallest")
    assert [one for one in before.tried if one.case in names] == list(again.tried)
    assert len(again.tried) > 5
    assert [one for one in before.not_tried if one.case in names] == list(
        again.not_tried
    )


def test_reasons_are_codes() -> None:
    """What is told is of the closed list."""
    codes = {code for one in tried("chemistry").tried for code in one.reasons}
    assert codes <= set(Code)
