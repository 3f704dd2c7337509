"""`record` says at once that a test lies above what stops dosing."""

from datetime import timedelta
from pathlib import Path

import pytest

from tests.cli.stage import Stage, stage_of

HIGH = ("record", "alkalinity=9.7 dKH")


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample, approved; its ceiling is 9.5 dKH."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve("--now").code
    return stage


def words(stage: Stage, *verb: str) -> str:
    """What a verb prints, on one line."""
    return " ".join(stage.run(*verb).out.split())


def test_a_test_above_the_ceiling_is_told_at_once(stage: Stage) -> None:
    """The first there is: with the ceiling, what is held, and to test again."""
    told = words(stage, *HIGH)
    assert "Mind: 9.70 dKH lies above 9.50 dKH, where dosing stops" in told
    assert "what raises alkalinity is held now" in told
    assert "Test again" in told
    assert stage.run(*HIGH, "--json").document["above_ceiling"] is True


def test_a_correction_above_the_ceiling_is_told_as_well(stage: Stage) -> None:
    """It counts like the test in whose place it is."""
    kept = stage.run("record", "alkalinity=8.7 dKH", "--json").document["measurements"]
    assert isinstance(kept, list)
    told = words(stage, *HIGH, "--correct", str(kept[0]["id"]), "--confirm")
    assert "where dosing stops" in told


def test_what_stops_nothing_is_no_warning(stage: Stage) -> None:
    """Below the ceiling, of something else, or before a newer test."""
    assert "Mind" not in words(stage, "record", "alkalinity=9.4 dKH")
    assert "Mind" not in words(stage, "record", "magnesium=1400 mg/L")
    day = stage.stamp()["at"] - timedelta(days=1)
    at = ("--at", day.isoformat("T", "seconds"))
    told = stage.run(*HIGH, *at, "--confirm", "--json")
    assert (0, False) == (told.code, told.document["above_ceiling"])
