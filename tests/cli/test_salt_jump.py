"""`record` asks about salinity that moves faster than water evaporates."""

from datetime import timedelta
from pathlib import Path

import pytest

from tests.cli.stage import Stage, stage_of


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


@pytest.mark.parametrize(
    ("value", "days", "code"),
    [
        *((32.6, 1, 2), (36.6, 6.9, 2), (33.6, 1, 0), (36.5, 6.9, 0)),
        *((32.6, 8, 0), (24.0, 8, 2)),
    ],
)
def test_salinity_that_moves_by_more_than_1_5_in_a_week_is_asked_about(
    stage: Stage, value: float, days: float, code: int
) -> None:
    """From 35.04 PSU: 33.54 to 36.54 within seven days, three tenths of it beyond."""
    then = stage.stamp()["at"] - timedelta(days=days)
    at = f"{then:%Y-%m-%dT%H:%M}Z"
    assert 0 == stage.run("record", "salinity=35.04 PSU", "--at", at).code
    words = ("record", "--json", f"salinity={value} PSU")
    told = stage.run(*words)

    assert code == told.code
    if code:
        expected = "within 1.5 of 35.04" if days < 7 else "within 30% of 35.04"
        assert told.errors[0]["expected"].startswith(expected)
    assert 0 == stage.run(*words, "--confirm").code
