"""`refill --new`: new salt water and what its test showed."""

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


@pytest.mark.parametrize("word", ["salinity", "salinity=35", "salt=35 PSU"])
def test_a_test_that_says_nothing_is_refused(stage: Stage, word: str) -> None:
    """Without a figure, a unit or a known name; nothing is written."""
    told = stage.run("refill", "new-water", "--new", word)
    assert 2 == told.code
    assert "--new" in told.err
    assert [] == [one for one in stage.events() if isinstance(one, ReservoirFilled)]
