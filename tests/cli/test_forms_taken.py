"""What a bare unit was taken as: told with the first test of a kit."""

from pathlib import Path

import pytest

from tests.cli.stage import Stage, stage_of
from tests.cli.test_record import PO4_PER_P, written_in


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


def test_a_bare_unit_says_once_what_it_was_taken_as(stage: Stage) -> None:
    """A kit that counts phosphorus shows a third of what one of phosphate does."""
    words = ("--method", "photometer", "--at", "2026-05-03 09:30")
    first = stage.run("record", "phosphate=20 ug/L", "nitrate=4 mg/L NO3", *words).out
    (phosphate,) = (one for one in written_in(stage) if one.parameter == "phosphate")
    said = " ".join(first.split())
    mended = f'slackwater record phosphate="20 ug/L PO4-P" --correct {phosphate.id}'
    assert f"20 ug/L was taken as PO4. If the kit counts PO4-P: {mended}" in said
    assert "was taken as NO3" not in said

    again = stage.run(
        "record", "phosphate=21 ug/L", *words[:-1], "2026-05-03 19:00"
    ).out
    other = stage.run(
        "record", "phosphate=21 ug/L", "--method", "drops", "--at", "2026-05-04 09:00"
    ).out
    assert "was taken as" not in again
    assert "21 ug/L was taken as PO4" in other


def test_what_it_says_to_type_makes_phosphorus_of_it(stage: Stage) -> None:
    """The correction takes the place of the first, with the factor of P in PO4."""
    stage.run("record", "phosphate=20 ug/L", "--method", "photometer")
    (first,) = written_in(stage)
    stage.run("record", "phosphate=20 ug/L PO4-P", "--correct", first.id)
    *_, mended = written_in(stage)
    assert first.id == mended.supersedes
    assert 0.02 * PO4_PER_P == pytest.approx(mended.value, rel=1e-4)
