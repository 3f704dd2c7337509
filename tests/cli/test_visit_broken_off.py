"""`visit` whose questions were not answered to the end: what stands of it."""

from pathlib import Path

import pytest

from slackwater.cli.render import local
from tests.cli.stage import Stage, stage_of


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


def test_broken_off_it_says_that_the_pause_stands(stage: Stage) -> None:
    """What was begun, until when, how it goes on and how the pause ends."""
    told = stage.run("visit", "--by", "keeper", typed="alkalinity=8.1 dKH\n")
    assert 2 == told.code
    (hold,) = stage.folded().holds.values()
    assert hold.until is not None
    text = " ".join(told.err.split())
    assert "Nothing was written" not in text
    assert "\nerror: " in told.err
    assert f"until {local(hold.until, 'Europe/Berlin')}" in text
    assert f"slackwater release {hold.hold_id}" in text
    assert 0 == stage.run("release", hold.hold_id, "--by", "keeper").code
