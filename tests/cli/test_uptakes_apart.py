"""Uptake by tests and uptake by the file, when they contradict each other.

The smallest sample states 1 dKH a day and plans for it; all tests are invented.
"""

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.cli.stage import Stage, stage_of

# Five tests within four days that fall by 0.3 dKH a day, the newest an hour ago.
DAYS = (3.8, 2.9, 1.9, 1.0, 0.04)
BOTH = "tests show an uptake of 0.29"


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """Five tests, and nothing dosed since long before them."""
    made = stage_of(tmp_path)
    made.nothing_dosed(9)
    now: datetime = made.stamp()["at"]
    for back in DAYS:
        at = (now - timedelta(days=back)).isoformat(timespec="seconds")
        words = (f"alkalinity={8.1 + 0.33 * back:.2f} dKH", "--at", at, "--confirm")
        assert 0 == made.run("record", *words, "--by", "keeper").code
    return made


def one_line(text: str) -> str:
    """The words of a page, however it is wrapped."""
    return " ".join(text.split())


@pytest.mark.parametrize("words", [("check",), ("rehearse", "--full"), ("propose",)])
def test_every_verb_that_uses_one_of_the_two_says_both(
    stage: Stage, words: tuple[str, ...]
) -> None:
    """With what the plan gives beside them, and why a forecast goes by the file."""
    told = one_line(stage.run(*words).out)
    assert BOTH in told
    assert "the file states 1 dKH: they contradict each other" in told
    assert "its tests span 3.7 days, less than 4" in told
    assert "times what tests show" in told


def test_a_span_that_is_too_short_never_reads_as_long_enough(stage: Stage) -> None:
    """Five in 3.7 days, not in 4, beside the reason."""
    told = one_line(stage.run("assess").out)
    assert "5 in 3.7 d" in told
    assert "5 in 4 d" not in told
