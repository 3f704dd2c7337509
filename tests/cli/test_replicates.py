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


def at(minute: int) -> tuple[str, ...]:
    """One kit and lot, on one evening."""
    return ("--method", "drops", "--lot", "7", "--at", f"2026-05-03 19:{minute:02d}")


def test_a_second_test_of_another_call_is_a_replicate_too(stage: Stage) -> None:
    """Twenty minutes later, the same kit: one test of two, and their mean is told."""
    record(stage, "alkalinity=8.0 dKH", *at(5))
    (first,) = written_in(stage)
    text = stage.run("record", "alkalinity=8.2 dKH", *at(25)).out

    assert f"replicate of {first.id}" in text
    assert "2 of alkalinity are read as one, their mean 8.10 dKH." in text


@pytest.mark.parametrize("minute", [5, 45])
def test_a_second_test_that_contradicts_the_first_is_asked_about(
    stage: Stage, minute: int
) -> None:
    """0.9 dKH apart within twenty minutes: one of them is wrong, and none is written.

    Both ways in time, because a test is often typed in later.
    """
    record(stage, "alkalinity=8.0 dKH", *at(25))
    (first,) = written_in(stage)
    told = record(stage, "alkalinity=8.9 dKH", "calcium=420 mg/L", *at(minute))

    assert (2, [first]) == (told.code, written_in(stage))
    (error,) = told.errors
    assert f"8.90 dKH contradicts the 8.00 dKH of {first.id}" in error["what"]
    assert "no further apart than 0.45 dKH" in error["expected"]
    assert "--confirm" in error["do"]
    assert 0 == record(stage, "alkalinity=8.9 dKH", *at(minute), "--confirm").code


@pytest.mark.parametrize(
    "words",
    [
        ("--method", "drops", "--lot", "7", "--at", "2026-05-03 19:36"),
        ("--method", "drops", "--lot", "8", "--at", "2026-05-03 19:25"),
        ("--method", "titrator", "--lot", "7", "--at", "2026-05-03 19:25"),
    ],
)
def test_another_kit_lot_or_hour_is_no_replicate(
    stage: Stage, words: tuple[str, ...]
) -> None:
    """31 minutes later, or by another reagent: a test of its own."""
    record(stage, "alkalinity=8.0 dKH", *at(5))
    told = stage.run("record", "alkalinity=8.9 dKH", *words)

    assert 0 == told.code
    assert "replicate" not in told.out


def test_a_confirmed_value_contradicts_no_third_test(stage: Stage) -> None:
    """8.0, then 8.9 by --confirm: the third test says which, and is taken."""
    record(stage, "alkalinity=8.0 dKH", *at(5))
    record(stage, "alkalinity=8.9 dKH", *at(15), "--confirm")
    assert 0 == record(stage, "alkalinity=8.1 dKH", *at(25)).code


@pytest.mark.parametrize("lower", ["8.5", "9.4"])
def test_confirmed_values_contradict_what_agrees_with_none(
    stage: Stage, lower: str
) -> None:
    """9.9 twice, both confirmed, then far less: asked, for one of the two is wrong."""
    record(stage, "alkalinity=9.9 dKH", *at(5), "--confirm")
    record(stage, "alkalinity=9.9 dKH", *at(7), "--confirm")
    before = written_in(stage)
    told = record(stage, f"alkalinity={lower} dKH", *at(10))

    assert (2, before) == (told.code, written_in(stage))
    (error,) = told.errors
    assert f"{lower}0 dKH contradicts the 9.90 dKH of {before[0].id}" in error["what"]
    assert 0 == record(stage, f"alkalinity={lower} dKH", *at(10), "--confirm").code


def test_what_is_known_is_the_nearest_in_time(stage: Stage) -> None:
    """A test typed in late is compared with its neighbour, not with the newest one."""
    record(stage, "alkalinity=8.0 dKH", "--at", "2026-05-03 09:00")
    record(stage, "alkalinity=8.4 dKH", "--at", "2026-05-05 09:00")
    late = stage.run("record", "alkalinity=8.1 dKH", "--at", "2026-05-03 19:00").out

    assert "8.00 dKH, 10 h 0 min before" in late
