"""`level` and `refill` ask about a bottle that holds far less than it can."""

from pathlib import Path

import pytest

from slackwater.facts.safeguards import LevelMeasured, ReservoirFilled
from tests.cli.stage import Stage, stage_of
from tests.cli.test_level import CHEMISTRY
from tests.cli.test_status import PEQ_PER_DKH, give

FIRST = ("level", "carbonate", "0.4 L")
SMALL = ("refill", "carbonate", "--content", "200 ml")


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The sample with bottles of 5 L that nobody told a fill of, and one dose."""
    stage = stage_of(tmp_path, CHEMISTRY)
    give(stage, 1, PEQ_PER_DKH)
    return stage


def kept(stage: Stage) -> list[object]:
    """What was written of bottles."""
    found = (LevelMeasured, ReservoirFilled)
    return [event for event in stage.events() if isinstance(event, found)]


def test_h22_a_first_level_far_below_the_books_is_asked_about(stage: Stage) -> None:
    """4.6 L of 5 L went, with 1 mL drawn: nothing is written, and what to do is told.

    5 % of the bottle, 250 mL, may be missing before anybody asks.
    """
    told = stage.run(*FIRST, "--json")
    assert (2, ["VOLUME"]) == (told.code, [one["where"] for one in told.errors])
    (error,) = told.errors
    assert "4.599 L less than the books say of carbonate" in error["what"]
    for words in ("siphon", "raises alkalinity by", "slackwater hold", "--confirm"):
        assert words in error["do"]
    assert [] == kept(stage)


def test_h22_a_bottle_that_was_full_is_held_by_its_first_level(stage: Stage) -> None:
    """As the question says: tell what it held, then the level."""
    told = stage.run(*FIRST, "--json")
    assert "slackwater refill carbonate --content '4.999 L'" in told.errors[0]["do"]
    assert 0 == stage.run("refill", "carbonate", "--content", "4.999 L").code
    lost = stage.run(*FIRST, "--json").document["lost_ul"]
    assert 4_599_000 == lost


def test_a_bottle_that_never_was_full_is_confirmed(stage: Stage) -> None:
    """The machine file says what it can hold, not what it held."""
    told = stage.run(*FIRST, "--confirm", "--json")
    assert (0, 0) == (told.code, told.document["lost_ul"])
    assert 400_000 == stage.folded().fills["carbonate"].content_ul


@pytest.mark.parametrize("words", [("level", "carbonate", "4.75 L"), FIRST])
def test_what_the_books_may_be_off_is_not_asked_about(
    stage: Stage, tmp_path: Path, words: tuple[str, ...]
) -> None:
    """Within 250 mL; and nothing is asked before the first run of its pumps."""
    unused = tmp_path / "unused"
    unused.mkdir()
    asked = stage if words != FIRST else stage_of(unused, CHEMISTRY)
    assert 0 == asked.run(*words).code


@pytest.mark.parametrize("told_before", [True, False])
def test_h58_a_fill_far_below_what_was_left_is_asked_about(
    stage: Stage, told_before: bool
) -> None:
    """5 L by the books and 200 mL after it was filled: a slip, or it ran out."""
    if told_before:
        assert 0 == stage.run("refill", "carbonate").code
    before = kept(stage)
    told = stage.run(*SMALL, "--json")
    assert (2, ["--content"]) == (told.code, [one["where"] for one in told.errors])
    (error,) = told.errors
    assert "less than was left in carbonate by the books" in error["what"]
    assert "slackwater level carbonate VOLUME" in error["do"]
    assert before == kept(stage)
    assert 0 == stage.run(*SMALL, "--confirm").code
    assert 200_000 == stage.folded().fills["carbonate"].content_ul


def test_h22_a_fill_that_ends_a_loss_is_not_asked_about(stage: Stage) -> None:
    """The books begin with the level already, which the fill only repeats."""
    stage.run("refill", "carbonate")
    assert 0 < int(str(stage.run(*FIRST, "--json").document["lost_ul"]))
    assert 0 == stage.run("refill", "carbonate", "--content", "0.4 L").code
