"""Half doses for a while: after enabling, and where a pump is to give clearly more."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.events import DoseIntended, ResumeBegan
from slackwater.facts.fold import fold
from slackwater.facts.reasons import Code
from slackwater.facts.stages import HalfBegan
from tests.gate.scene import machine
from tests.turn.test_lives import confirm, leap
from tests.turn.test_step import BOOT_S, START, Bench

HOUR = timedelta(hours=1)
PROVEN_MS = 10**9


def halved(
    scope: str = "all", *, hours: float = 24.0, ahead: timedelta = HOUR * 0
) -> Bench:
    """The bench with half doses from then on, said at the start."""
    bench = Bench(machine())
    half = HalfBegan(
        at=START,
        boot_s=BOOT_S,
        proven_ms=PROVEN_MS,
        scope=scope,
        from_at=START + ahead,
        lasts_s=hours * 3600,
        why="invented",
        by="keeper",
    )
    fold(bench.state, half)
    return bench


def volumes(bench: Bench) -> Mapping[str, list[int]]:
    """What each pump was asked for, in order."""
    found: dict[str, list[int]] = {}
    for intent in bench.intents():
        found.setdefault(intent.dose.pump, []).append(intent.command.ul)
    return found


@pytest.mark.parametrize(
    ("scope", "expected"),
    [
        ("all", {"carbonate": 1000, "calcium": 1000}),
        ("pump/carbonate", {"carbonate": 1000, "calcium": 2000}),
        ("pump/other", {"carbonate": 2000, "calcium": 2000}),
    ],
)
def test_a_half_reaches_its_scope_alone(scope: str, expected: dict[str, int]) -> None:
    """Every dose of it, with the reason, and all of the others whole."""
    bench = halved(scope)
    bench.run_until(START + 6 * HOUR)
    assert {name: [ul] * 6 for name, ul in expected.items()} == volumes(bench)
    for intent in bench.intents():
        told = {reason.code for reason in intent.reasons}
        assert (intent.command.ul < 2000) == (Code.HALVED in told)
        assert 2000 == intent.planned_ul


def test_it_ends_in_proven_time() -> None:
    """Three hours; a wall clock that is doubted meanwhile does not shorten them."""
    bench = halved(hours=3)
    bench.run_until(START + 6 * HOUR)
    assert [1000] * 3 + [2000] * 3 == volumes(bench)["carbonate"]


def test_it_begins_when_it_was_said_to() -> None:
    """Approved now for two hours ahead, for two hours."""
    bench = halved(hours=2, ahead=2 * HOUR)
    bench.run_until(START + 6 * HOUR)
    assert [2000] * 2 + [1000] * 2 + [2000] * 2 == volumes(bench)["carbonate"]


def test_no_way_back_begins_after_it() -> None:
    """Half was what was wanted: a day and a half of it leaves no gap behind."""
    bench = halved(hours=36)
    bench.run_until(START + 40 * HOUR)
    assert [] == [e for e in bench.events if isinstance(e, ResumeBegan)]
    given = [i for i in bench.intents() if i.dose.pump == "carbonate"]
    assert 36 * 1000 + 4 * 2000 == sum(intent.command.ul for intent in given)
    halves = [i for i in given if i.command.ul == 1000]
    assert all(_wanted(one) == _planned(one) for one in halves)


def _wanted(intent: DoseIntended) -> int:
    return intent.effects["alkalinity"]


def _planned(intent: DoseIntended) -> int:
    return intent.planned_effects["alkalinity"]


def test_below_the_smallest_dose_whole_ones_take_turns() -> None:
    """Half of 2 mL where a pump gives no less than 1.5: three of four are given."""
    bench = halved()
    force = bench.setup.forces[0]
    pumps = {
        name: replace(rule, pump=replace(rule.pump, smallest_dose_ul=1500))
        for name, rule in force.rules.pumps.items()
    }
    rules = replace(force.rules, pumps=pumps)
    bench.setup = replace(bench.setup, forces=(replace(force, rules=rules),))
    bench.run_until(START + 12 * HOUR)
    given = volumes(bench)["carbonate"]
    assert {1500} == set(given)
    assert sum(given) <= 12 * 1000


def test_a_plan_for_later_ends_no_half_that_runs() -> None:
    """A half of six hours; after two of them one for another plan, in eight hours."""
    bench = halved("pump/carbonate", hours=6)
    bench.run_until(START + 2 * HOUR)
    later = HalfBegan(
        at=bench.utc,
        boot_s=bench.now().boot_s,
        proven_ms=PROVEN_MS + 2 * 3_600_000,
        scope="pump/carbonate",
        from_at=START + 10 * HOUR,
        lasts_s=24 * 3600,
        why="invented",
        by="keeper",
    )
    fold(bench.state, later)
    bench.run_until(START + 12 * HOUR)
    expected = [1000] * 6 + [2000] * 4 + [1000] * 2
    assert expected == volumes(bench)["carbonate"]


def test_h38_a_clock_that_was_ahead_passes_over_no_half() -> None:
    """Pumps were enabled by a clock a day ahead, which was put right then."""
    bench = Bench(machine())
    leap(bench, 24 * HOUR)
    begun = bench.now().utc
    half = HalfBegan(
        at=begun,
        boot_s=BOOT_S,
        proven_ms=PROVEN_MS,
        scope="all",
        from_at=begun,
        lasts_s=12 * 3600,
        why="invented",
        by="keeper",
    )
    fold(bench.state, half)
    bench.run_until(START + 2 * HOUR)
    confirm(bench)
    bench.run_until(START + 15 * HOUR)
    by_time = {one.proven_ms - PROVEN_MS: one.command.ul for one in bench.intents()}
    within = [ul for ms, ul in by_time.items() if ms < 12 * 3_600_000]
    assert {1000} == set(within)
    assert {2000} == {ul for ms, ul in by_time.items() if ms >= 12 * 3_600_000}
    assert len(within) > 20
