"""`refill`: what cannot be in a bottle, and what is past its time."""

import shutil
from datetime import timedelta
from pathlib import Path

import pytest

from tests.cli.run_program import CONFIG
from tests.cli.stage import Stage, stage_of


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """A copy of the sample with four solutions, and a fresh ledger."""
    shutil.copytree(CONFIG / "chemistry", tmp_path / "config")
    return stage_of(tmp_path, tmp_path / "config")


@pytest.mark.parametrize("content", ["50 L", "5.26 L"])
def test_h58_more_than_the_bottle_holds_is_refused(stage: Stage, content: str) -> None:
    """The file says 5 L; a bottle filled to its brim is a twentieth more."""
    told = stage.run("refill", "carbonate", "--content", content, "--json")
    assert (2, ["--content"]) == (told.code, [one["where"] for one in told.errors])
    assert {} == stage.folded().fills
    told = stage.run("refill", "carbonate", "--content", "5.25 L")
    assert 0 == told.code
    assert 5_250_000 == stage.folded().fills["carbonate"].content_ul


@pytest.mark.parametrize("lot", ["", "  "])
def test_a_batch_without_a_name_is_refused(stage: Stage, lot: str) -> None:
    """An empty --lot is a slip, as of a script without the name; nothing is told."""
    told = stage.run("refill", "carbonate", "--lot", lot, "--json")
    assert (2, ["--lot"]) == (told.code, [one["where"] for one in told.errors])
    assert {} == stage.folded().fills


def test_h58_a_solution_past_its_time_is_said(stage: Stage) -> None:
    """It is written down as it is: corrections from it end, and that is told."""
    path = stage.config / "slackwater.toml"
    text = path.read_text()
    assert '# keeps = "90 d"' in text
    path.write_text(text.replace('# keeps = "90 d"', 'keeps = "30 d"', 1))
    for days, is_past in ((29, False), (31, True)):
        when = (stage.stamp()["at"] - timedelta(days=days)).isoformat("T", "seconds")
        words = ("refill", "carbonate", "--opened", when)
        said = stage.run(*words)
        assert (0, is_past) == (said.code, "past its time" in said.out)
        assert is_past is stage.run(*words, "--json").document["is_past"]
