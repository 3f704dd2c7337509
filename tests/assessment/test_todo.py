"""The words an assessment leads with."""

from slackwater.assessment.records import Advice, Notice
from slackwater.assessment.todo import todo
from tests.assessment.past import NOW, ago
from tests.assessment.pictures import picture, stands


def notice(weight: str, text: str, code: str = "code") -> Notice:
    """A notice."""
    return Notice(code=code, weight=weight, parameter="", text=text)  # type: ignore[arg-type]  # a weight


def advice(rank: int, text: str) -> Advice:
    """Something to do."""
    return Advice(remedy="other", parameter="", text=text, due_on=NOW.date(), rank=rank)


def test_the_most_urgent_comes_first() -> None:
    """Alarms, what threatens animals, then by rank; notes are left to the page."""
    found = todo(
        picture(),
        [
            notice("alarm", "salinity is off"),
            notice("warning", "copper was seen."),
            notice("warning", "uptake fell", "uptake-fell"),
            notice("note", "an outlier"),
        ],
        [advice(60, "Test calcium."), advice(20, "Correct salinity.")],
    )
    assert (
        "Salinity is off.",
        "Uptake fell.",
        "Correct salinity.",
        "Copper was seen.",
        "Test calcium.",
    ) == found


def test_a_sentence_stands_once() -> None:
    """However many ask for it."""
    assert ("Same.",) == todo(picture(), [], [advice(1, "Same."), advice(2, "Same.")])


def test_nothing_to_do_names_the_next_test() -> None:
    """The one that runs out first; pH and temperature change with the hour."""
    found = todo(picture(), [], [])
    assert ("Nothing needs to be done; test alkalinity by 2026-06-03.",) == found
    older = stands("calcium", 425.0, sampled_at=ago(13.5))
    assert ("Nothing needs to be done; test calcium by 2026-06-02.",) == todo(
        picture(standings=[older]), [], []
    )
