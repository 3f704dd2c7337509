"""A plan written as text is read back as the same plan."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from slackwater.cli.plan_text import plan_text
from slackwater.facts.plan import Group, Plan, PlanLine, Window
from slackwater.facts.tank import Machine
from slackwater.outside.settings import read_machine, read_plan

SAMPLES = Path(__file__).parents[2] / "config"
START = date(2026, 5, 3)


def reread(plan: Plan, machine: Machine, directory: Path) -> Plan:
    """The plan, written and read again."""
    text = plan_text(plan, {line.id: ["Why."] for line in plan.lines})
    (directory / "plan.toml").write_text(text, encoding="utf-8")
    return read_plan(directory, machine)


@pytest.mark.parametrize("name", ["smallest", "chemistry", "two-tanks"])
def test_every_sample_plan_reads_back(name: str, tmp_path: Path) -> None:
    """Windows over midnight, groups, cycles and pumps survive."""
    machine = read_machine(SAMPLES / name)
    plan = read_plan(SAMPLES / name, machine)
    assert plan == reread(plan, machine, tmp_path)


@given(
    amounts=st.lists(st.integers(500, 40_000), min_size=1, max_size=4),
    count=st.integers(1, 24),
    every=st.integers(1, 30),
    cut=st.integers(1, 1438),
)
@settings(max_examples=50, deadline=None)
def test_any_line_reads_back(
    amounts: list[int],
    count: int,
    every: int,
    cut: int,
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    """Whatever amounts, counts, cycles and windows a proposal lays."""
    machine = read_machine(SAMPLES / "smallest")
    line = PlanLine(
        id="x",
        tank="reef",
        solution="carbonate",
        pump="carbonate",
        per_day_ul=1000,
        count=count,
        windows=(
            Window(start_minute=0, end_minute=cut),
            Window(start_minute=cut + 1, end_minute=1440),
        ),
        every_days=every,
    )
    lines = tuple(
        replace(line, id=f"line-{number}", per_day_ul=amount)
        for number, amount in enumerate(amounts)
    )
    plan = Plan(name="any", starts=START, lines=lines)
    directory = tmp_path_factory.mktemp("plan")
    assert plan == reread(plan, machine, directory)


def test_a_correction_a_group_and_times_read_back(tmp_path: Path) -> None:
    """Everything a line may say."""
    machine = read_machine(SAMPLES / "smallest")
    lines = (
        PlanLine(
            id="carbonate-up",
            tank="reef",
            solution="carbonate",
            pump="carbonate",
            per_day_ul=4300,
            count=2,
            times_minute=(450, 1170),
            first_day=date(2026, 5, 4),
            last_day=date(2026, 5, 10),
            purpose="correction",
            note='after "the" test',
        ),
        PlanLine(
            id="carbonate",
            tank="reef",
            solution="carbonate",
            pump="carbonate",
            per_day_ul=12_001,
            count=3,
            windows=(Window(start_minute=60, end_minute=1380),),
            weekdays=("mon", "thu"),
            group="both",
        ),
        PlanLine(
            id="calcium",
            tank="reef",
            solution="calcium",
            pump="calcium",
            per_day_ul=24_002,
            count=3,
            windows=(Window(start_minute=0, end_minute=1440),),
            group="both",
        ),
    )
    groups = {"both": Group(id="both", ratio={"calcium": 2, "carbonate": 1})}
    plan = Plan(name="spring", starts=START, lines=lines, groups=groups)
    assert plan == reread(plan, machine, tmp_path)
