"""H38: what a clock that was ahead decided comes again, under names of its own."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from slackwater.facts.charging import charge
from slackwater.facts.doses import DoseIntended, DoseMissed, attempt_id
from slackwater.facts.events import ClockConfirmed
from slackwater.facts.lives import (
    as_named,
    decided_ahead,
    was_given,
    will_be_left_out,
    without_times,
)
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Code, because
from slackwater.facts.rolling import DAY_MS, HOUR_MS
from tests.facts.diary import BOOT, HOUR, T0, Diary, begun, due

DAY = timedelta(days=1)
MOMENT = timedelta(microseconds=1)


def coming(number: int, at: datetime) -> DueDose:
    """An invented dose that is due then."""
    return replace(due(number, day=at.date()), due_at=at, latest_at=at + HOUR / 4)


def missed(diary: Diary, dose: DueDose, code: Code = Code.WINDOW_PASSED) -> None:
    """It is written off."""
    diary.write(DoseMissed(**diary.stamp, dose=dose, reasons=(because(code),)))


def given(diary: Diary, dose: DueDose) -> DueDose:
    """An intent for it, when it is due."""
    other = begun()
    other.day = dose.local_day
    other.intend(dose.ordinal)
    intent = other.events[-1]
    assert isinstance(intent, DoseIntended)
    diary.at = dose.due_at
    diary.write(replace(intent, **diary.stamp, dose=dose))
    return dose


def put_right(diary: Diary, at: datetime) -> None:
    """A person says how late it is."""
    diary.at = at
    until = decided_ahead(diary.state, at)
    confirmed = ClockConfirmed(
        **diary.stamp, boot_id=BOOT, by="keeper", again_until=until
    )
    diary.write(confirmed)


def test_a_clock_that_was_right_changes_no_name() -> None:
    """Whoever must vouch for it at each boot sees no other names for that."""
    diary = begun()
    dose = given(diary, coming(1, T0))
    put_right(diary, T0 + HOUR)
    assert [] == diary.state.again
    assert dose == as_named(diary.state, dose)
    later = coming(2, T0 + 2 * HOUR)
    assert later == as_named(diary.state, later)


def test_what_was_decided_ahead_has_another_name_when_it_comes_again() -> None:
    """From the moment that is vouched for until the last of them, each time anew."""
    diary = begun()
    last = given(diary, coming(1, T0 + 5 * DAY))
    put_right(diary, T0)
    edges = {
        T0: "",
        T0 + MOMENT: ".2",
        last.due_at: ".2",
        last.due_at + MOMENT: "",
    }
    for at, ending in edges.items():
        dose = coming(7, at)
        assert as_named(diary.state, dose) == replace(dose, id=f"{dose.id}{ending}")
    # It runs ahead once more, not so far, and is put right an hour later than before.
    given(diary, coming(3, T0 + 2 * DAY))
    put_right(diary, T0 + HOUR)
    names = [
        as_named(diary.state, coming(7, at)).id.partition("#")[2]
        for at in (T0 + HOUR, T0 + 2 * DAY, T0 + 3 * DAY)
    ]
    assert ["07.2", "07.3", "07.2"] == names


def test_nothing_counts_as_ahead_once_it_was_put_right() -> None:
    """A second word of a person on the same clock brings no third name."""
    diary = begun()
    given(diary, coming(1, T0 + 5 * DAY))
    put_right(diary, T0)
    put_right(diary, T0 + HOUR)
    assert 1 == len(diary.state.again)
    assert decided_ahead(diary.state, T0 + HOUR) is None


def again_given(diary: Diary, dose: DueDose, passed_ms: int) -> bool:
    """Whether it counts as given, so long after the clock was put right."""
    named = as_named(diary.state, dose)
    assert named.id == f"{dose.id}.2"
    return was_given(diary.state, named, diary.proven_ms + passed_ms)


def test_what_was_given_does_not_come_twice_in_a_day() -> None:
    """By the plan, and in proven time where the clock is put forward once more."""
    diary = begun()
    near = given(diary, coming(1, T0 + DAY))
    far = given(diary, coming(2, T0 + DAY + MOMENT))
    put_right(diary, T0)
    assert again_given(diary, near, DAY_MS)
    assert again_given(diary, far, DAY_MS - 1)
    assert not again_given(diary, far, DAY_MS)


def test_what_was_given_counts_by_its_charge_when_its_name_is_forgotten() -> None:
    """Names go by their day, and a clock far ahead makes all of them look old."""
    diary = begun()
    dose, other = (coming(number, T0 + 5 * DAY) for number in (1, 2))
    attempt = attempt_id(diary.state.ledger_id, dose.id)
    given_ms = diary.proven_ms
    for key, tag in ((f"pump/{dose.pump}", attempt), ("hand/other", "other")):
        charge(diary.state, key, (given_ms, 2000, tag), dose.local_day)
    given(diary, other)
    diary.state.used.clear()
    put_right(diary, T0)
    assert again_given(diary, dose, DAY_MS - 1)
    assert not again_given(diary, other, 0)
    diary.state.due_until = T0 + 6 * DAY
    diary.proven_ms += HOUR_MS
    put_right(diary, T0 + HOUR)
    third = as_named(diary.state, dose)
    assert was_given(diary.state, third, given_ms + DAY_MS - 1)
    assert not was_given(diary.state, third, given_ms + DAY_MS)


def test_a_second_word_on_a_clock_forgets_no_name() -> None:
    """Of what a clock ahead gave, days ahead, when nothing is ahead any more."""
    diary = begun()
    dose = given(diary, coming(1, T0 + 5 * DAY))
    diary.state.charges.clear()
    put_right(diary, T0)
    put_right(diary, T0 + HOUR)
    assert again_given(diary, dose, 0)


def test_what_will_be_a_day_ago_when_it_is_due_will_come() -> None:
    """A page names the next dose days ahead, when the day is not over yet."""
    diary = begun()
    near, far = (given(diary, coming(1, T0 + days * DAY)) for days in (1, 3))
    put_right(diary, T0)
    names = [as_named(diary.state, dose) for dose in (near, far)]
    now = diary.at, diary.proven_ms
    assert [True, False] == [will_be_left_out(diary.state, one, now) for one in names]
    passed = T0 + 3 * DAY + HOUR, diary.proven_ms
    assert will_be_left_out(diary.state, names[1], passed)


def test_what_was_only_missed_is_given_at_its_time() -> None:
    """Its water lacks it, whatever the wrong clock thought."""
    diary = begun()
    dose = coming(1, T0 + HOUR)
    diary.at = T0 + 3 * HOUR
    missed(diary, dose)
    put_right(diary, T0)
    assert not again_given(diary, dose, 0)


@pytest.mark.parametrize(
    "code",
    [
        Code.SKIPPED,
        Code.PLAN_SWAP,
        Code.OLD_DOSER,
        Code.LEDGER_RESTORED,
        Code.LEDGER_FORGETS,
    ],
)
def test_what_may_be_in_the_water_or_was_not_wanted_is_not_given(code: Code) -> None:
    """A person skipped it, another doser gave it, or nobody knows."""
    diary = begun()
    dose = coming(1, T0 + HOUR)
    diary.at = T0 + 3 * HOUR
    missed(diary, dose, code)
    put_right(diary, T0)
    assert again_given(diary, dose, 0)


def test_a_dose_given_the_second_time_is_not_given_a_third_time_at_once() -> None:
    """It had been missed the first time, and given as the second."""
    diary = begun()
    dose = coming(1, T0 + 3 * HOUR)
    diary.at = T0 + 4 * HOUR
    missed(diary, dose)
    put_right(diary, T0)
    second = given(diary, as_named(diary.state, dose))
    assert f"{dose.id}.2" == second.id
    put_right(diary, T0 + 2 * HOUR)
    third = as_named(diary.state, dose)
    assert f"{dose.id}.3" == third.id
    assert was_given(diary.state, third, diary.proven_ms)


def test_a_name_without_its_number_is_that_of_the_plan() -> None:
    """What has none stays as it is."""
    for name in ("reef/trace@2026-05-03#07", "reef/trace@2026-05-03#07.12"):
        assert "reef/trace@2026-05-03#07" == without_times(name)
    assert "0badcafe" == without_times("0badcafe")
