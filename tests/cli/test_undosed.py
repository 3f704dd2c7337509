"""`event nothing_dosed` and `added` do not contradict each other unasked.

The ledger is made now; what is told is of days before it.
"""

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from slackwater.facts.waters import AddedByHand, HusbandryNoted
from tests.cli.run_program import SMALLEST, Outcome
from tests.cli.stage import Stage, stage_of


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


def ago(stage: Stage, days: float) -> str:
    """A time so many days ago, as typed."""
    return f"{stage.stamp()['at'] - timedelta(days=days):%Y-%m-%dT%H:%M}Z"


def added(stage: Stage, days: float, *words: object) -> Outcome:
    """Tell of 20 mL poured in so many days ago."""
    at = ("--at", ago(stage, days))
    return stage.run("added", "20 mL", "carbonate", "--json", *at, *words)


def undosed(stage: Stage, days: float, *words: object) -> Outcome:
    """Say that nothing was dosed from so many days ago on."""
    at = ("--at", ago(stage, days))
    return stage.run("event", "nothing_dosed", "--json", *at, *words)


def hands(stage: Stage) -> list[AddedByHand]:
    """Every hand addition in the ledger."""
    return [one for one in stage.events() if isinstance(one, AddedByHand)]


def spans(stage: Stage) -> list[datetime]:
    """From when on nothing was dosed, as it was said each time."""
    noted = [one for one in stage.events() if isinstance(one, HusbandryNoted)]
    return [one.happened_at for one in noted if one.what == "nothing_dosed"]


def test_an_addition_in_a_time_without_doses_is_asked_about(stage: Stage) -> None:
    """With what was said before; before it and after the ledger nothing is asked."""
    assert 0 == undosed(stage, 10).code
    asked = added(stage, 5)
    (error,) = asked.errors

    assert (2, []) == (asked.code, hands(stage))
    assert "added" == error["where"]
    assert "nothing was dosed" in error["what"]
    assert "add --confirm" in error["do"]
    assert [0, 0] == [
        added(stage, 11).code,
        stage.run("added", "20 mL", "carbonate").code,
    ]
    assert 0 == added(stage, 5, "--confirm").code
    assert 3 == len(hands(stage))


def test_a_time_with_additions_is_asked_about(stage: Stage) -> None:
    """They are named; a time that begins after them is taken."""
    assert [0, 0] == [added(stage, days).code for days in (5, 6)]
    asked = undosed(stage, 10)
    (error,) = asked.errors

    assert (2, []) == (asked.code, spans(stage))
    assert "event nothing_dosed" == error["where"]
    assert all(one.id in error["what"] for one in hands(stage))
    assert "add --confirm" in error["do"]
    assert 0 == undosed(stage, 4).code
    assert 0 == undosed(stage, 10, "--confirm").code
    assert 2 == len(spans(stage))


def test_an_addition_that_was_struck_contradicts_nothing(stage: Stage) -> None:
    """It never happened."""
    assert 0 == added(stage, 5).code
    (one,) = hands(stage)
    assert 0 == stage.run("added", "--strike", one.id, "--why", "a slip").code

    assert 0 == undosed(stage, 10).code


def test_what_the_ledger_began_with_is_asked_about_too(tmp_path: Path) -> None:
    """12 mL in the 24 hours before it are no time without doses."""
    stage = Stage(SMALLEST, tmp_path / "state")
    words = ("--dosed", "carbonate=12 mL", "--dosed", "calcium=0 mL")
    assert 0 == stage.run("init", *words, "--by", "keeper").code
    asked = undosed(stage, 10)

    assert (2, []) == (asked.code, spans(stage))
    assert "24 hours before the ledger" in asked.errors[0]["what"]
    assert 0 == undosed(stage, 10, "--confirm").code


def test_only_what_may_contradict_takes_a_confirmation(stage: Stage) -> None:
    """Any other event has nothing to confirm."""
    told = stage.run("event", "light", "--confirm", "--json")

    assert 2 == told.code
    assert "--confirm" == told.errors[0]["where"]
