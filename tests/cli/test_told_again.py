"""`water-change` and `added` ask when the same is told twice within minutes."""

from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.facts.waters import AddedByHand, WaterChanged
from tests.cli.stage import Stage, stage_of

CHANGE = ("water-change", "40 L", "--new", "alkalinity=9.5 dKH")
ADDED = ("added", "20 mL", "carbonate")
BOTH = pytest.mark.parametrize("words", [CHANGE, ADDED])


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


def kept(stage: Stage) -> list[AddedByHand | WaterChanged]:
    """What was written of them."""
    found = (AddedByHand, WaterChanged)
    return [event for event in stage.events() if isinstance(event, found)]


@BOTH
def test_h55_the_same_again_is_asked_about(
    stage: Stage, words: tuple[str, ...]
) -> None:
    """With the entry it repeats; nothing is written until it is confirmed."""
    assert 0 == stage.run(*words).code
    again = stage.run(*words, "--json")
    (first,) = kept(stage)
    (error,) = again.errors
    assert (2, words[0]) == (again.code, error["where"])
    assert f"ago as {first.id}" in error["what"]
    assert "add --confirm" in error["do"]
    assert 0 == stage.run(*words, "--confirm").code
    assert 2 == len(kept(stage))


@BOTH
def test_the_same_of_another_time_is_another(
    stage: Stage, words: tuple[str, ...]
) -> None:
    """Told one after the other, a day apart."""
    at = stage.stamp()["at"] - timedelta(days=1)
    told = stage.run(*words, "--at", at.isoformat("T", "seconds"))
    assert (0, 0) == (told.code, stage.run(*words).code)


@pytest.mark.parametrize(
    ("words", "other"),
    [
        (CHANGE, ("water-change", "30 L")),
        (ADDED, ("added", "19 mL", "carbonate")),
        (ADDED, ("added", "20 mL", "calcium")),
        (ADDED, ("added", "alkalinity=0.3 dKH")),
    ],
)
def test_another_amount_is_another(
    stage: Stage, words: tuple[str, ...], other: tuple[str, ...]
) -> None:
    """Only what is identical looks like a slip."""
    assert (0, 0) == (stage.run(*words).code, stage.run(*other).code)


def test_a_change_told_again_with_its_test_is_asked_about(stage: Stage) -> None:
    """Whoever forgot it corrects the first: it is one change."""
    assert 0 == stage.run("water-change", "40 L").code
    (first,) = kept(stage)
    told = stage.run(*CHANGE, "--json")
    assert f"--correct {first.id}" in told.errors[0]["do"]
    assert 0 == stage.run(*CHANGE, "--correct", first.id).code


def test_what_was_called_off_or_struck_is_told_anew(stage: Stage) -> None:
    """It does not stand any more."""
    for words in (CHANGE, ADDED):
        assert 0 == stage.run(*words).code
    added, changed = sorted(kept(stage), key=lambda one: one.kind)
    assert 0 == stage.run("water-change", "--cancel", changed.id).code
    assert 0 == stage.run("added", "--strike", added.id, "--why", "a slip").code
    assert [0, 0] == [stage.run(*words).code for words in (CHANGE, ADDED)]
