"""H24: a pump that was moved to another channel is not the one that was measured."""

from pathlib import Path

import pytest

from slackwater.facts.events import HoldRaised
from slackwater.facts.reasons import Code
from tests.cli.run_program import SMALLEST, changed
from tests.cli.stage import Stage, stage_of

ELSEWHERE = "it was measured on shelf/b and hangs on shelf/c now"


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """Both pumps were measured and a plan approved; then one of them was moved."""
    stage = stage_of(tmp_path)
    stage.commission("carbonate", "calcium")
    assert 0 == stage.approve("--now").code
    stage.config = changed(
        tmp_path / "files", SMALLEST, slackwater=('channel = "b"', 'channel = "c"')
    )
    return stage


def in_one_line(text: str) -> str:
    """What is said, however wide the terminal is."""
    return " ".join(text.split())


@pytest.mark.parametrize("verb", [("check",), ("rehearse", "--full")])
def test_h24_it_is_told_before_anything_is_approved(
    stage: Stage, verb: tuple[str, ...]
) -> None:
    """Where everything else is as it was."""
    told = stage.run(*verb)
    assert ELSEWHERE in in_one_line(told.out + told.err)
    assert "no pump and no parameter differs" not in told.out
    stage.commission("calcium")
    told = stage.run(*verb)
    assert ELSEWHERE not in in_one_line(told.out + told.err)


def test_h24_in_shadow_it_may_be_approved_and_is_not_enabled(stage: Stage) -> None:
    """Shadow is for trying; pumps need the proofs of the channel they hang on."""
    told = stage.approve("--now")
    assert 0 == told.code
    assert ELSEWHERE in in_one_line(told.err)
    stage.shadow()
    refused = stage.run("enable")
    assert 1 == refused.code
    assert ELSEWHERE in in_one_line(refused.err)
    assert "slackwater calibrate calcium" in in_one_line(refused.err)
    assert "carbonate" not in in_one_line(refused.err)
    stage.commission("calcium")
    assert 0 == stage.approve("--now").code
    assert 0 == stage.run("enable").code


def test_h24_an_entry_from_before_places_were_kept_speaks_of_none(
    tmp_path: Path,
) -> None:
    """It stands for the pump wherever it hangs, as it did."""
    stage = stage_of(tmp_path)
    stage.commission("carbonate", "calcium", keep_place=False)
    assert 0 == stage.approve("--now").code
    stage.shadow()
    assert 0 == stage.run("enable").code
    assert "was measured on" not in stage.run("check").out
    held = [event for event in stage.events() if isinstance(event, HoldRaised)]
    assert Code.PUMP_CHANGED not in [event.reason.code for event in held]
