"""`refill --new`: new salt water and what its test showed."""

from math import exp
from pathlib import Path

import pytest

from slackwater.facts.safeguards import ReservoirFilled
from tests.cli.run_program import CONFIG
from tests.cli.stage import Stage, stage_of


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The sample with two pumps for one exchange, and a fresh ledger."""
    return stage_of(tmp_path, CONFIG / "exchange")


def test_new_water_is_told_with_its_test(stage: Stage) -> None:
    """The batch, its salinity and alkalinity; canonical in the ledger."""
    told = stage.run(
        "refill",
        "new-water",
        *("--lot", "may-2", "--new", "salinity=35 PSU"),
        *("--new", "alkalinity=8.0 dKH", "--json"),
    )
    assert 0 == told.code
    levels = told.document["levels"]
    assert isinstance(levels, dict)
    assert 35.0 == float(levels["salinity"])
    # 8 dKH are 2.853 meq/L: 10 mg/L CaO each, 56.077 g/mol, two equivalents.
    assert 8 * 20 / 56.077 == pytest.approx(float(levels["alkalinity"]), rel=1e-4)
    (filled,) = [one for one in stage.events() if isinstance(one, ReservoirFilled)]
    assert ("may-2", 35.0) == (filled.lot, filled.levels["salinity"])


def test_water_that_would_move_the_salinity_is_told_so(stage: Stage) -> None:
    """50 L at 20 PSU into 300 L at its target of 35, by hand: 20 + 15 exp(-1/6)."""
    told = stage.run("refill", "new-water", "--new", "salinity=20 PSU")
    assert 0 == told.code
    text = " ".join(told.out.split())
    assert "takes the salinity of reef from 35.00 PSU to 32.70 PSU" in text
    assert "`slackwater hold --scope pump/water-out`" in text
    stage.run("record", "salinity=34 PSU")
    words = (
        "refill",
        "new-water",
        "--content",
        "25 L",
        "--new",
        "salinity=20 PSU",
        "--confirm",
    )
    after = stage.run(*words, "--json").document["salinity_after"]
    assert isinstance(after, dict)
    assert 20 + 14 * exp(-25 / 300) == pytest.approx(float(after["reef"]))


def test_water_like_that_of_the_tank_is_told_without_a_word(stage: Stage) -> None:
    """Half a unit beside the target moves 300 L by less than a tenth of one."""
    told = stage.run("refill", "new-water", "--new", "salinity=34.5 PSU")
    assert (0, False) == (told.code, "Mind: all of it" in told.out)


@pytest.mark.parametrize(
    "words", [("waste",), ("new-water",), ("waste", "--new", "salinity=20 PSU")]
)
def test_what_is_no_new_water_or_was_not_tested_moves_nothing(
    stage: Stage, words: tuple[str, ...]
) -> None:
    """The room in the waste container, and water nobody tested."""
    told = stage.run("refill", *words, "--json")
    assert (0, {}) == (told.code, told.document["salinity_after"])


@pytest.mark.parametrize("word", ["salinity", "salinity=35", "salt=35 PSU"])
def test_a_test_that_says_nothing_is_refused(stage: Stage, word: str) -> None:
    """Without a figure, a unit or a known name; nothing is written."""
    told = stage.run("refill", "new-water", "--new", word)
    assert 2 == told.code
    assert "--new" in told.err
    assert [] == [one for one in stage.events() if isinstance(one, ReservoirFilled)]
