"""One parameter several times in one line: replicates, or a slip of the hand.

Three standard deviations of 0.15 dKH, what a drop test at home differs by, are common
practice, no source.
"""

from pathlib import Path

import pytest

from tests.cli.stage import Stage, stage_of
from tests.cli.test_record import record, written_in


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


def test_values_that_contradict_each_other_are_one_error(stage: Stage) -> None:
    """8 and 7 dKH of one water cannot both be right: nothing is written."""
    told = record(stage, "alkalinity=8 dKH", "alkalinity=7 dKH", "calcium=420 mg/L")
    assert (2, []) == (told.code, written_in(stage))
    (error,) = told.errors
    assert "alkalinity is given as 8.00 dKH and 7.00 dKH" in error["what"]
    assert "no further apart than 0.45 dKH" in error["expected"]


def test_replicates_are_both_kept_and_said_to_be_one(stage: Stage) -> None:
    """8.0 and 8.2 dKH: the second names the first, and their mean is told."""
    words = ("alkalinity=8.0 dKH", "alkalinity=8.2 dKH", "--method", "drops")
    text = stage.run("record", "--by", "keeper", *words).out
    first, second = written_in(stage)
    rows = [line for line in text.splitlines() if "alkalinity" in line]
    assert rows[0].endswith("first")
    assert rows[1].endswith(f"replicate of {first.id}")
    assert second.id in rows[1]
    assert "2 of alkalinity are read as one, their mean 8.10 dKH." in text


def test_what_was_read_so_can_be_confirmed(stage: Stage) -> None:
    """Whoever saw both may write both down; the assessment marks them."""
    told = record(stage, "alkalinity=8 dKH", "alkalinity=7 dKH", "--confirm")
    assert (0, 2) == (told.code, len(written_in(stage)))


def test_a_limit_contradicts_nothing(stage: Stage) -> None:
    """Nothing seen below 0.02 mg/L, twice, are two limits."""
    limits = ("phosphate=<0.02 mg/L PO4", "phosphate=<0.05 mg/L PO4")
    assert 0 == record(stage, *limits).code
