"""`lots`: everything that had a batch."""

from pathlib import Path

import pytest

from tests.cli.run_program import CONFIG
from tests.cli.stage import Stage, stage_of


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The sample with four solutions, and a fresh ledger."""
    return stage_of(tmp_path, CONFIG / "chemistry")


def test_a_bad_lot_lists_everything_that_had_it(stage: Stage) -> None:
    """Each bottle with its tanks, until it was filled with something else."""
    stage.run("refill", "carbonate", "--lot", "spring")
    stage.run("refill", "calcium", "--lot", "spring")
    stage.run("refill", "carbonate", "--content", "2 L", "--confirm")
    told = stage.run("lots", "spring", "--json")
    assert 0 == told.code
    fills = told.document["fills"]
    assert isinstance(fills, list)
    first, second = fills
    assert ("carbonate", ["reef"]) == (first["reservoir"], first["tanks"])
    assert ("calcium", None) == (second["reservoir"], second["until"])
    every = stage.run("lots", "--json").document["fills"]
    assert isinstance(every, list)
    assert ["spring", "spring", ""] == [one["lot"] for one in every]
    assert every[2]["from"] == first["until"]
    text = stage.run("lots").out
    assert "not told" in text
    assert 3 == text.count("reef")


def test_a_lot_that_nobody_had_is_said(stage: Stage) -> None:
    """With exit code 1; without any fill the list is empty and that is fine."""
    told = stage.run("lots")
    assert 0 == told.code
    assert "No fill was told yet" in told.out
    assert "slackwater refill RESERVOIR" in told.out
    told = stage.run("lots", "autumn")
    assert (1, 'No bottle was filled with "autumn".') == (told.code, told.out.strip())
