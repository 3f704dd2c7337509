"""From a laboratory's report to a plan that stands: the whole way, and how long."""

import shutil
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.cli.run_program import SMALLEST, Outcome
from tests.cli.stage import Stage, stage_of

REPORT = Path(__file__).resolve().parents[2] / "demo" / "config" / "report.csv"
ELEMENTS = 40
# For the four verbs together, in one process.
DAYS = 14


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fortnight of tests: 0.15 dKH a day is used up."""
    config = tmp_path / "config"
    shutil.copytree(SMALLEST, config)
    made = stage_of(tmp_path, config)
    made.nothing_dosed(DAYS + 1)
    now: datetime = made.stamp()["at"]
    for back in range(DAYS, 0, -1):
        at = (now - timedelta(days=back)).isoformat(timespec="seconds")
        level = 7.4 + 0.15 * back
        words = (f"alkalinity={level:.2f} dKH", "--at", at, "--method", "drops")
        assert 0 == made.run("record", *words, "--by", "keeper").code
    return made


def chain(stage: Stage) -> list[Outcome]:
    """Import, assess, propose, rehearse."""
    now: datetime = stage.stamp()["at"]
    taken = (now - timedelta(days=3)).isoformat(timespec="seconds")
    plan = stage.config / "plan.toml"
    return [
        stage.run("import", REPORT, "--sampled-at", taken, "--by", "keeper"),
        stage.run("assess", "--by", "keeper"),
        stage.run("propose", "--write", plan, "--replace"),
        stage.run("rehearse", "--from", f"{now + timedelta(days=1):%Y-%m-%d}"),
    ]


def test_a_report_of_forty_elements_leads_to_a_plan(
    stage: Stage,
) -> None:
    """All four verbs, one after the other; `tests.bench.report` times them."""
    assert 0 == stage.run("check").code
    told = chain(stage)
    document = stage.run("check", "--json").document

    assert [0, 0, 0, 0] == [one.code for one in told]
    assert ELEMENTS <= len(REPORT.read_text("utf-8").splitlines()) - 4
    assert "carbonate falls" in told[2].out
    assert document["ok"] is True
