"""What a channel counted before anybody commanded it."""

from dataclasses import replace

import pytest

from slackwater.facts.state import Commanded, Stage
from tests.facts.diary import begun
from tests.ledger.audit_samples import inputs

PLACE = "shelf/a"


@pytest.mark.parametrize(("stage", "expected"), [("live", [PLACE]), ("shadow", [])])
def test_a_first_count_is_kept_where_pumps_are_commanded(
    stage: Stage, expected: list[str]
) -> None:
    """One below the number that it asks for next; in shadow it is nobody's."""
    diary = begun()
    diary.state.stage = stage
    diary.write(inputs(diary.stamp))
    assert expected == list(diary.state.commanded)
    assert [3] * len(expected) == [one.n for one in diary.state.commanded.values()]


def test_a_count_that_is_on_record_stays() -> None:
    """Only a command of ours, or a person, moves it on."""
    diary = begun()
    diary.state.stage = "live"
    known = Commanded(boot="before", n=9, fence=2)
    diary.state.commanded[PLACE] = replace(known)
    diary.write(inputs(diary.stamp))
    assert {PLACE: known} == diary.state.commanded
