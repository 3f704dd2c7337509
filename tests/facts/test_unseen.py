"""Doses of which nobody saw the end, counted in a row."""

from slackwater.facts.events import DoseEnded
from tests.facts.diary import attempt, begun
from tests.facts.test_charging import seal


def test_h23_doses_that_nobody_saw_end_are_counted_in_a_row() -> None:
    """Sealed or never taken; one that was seen to end begins anew, a lost one not."""
    diary = begun()
    for number in (1, 2):
        diary.intend(number)
        seal(diary, number)
    diary.intend(3)
    diary.void(3)
    diary.intend(4)
    lost = DoseEnded(
        **diary.stamp,
        attempt=attempt(4),
        how="lost",
        believed_ul=2000,
        charge_ul=2000,
        source="asked",
    )
    diary.write(lost)
    assert {"carbonate": 3} == diary.state.unseen
    diary.intend(5)
    diary.end(5, 1000, "short")
    assert {} == diary.state.unseen
