"""H58: a solution of another strength begins with half doses and waits for a test.

The carbonate of the scene is made up anew; its calcium is in the same group. 48 mL of
100 g/L Na2CO3 add 1.27 dKH to 200 L (IUPAC weights); the base is four fifths of an
uptake of 1.4 dKH a day, 1.12 dKH.
"""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.events import DoseIntended, ResumeBegan
from slackwater.facts.fold import fold
from slackwater.facts.messages import Reading
from slackwater.facts.reasons import Code
from slackwater.facts.tank import Machine
from slackwater.facts.waters import MeasurementKept
from slackwater.gate.strengths import HALF_MS
from slackwater.turn.setup import make_setup
from tests.gate.scene import (
    APPROVAL,
    CARBONATE_PEQ_PER_UL,
    dkh,
    machine,
    plan,
    probed,
)
from tests.turn.test_step import START, Bench, roomy

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
WHOLE_UL, HALF_UL = 2000, 1000


def made_up(base: Machine, percent: int) -> Machine:
    """The carbonate of another strength."""
    other = replace(
        base.solutions["carbonate"],
        effects={"alkalinity": CARBONATE_PEQ_PER_UL * percent // 100},
    )
    return replace(base, solutions={**base.solutions, "carbonate": other})


def changed(bench: Bench, percent: int) -> None:
    """Another strength is approved and takes over now."""
    base = roomy(made_up(bench.setup.machine, percent))
    bench.setup = make_setup(base, {1: (APPROVAL, plan())})


def given(bench: Bench, pump: str, since: timedelta) -> list[DoseIntended]:
    """The doses of a pump from a moment on."""
    return [i for i in bench.intents() if i.dose.pump == pump and i.at >= START + since]


def hand_test(bench: Bench) -> None:
    """Somebody tests by hand now."""
    now = bench.now()
    fold(
        bench.state,
        MeasurementKept(
            at=now.utc,
            boot_s=now.boot_s,
            proven_ms=bench.state.mark.proven_ms if bench.state.mark else 0,
            id=f"m-{now.utc}",
            tank="reef",
            parameter="alkalinity",
            value=dkh(8.0),
            typed="",
            taken_at=now.utc,
            provenance="hand",
            by="keeper",
        ),
    )


@pytest.mark.parametrize(
    ("percent", "expected_ul"),
    [(100, WHOLE_UL), (96, WHOLE_UL), (104, WHOLE_UL), (106, HALF_UL), (94, HALF_UL)],
)
def test_h58_more_than_five_percent_is_another_strength(
    percent: int, expected_ul: int
) -> None:
    """Either way; and what is given with it in one group is halved as well."""
    bench = Bench(machine())
    bench.run_until(START + 2 * HOUR)
    changed(bench, percent)
    bench.run_until(START + 6 * HOUR)
    for pump in ("carbonate", "calcium"):
        assert {expected_ul} == {i.command.ul for i in given(bench, pump, 2 * HOUR)}, (
            pump
        )


def test_h58_half_for_a_day_then_the_base_until_a_test() -> None:
    """A test on the first day confirms nothing yet, one after it does."""
    bench = Bench(machine())
    bench.run_until(START + 2 * HOUR)
    changed(bench, 90)
    bench.run_until(START + 20 * HOUR)
    hand_test(bench)
    bench.run_until(START + 40 * HOUR)
    hand_test(bench)
    bench.run_until(START + 44 * HOUR)
    doses = given(bench, "carbonate", 2 * HOUR)
    begun = doses[0].at
    halves = [i for i in doses if i.at - begun < DAY]
    based = [i for i in doses if begun + DAY < i.at < START + 40 * HOUR]
    assert {HALF_UL} == {i.command.ul for i in halves}
    # 48 mL of it add 1.143 dKH: 1.12 of that are 98 %.
    assert {1960} == {i.command.ul for i in based}
    assert {Code.STRENGTH_UNTESTED} == {r.code for i in based for r in i.reasons}
    after = [i for i in doses if i.at >= START + 40 * HOUR]
    assert after
    assert {WHOLE_UL} == {i.command.ul for i in after}


def test_h58_a_stronger_one_leaves_the_base_of_what_it_adds() -> None:
    """The plan as it was approved counts, and what it would add now."""
    bench = Bench(machine())
    bench.run_until(START + 2 * HOUR)
    changed(bench, 110)
    bench.run_until(START + 30 * HOUR)
    based = given(bench, "carbonate", 27 * HOUR)
    assert based
    # 48 mL of it add 1.397 dKH: 1.12 of that are 80.2 %.
    assert all(abs(i.command.ul - 1603) <= 1 for i in based)
    codes = {reason.code for i in based for reason in i.reasons}
    assert {Code.STRENGTH_UNTESTED} == codes


def test_h58_a_sound_probe_confirms_it_after_a_day() -> None:
    """It looks all the time; on the first day half runs all the same."""
    bench = Bench(probed())
    number = 0

    def run_on(end: timedelta) -> None:
        nonlocal number
        while bench.utc < START + end:
            number += 1
            value = dkh(8.0 + (number % 3 - 1) * 0.01)
            bench.news.append(
                Reading(
                    tank="reef",
                    probe="kh",
                    parameter="alkalinity",
                    value=value,
                    at=bench.utc,
                )
            )
            bench.run_until(bench.utc + timedelta(minutes=15))

    run_on(2 * HOUR)
    changed(bench, 90)
    run_on(30 * HOUR)
    doses = given(bench, "carbonate", 2 * HOUR)
    begun = doses[0].at
    assert {HALF_UL} == {i.command.ul for i in doses if i.at - begun < DAY}
    assert {WHOLE_UL} == {i.command.ul for i in doses if i.at - begun > DAY}


def test_h58_what_nobody_tests_wears_off() -> None:
    """After the time for which the base is dosed without evidence."""
    bench = Bench(machine())
    bench.run_until(START + 2 * HOUR)
    changed(bench, 110)
    bench.run_until(START + 4 * HOUR)
    known = bench.state.strengths["carbonate"]
    assert known.since_ms is not None
    known.since_ms -= int(bench.setup.machine.timing.base_for_s * 1000)
    bench.run_until(START + 6 * HOUR)
    assert {WHOLE_UL} == {i.command.ul for i in given(bench, "carbonate", 4 * HOUR)}


def test_h58_the_first_solution_of_a_pump_is_no_change() -> None:
    """And neither halves nor the base lead to a slow way back."""
    bench = Bench(machine())
    bench.run_until(START + 3 * HOUR)
    assert {WHOLE_UL} == {i.command.ul for i in given(bench, "carbonate", 0 * HOUR)}
    changed(bench, 90)
    bench.run_until(START + 30 * HOUR)
    assert [] == [e for e in bench.events if isinstance(e, ResumeBegan)]


def test_h58_proven_time_counts() -> None:
    """A day that only the wall clock saw ends no half."""
    bench = Bench(machine())
    bench.run_until(START + 2 * HOUR)
    changed(bench, 90)
    bench.run_until(START + 4 * HOUR)
    known = bench.state.strengths["carbonate"]
    assert known.since is not None
    known.since -= 3 * DAY
    bench.run_until(START + 6 * HOUR)
    assert {HALF_UL} == {i.command.ul for i in given(bench, "carbonate", 4 * HOUR)}
    assert HALF_MS == DAY / timedelta(milliseconds=1)
