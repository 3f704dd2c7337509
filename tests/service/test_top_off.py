"""What a top-off can follow: the tank's document says when it must keep still."""

from pathlib import Path

from slackwater.facts.exchanges import Account
from tests.cli.run_program import CONFIG
from tests.cli.stage import stage_of
from tests.service.test_tank_document import running, shown


def test_the_document_says_when_the_top_off_is_to_keep_still(tmp_path: Path) -> None:
    """Blocked from the drain on until the fill has ended, free before and after."""
    stage = stage_of(tmp_path, CONFIG / "exchange")
    assert 0 == stage.approve("--now", highest="6 L").code
    with running(stage) as rig:
        assert "free" == shown(rig)["top_off"]
        for phase, expected in (
            ("draining", "blocked"),
            ("owed", "blocked"),
            ("filling", "blocked"),
            ("rest", "free"),
        ):
            account = Account(phase=phase, owed_ul=150_000)  # type: ignore[arg-type]  # of the list above
            rig.memory.state.exchanges["water"] = account
            assert expected == shown(rig)["top_off"]


def test_a_tank_without_a_pair_says_nothing_of_top_off(tmp_path: Path) -> None:
    """Whoever follows the word finds none, and goes on as before."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve("--now").code
    with running(stage) as rig:
        assert shown(rig).get("top_off") is None
