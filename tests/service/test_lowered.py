"""A file that changes after its approval: lower caps count within a look, no others."""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from slackwater.facts.events import FilesDiffer, PlanWithdrawn
from slackwater.facts.stages import CapsLowered
from slackwater.service.chores import do_chores
from slackwater.service.loop import stamp_of, take_news, write
from slackwater.service.memory import Memory
from slackwater.service.wiring import Rig
from tests.cli.run_program import SMALLEST, changed
from tests.cli.stage import Stage, stage_of
from tests.service.test_alarms import rig_of

DAY_CAP = "pump/carbonate/per_day_ul"
FILE = "slackwater.toml"


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """An approved copy of the smallest sample that a test may write to."""
    stage = stage_of(tmp_path, changed(tmp_path / "config", SMALLEST))
    assert 0 == stage.approve("--now").code
    return stage


@pytest.fixture
def rig(stage: Stage) -> Iterator[Rig]:
    """A rig on its ledger."""
    with closing(Memory(stage.state, "live")) as memory:
        memory.open()
        yield rig_of(stage, memory)


def put(stage: Stage, old: str, new: str) -> None:
    """Change the machine's file once."""
    path = stage.config / FILE
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")


def look(rig: Rig) -> int:
    """One look at the files; what a dose of a day may come to for the soda pump."""
    rig.chores.put("look")
    do_chores(rig)
    return rig.setup.forces[-1].machine.pumps["carbonate"].per_day_ul


def test_a_lower_cap_counts_at_once_and_a_higher_one_never(
    stage: Stage, rig: Rig
) -> None:
    """Lower, lower still, back, then higher than approved: never above it."""
    found = [look(rig)]
    for old, new in (("50", "41"), ("41", "40"), ("40", "50"), ("50", "60")):
        put(stage, f'most_per_day = "{old} mL"', f'most_per_day = "{new} mL"')
        found.append(look(rig))
    assert [50_000, 41_000, 40_000, 50_000, 50_000] == found
    told = [dict(e.caps) for e in stage.events() if isinstance(e, CapsLowered)]
    assert [{DAY_CAP: 41_000}, {DAY_CAP: 40_000}, {}] == told


def test_a_look_without_a_change_writes_nothing(stage: Stage, rig: Rig) -> None:
    """Once per change: one entry that files differ, one with the caps."""
    look(rig)
    put(stage, 'most_per_day = "50 mL"', 'most_per_day = "41 mL"')
    for _ in range(3):
        look(rig)
    kinds = [type(e) for e in stage.events()[-2:]]
    assert [FilesDiffer, CapsLowered] == kinds
    assert 1 == sum(isinstance(e, CapsLowered) for e in stage.events())


def test_a_file_that_cannot_be_read_releases_nothing(stage: Stage, rig: Rig) -> None:
    """What counted goes on counting; what the file would say else is not guessed."""
    put(stage, 'most_per_day = "50 mL"', 'most_per_day = "41 mL"')
    look(rig)
    put(stage, 'most_per_day = "41 mL"', 'most_per_day = "5000 ML"')
    assert 41_000 == look(rig)
    (stage.config / FILE).unlink()
    assert 41_000 == look(rig)


def test_a_threshold_of_the_water_counts_as_well(stage: Stage, rig: Rig) -> None:
    """The ceiling of alkalinity, which the sample states by its target."""
    before = rig.setup.forces[-1].machine.guards["reef"].ceiling
    put(stage, "[broker]", '[interlock.reef]\nalkalinity_ceiling = "9 dKH"\n\n[broker]')
    look(rig)
    after = rig.setup.forces[-1].machine.guards["reef"].ceiling
    assert after == pytest.approx(9 * 0.35665246, rel=1e-6)
    assert after < before


def test_a_later_approval_that_allows_less_counts_before_it_takes_over(
    stage: Stage, rig: Rig
) -> None:
    """Approved for midnight with 41 mL: the plan of today has 41 mL from now on."""
    put(stage, 'most_per_day = "50 mL"', 'most_per_day = "45 mL"')
    assert 0 == stage.approve().code
    rig.memory.news()
    look(rig)
    assert {} == rig.memory.state.lowered
    put(stage, 'most_per_day = "45 mL"', 'most_per_day = "44 mL"')
    look(rig)
    caps = [f.machine.pumps["carbonate"].per_day_ul for f in rig.setup.forces]
    assert [44_000, 44_000] == caps


def test_a_status_says_which_cap_counts(stage: Stage, rig: Rig) -> None:
    """On the page and in the document."""
    put(stage, 'most_per_day = "50 mL"', 'most_per_day = "41 mL"')
    look(rig)
    told = " ".join(stage.run("status").out.split())
    assert "lower in the file than approved" in told
    assert "counting: pump carbonate, most per day 41" in told
    assert {DAY_CAP: 41_000} == stage.run("status", "--json").document["lowered"]


def test_a_file_that_only_reads_otherwise_is_as_approved(
    stage: Stage, rig: Rig
) -> None:
    """A remark and 50000 uL for 50 mL: an approval would say exactly this already."""
    put(stage, 'most_per_day = "50 mL"', 'most_per_day = "50000 uL"')
    with (stage.config / "plan.toml").open("a", encoding="utf-8") as file:
        file.write("# a remark\n")
    assert stage.run("approve", "--json").document["approved"] is False
    look(rig)
    found = [rig.differ]
    assert not any(isinstance(e, FilesDiffer) for e in stage.events())
    put(stage, 'most_per_day = "50000 uL"', 'most_per_day = "41 mL"')
    look(rig)
    assert [(), (FILE,)] == [*found, rig.differ]


def test_i6_a_withdrawal_from_afar_raises_no_cap_again(stage: Stage, rig: Rig) -> None:
    """The plan that waits holds a cap lower; without it the file does so."""
    put(stage, 'most_per_day = "50 mL"', 'most_per_day = "43 mL"')
    assert 0 == stage.approve().code
    take_news(rig)
    assert 43_000 == look(rig)
    waiting = rig.setup.forces[-1].approval.serial
    withdrawn = PlanWithdrawn(**stamp_of(rig), serial=waiting, by="request", why="")
    assert write(rig, [withdrawn])
    do_chores(rig)
    assert waiting not in {one.approval.serial for one in rig.setup.forces}
    assert 43_000 == rig.setup.forces[-1].machine.pumps["carbonate"].per_day_ul
