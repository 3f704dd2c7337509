"""H38: the audit knows that days came twice, and what their doses are called then."""

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import pytest

from slackwater.audit.audit import Audit, Books, audit
from slackwater.audit.reasons import Missing
from slackwater.facts.events import AnyEvent, ClockConfirmed
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Code
from tests.audit.books import BEGIN, DAY, Days, ended, intended, missed, stamp, wrongs

HOUR = timedelta(hours=1)
ENDS = BEGIN + 3 * DAY


def again(dose: DueDose, times: int = 2) -> DueDose:
    """The dose under the name it has when its time comes for so many times."""
    return replace(dose, id=f"{dose.id}.{times}")


@dataclass(slots=True)
class Twice:
    """A clock that was ahead gave two days; then it was put right, and they came.

    Entries stand in the order they were written in: those of the wrong clock first,
    with its times. `right_at` is what the person vouched for.
    """

    days: Days = field(default_factory=Days)
    right_at: datetime = BEGIN - HOUR
    until: datetime | None = BEGIN + 2 * DAY
    first: list[AnyEvent] = field(default_factory=list)
    second: list[AnyEvent] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Everything is given both times."""
        for dose in self.days.doses():
            self.first += self.given(dose)
            self.second += self.given(again(dose))

    def given(self, dose: DueDose) -> list[AnyEvent]:
        """Its intent, when it is due, and its end."""
        intent = intended(dose, self.days.machine)
        return [intent, ended(intent)]

    def audited(self, promised: dict[str, int] | None = None) -> Audit:
        """What the audit makes of it."""
        right = ClockConfirmed(
            **stamp(self.right_at),
            boot_id="one",
            by="keeper",
            again_until=self.until,
        )
        entries = [*self.days.rules, *self.first, right, *self.second]
        numbered = list(enumerate(entries, start=1))
        books = Books(
            rules=numbered,
            live=numbered,
            decided_at=ENDS,
            now=ENDS,
            promised=promised,
        )
        return audit(books, BEGIN, BEGIN + 2 * DAY)


def test_h38_days_that_came_twice_are_asked_for_twice() -> None:
    """Each time as approved: nothing is too much, altered, extra or missing."""
    books = Twice()
    promised = {dose.id: dose.volume_ul for dose in books.days.doses()}
    found = books.audited(promised)
    assert ([], []) == (list(wrongs(found)), found.missing)
    totals = [one for one in found.days.values() if one.pump == "carbonate-reef"]
    assert 2 == len(totals)
    for total in totals:
        assert (24, 24) == (total.doses, total.given)
        assert 72_000 == total.approved_ul == total.believed_ul == total.asked_ul
        assert 72_000 == total.rehearsed_ul


def test_h38_what_the_wrong_clock_did_not_give_is_asked_for_once() -> None:
    """It jumped over the first day: that day came only once."""
    books = Twice()
    second_day = BEGIN + DAY
    books.first = [event for event in books.first if event.at >= second_day]
    found = books.audited()
    assert ([], []) == (list(wrongs(found)), found.missing)
    totals = [one for one in found.days.values() if one.pump == "carbonate-reef"]
    assert [12, 24] == [one.given for one in sorted(totals, key=lambda one: one.day)]


def test_h38_a_dose_missing_the_second_time_is_told() -> None:
    """That it was given by the wrong clock is no answer."""
    books = Twice()
    lost, kept = books.days.doses()[3], books.days.doses()[4]
    books.second = [
        event
        for dose in books.days.doses()
        if dose not in (lost, kept)
        for event in books.given(again(dose))
    ]
    books.second.append(missed(again(kept), Code.GIVEN_BEFORE))
    found = books.audited()
    assert [("unexplained", lost.id)] == list(wrongs(found))
    assert [(kept.id, Missing.CLOCK)] == [
        (one.dose, one.reason) for one in found.missing
    ]


@pytest.mark.parametrize(("times", "is_sound"), [(1, False), (2, True), (3, False)])
def test_h38_a_name_of_another_time_is_altered(times: int, *, is_sound: bool) -> None:
    """Behind the word of the person the second name is the right one."""
    books = Twice()
    dose = books.days.doses()[0]
    books.first, rest = books.first[2:], books.second[2:]
    books.second = [*books.given(dose if times == 1 else again(dose, times)), *rest]
    kinds = {wrong for wrong, _ in wrongs(books.audited())}
    assert is_sound is ("altered" not in kinds)


@pytest.mark.parametrize("moment_s", [-1, 0, 1])
def test_h38_a_share_that_lies_in_both_may_have_come_once(moment_s: int) -> None:
    """Vouched for within the share of a dose, beside when it is due: either name."""
    books = Twice()
    # A gap to another line had moved it by an hour, within its share of six.
    moved = [
        replace(dose, due_at=dose.due_at + HOUR, latest_at=dose.latest_at + HOUR)
        if dose.id == "reef/trace@2026-05-03#02"
        else dose
        for dose in books.days.doses()
    ]
    due_at = next(
        dose.due_at for dose in moved if dose.id.endswith("trace@2026-05-03#02")
    )
    books.right_at = due_at + timedelta(seconds=moment_s)
    ahead = [dose for dose in moved if dose.due_at > books.right_at]
    books.first = [event for dose in ahead for event in books.given(dose)]
    books.second = [
        event
        for dose in moved
        for event in books.given(again(dose) if dose in ahead else dose)
    ]
    found = books.audited()
    assert ([], []) == (list(wrongs(found)), found.missing)


def test_h38_a_clock_that_was_not_ahead_brings_no_second_name() -> None:
    """Whoever vouched for it changed nothing of what is asked for."""
    books = Twice(until=None)
    books.second = []
    assert [] == list(wrongs(books.audited()))
