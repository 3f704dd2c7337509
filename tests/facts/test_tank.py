"""The machine's answer to how far apart two solutions must stay."""

from dataclasses import replace

import pytest

from slackwater.facts.tank import Machine, Outside, Solution, Timing


def machine(*, strong: str = "") -> Machine:
    """Carbonate and calcium kept apart, a third that goes with both."""
    names = ("carbonate", "calcium", "trace")
    solutions = {
        name: Solution(id=name, name=name, hydroxide=name == strong) for name in names
    }
    return Machine(
        site="home",
        tanks={},
        reservoirs={},
        nodes={},
        pumps={},
        solutions=solutions,
        apart={"carbonate": ("calcium",), "calcium": ("carbonate",)},
        timing=Timing(apart_gap_s=900.0, hydroxide_gap_s=1800.0),
    )


@pytest.mark.parametrize(
    ("strong", "expected_s"), [("", 900.0), ("carbonate", 1800.0), ("calcium", 1800.0)]
)
def test_h46_solutions_kept_apart_have_a_gap(strong: str, expected_s: float) -> None:
    """A longer one when either is a hydroxide, seen from both sides."""
    used = machine(strong=strong)
    gaps_s = (used.gap_s("carbonate", "calcium"), used.gap_s("calcium", "carbonate"))
    assert (expected_s, expected_s) == gaps_s


def test_other_solutions_have_none() -> None:
    """Not named together, or not named at all."""
    used = machine()
    assert 0.0 == used.gap_s("carbonate", "trace")
    assert 0.0 == replace(used, apart={}).gap_s("carbonate", "calcium")


def test_lines_that_took_an_old_doser_over_take_its_place() -> None:
    """Its line by its tank and name; what no line replaces stays."""
    old = Outside(id="old", tank="reef", parameter="alkalinity", per_day=5, line="kh")
    other = replace(old, id="other", tank="pond")
    lime = replace(old, id="lime", line="")
    used = replace(machine(), outside=(old, other, lime))
    assert (other, lime) == used.handed_over({"reef/kh"}).outside
    assert (10, 5) == tuple(
        made.outside_per_day("reef", "alkalinity")
        for made in (used, used.handed_over({"reef/kh"}))
    )
    assert used is used.handed_over({"reef/calcium"})
