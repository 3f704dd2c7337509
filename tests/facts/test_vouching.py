"""H38: a clock that was ahead and is put right leaves nothing that hides, or holds."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from slackwater.facts.events import (
    ClockConfirmed,
    HoldRaised,
    PumpsEnabled,
    ShotRequested,
)
from slackwater.facts.exchanges import Account
from slackwater.facts.messages import Reading
from slackwater.facts.now import Mark
from slackwater.facts.reasons import Code, because
from slackwater.facts.sight import Sight, recall, remember, see
from slackwater.facts.stages import LineTakenOver
from slackwater.facts.vouching import look_back
from slackwater.facts.waters import MeasurementKept
from tests.facts.diary import BOOT, HOUR, T0, Diary, begun, reading
from tests.facts.safeguards import summed
from tests.facts.stages import halved
from tests.facts.waters import measured

DAY = timedelta(days=1)
AHEAD = 40 * DAY


def put_right(diary: Diary) -> None:
    """A person says that it is only an hour later than it was when all began."""
    diary.at = T0 + HOUR
    diary.write(ClockConfirmed(**diary.stamp, boot_id=BOOT, by="keeper"))


def read_on(diary: Diary, hours: int) -> None:
    """A reading each half hour."""
    for _ in range(2 * hours):
        diary.wait(HOUR / 2)
        diary.write(reading(diary))


def seen(diary: Diary) -> Sight:
    """The view of a daemon that starts now."""
    sight = Sight(started_boot_s=diary.boot_s)
    recall(sight, diary.state.courses)
    for series in diary.state.readings.values():
        remember(sight, series)
    return sight


def newest(sight: Sight) -> datetime:
    """When the newest reading in view was taken."""
    return sight.readings["kh"][-1].at


def test_a_probe_is_heard_again_at_once() -> None:
    """Its readings of forty days ahead hide none of today's; the ledger keeps those."""
    diary = begun()
    diary.wait(AHEAD)
    read_on(diary, 3)
    put_right(diary)
    assert ({}, {}) == (diary.state.readings, diary.state.courses)
    read_on(diary, 2)
    assert diary.at == newest(seen(diary))
    assert 4 == len(diary.state.readings["kh"])
    assert diary.at.timestamp() == diary.state.courses["kh"].newest_s


def test_readings_from_before_stay() -> None:
    """Only what lies ahead is gone; another probe's course goes on."""
    diary = begun()
    diary.write(reading(diary), replace(reading(diary), probe="second"))
    diary.wait(HOUR / 4)
    diary.write(reading(diary, 3.1))
    kept = [one.value for one in diary.state.readings["kh"]]
    diary.wait(2 * HOUR)
    diary.write(reading(diary))
    put_right(diary)
    assert kept == [one.value for one in diary.state.readings["kh"]]
    assert ["second"] == list(diary.state.courses)


def test_a_probe_whose_own_clock_is_a_little_ahead_loses_nothing() -> None:
    """A minute is what the wire lets pass: a word on a right clock takes no reading."""
    diary = begun()
    for ahead_s, kept in ((60, 1), (61, 0)):
        taken = T0 + HOUR + timedelta(seconds=ahead_s)
        diary.write(replace(reading(diary), taken_at=taken))
        sight = seen(diary)
        put_right(diary)
        look_back(sight, diary.at)
        assert kept == len(diary.state.readings) == len(sight.readings)
        assert kept == len(diary.state.courses) == len(sight.courses)
        diary.state.readings.clear()
        diary.state.courses.clear()


def test_the_view_of_a_living_daemon_looks_back_as_well() -> None:
    """Readings, courses and how far doses were looked at."""
    sight = Sight(started_boot_s=0.0)
    third = ("third", T0 + AHEAD)
    for probe, at in (("kh", T0), ("kh", T0 + 20 * HOUR), ("second", T0), third):
        see(
            sight,
            Reading(tank="reef", probe=probe, parameter="alkalinity", value=3.0, at=at),
        )
    looked(sight, T0 + AHEAD)
    assert ["kh", "second", "third"] == list(sight.readings)
    look_back(sight, T0 + HOUR)
    assert looked(sight) is None
    assert newest(sight) == T0
    assert ["second"] == list(sight.courses)
    assert ["kh", "second"] == sorted(sight.readings)
    looked(sight, T0)
    look_back(sight, T0 + HOUR)
    assert looked(sight) == T0


def looked(sight: Sight, until: datetime | None = None) -> datetime | None:
    """How far doses were looked at, by now or from now on."""
    if until is not None:
        sight.scanned_until = until
    return sight.scanned_until


@pytest.mark.parametrize("minutes", [None, 30])
def test_a_hold_lasts_no_longer_than_it_was_meant_to(minutes: int | None) -> None:
    """It began at the latest now; its end, where it has one, is as far away as then."""
    diary = begun()
    early = hold_of(diary, "early", minutes)
    diary.wait(AHEAD)
    late = hold_of(diary, "late", minutes)
    diary.write(early, late)
    put_right(diary)
    assert early == diary.state.holds["early"]
    until = None if minutes is None else T0 + HOUR + timedelta(minutes=minutes)
    assert replace(late, at=T0 + HOUR, until=until) == diary.state.holds["late"]


def hold_of(diary: Diary, name: str, minutes: int | None) -> HoldRaised:
    """A pause that begins now."""
    return HoldRaised(
        **diary.stamp,
        hold_id=name,
        scope="tank/reef",
        reason=because(Code.PAUSE),
        latched=False,
        until=None if minutes is None else diary.at + timedelta(minutes=minutes),
    )


def test_what_began_ahead_begins_now() -> None:
    """Pumps that were enabled, a line that was taken over, what was decided."""
    diary = begun()
    diary.wait(AHEAD)
    diary.write(
        PumpsEnabled(**diary.stamp, by="keeper", serial=1),
        LineTakenOver(**diary.stamp, line="reef/carbonate", by="keeper"),
        summed(diary.stamp, days_on=39),
        summed(diary.stamp, days_on=-50),
    )
    diary.intend(1)
    ahead = diary.state.fed_since = diary.at
    put_right(diary)
    state, now = diary.state, T0 + HOUR
    assert (now, now, now) == (state.stage_since, state.decided_at, state.newest_at)
    assert now == state.fed_since
    assert state.mark == Mark(
        utc=now,
        boot_s=diary.boot_s,
        boot_id=BOOT,
        proven_ms=diary.proven_ms,
        taken_back=ahead,
    )
    assert now == state.taken_over["reef/carbonate"].at
    assert [-50] == [(day - T0.date()).days for day in state.top_offs["refill"]]


def test_the_next_test_is_the_newest() -> None:
    """Tests that were dated forty days ahead are as old as the word on the clock."""
    diary = begun()
    diary.write(measured(diary, 0))
    diary.wait(AHEAD)
    for number in (1, 2):
        diary.write(measured(diary, number))
    put_right(diary)
    for tests in (diary.state.tests["reef"], told_levels(diary)):
        assert ["m-0", "m-1", "m-2"] == sorted(one.id for one in tests)
        assert T0 + HOUR == max(one.taken_at for one in tests)
        assert T0 + HOUR > min(one.taken_at for one in tests)
    diary.wait(HOUR)
    diary.write(measured(diary, 3, ago=HOUR / 2))
    assert "m-3" == told_levels(diary)[0].id == diary.state.tests["reef"][-1].id


def told_levels(diary: Diary) -> list[MeasurementKept]:
    """The levels that are kept, the newest first."""
    state, key = diary.state, "reef/alkalinity"
    older = state.levels_older.get(key, [])
    return [state.levels[key], state.levels_before[key], *older]


def test_an_entry_of_an_older_version_frees_the_names_of_days_ahead() -> None:
    """Where the ledger has them as given they are missed then, and told as such."""
    diary = begun()
    for number, ahead in enumerate((0, 1, 2, 40)):
        diary.day = T0.date() + ahead * DAY
        diary.miss(number)
    # As the checkpoints of that version say.
    diary.state.due_until = None
    put_right(diary)
    left = [(day - T0.date()).days for day in diary.state.used.values()]
    assert [0, 1] == left


def test_days_ahead_use_up_no_cap_of_theirs() -> None:
    """The last 24 hours count still, on whatever day they were written."""
    diary = begun()
    diary.intend(1)
    diary.wait(AHEAD)
    diary.day += AHEAD
    diary.intend(2)
    put_right(diary)
    assert {T0.date(): 2000} == diary.state.days["pump/carbonate"]
    assert 2000 == diary.state.charges["pump/carbonate"].since(diary.proven_ms - 1)


def test_what_a_person_asked_for_ahead_is_over() -> None:
    """It would wait until that clock is right; one of before waits as it did."""
    diary = begun()
    asked = ShotRequested(
        **diary.stamp,
        request="now",
        pump="carbonate",
        volume_ul=1000,
        until=T0 + 2 * HOUR,
        by="keeper",
        purpose="manual",
    )
    diary.write(asked)
    diary.wait(AHEAD)
    late = replace(asked, **diary.stamp, request="ahead", until=diary.at + HOUR)
    diary.write(late)
    put_right(diary)
    waiting = diary.state.requests
    assert {"now": T0 + 2 * HOUR, "ahead": T0 + HOUR} == {
        name: one.until for name, one in waiting.items()
    }


def test_an_exchange_waits_for_no_day_ahead() -> None:
    """What was drained there is asked after now, and levels of now prove it."""
    diary = begun()
    ahead = T0 + AHEAD
    diary.state.exchanges["water"] = Account(
        phase="owed", latest_at=ahead, unbooked_at=ahead, opened_at=ahead
    )
    diary.state.exchanges["older"] = Account(latest_at=T0, opened_at=T0)
    put_right(diary)
    known = diary.state.exchanges
    right = T0 + HOUR
    water, older = known["water"], known["older"]
    assert {right} == {water.latest_at, water.unbooked_at, water.opened_at}
    assert (T0, None, T0) == (older.latest_at, older.unbooked_at, older.opened_at)


def test_the_day_of_today_counts_after_days_ahead() -> None:
    """Three days of a wrong clock do not push out what today's cap counts."""
    diary = begun()
    diary.wait(AHEAD)
    for number in range(4):
        diary.day += DAY
        diary.intend(number)
    put_right(diary)
    diary.day = T0.date()
    for number in (10, 11):
        diary.intend(number)
    assert 4000 == diary.state.days["pump/carbonate"][diary.day]


@pytest.mark.parametrize(
    ("scope", "begins_in", "left_s"),
    [("all", HOUR, 23 * 3600), ("pump/calcium", AHEAD + HOUR, 24 * 3600)],
)
def test_half_doses_of_a_wrong_clock_are_not_passed_over(
    scope: str, begins_in: timedelta, left_s: int
) -> None:
    """Pumps were enabled an hour ago; a pump gives more when its plan takes over."""
    diary = begun()
    diary.at = T0 + AHEAD + HOUR
    diary.write(halved(diary.stamp, scope))
    diary.wait(HOUR)
    put_right(diary)
    half, begins = diary.state.halves[scope], T0 + begins_in
    assert begins == half.from_at
    passed_ms = (begins - diary.at) // timedelta(milliseconds=1)
    assert left_s == half.left_s(begins, diary.proven_ms + passed_ms)


def test_half_doses_of_a_right_clock_stay_as_they_are() -> None:
    """A plan that takes over tomorrow begins with its half then."""
    diary = begun()
    half = replace(halved(diary.stamp, "pump/calcium"), from_at=T0 + DAY)
    diary.write(half)
    diary.wait(2 * HOUR)
    put_right(diary)
    assert {half.scope: half} == diary.state.halves
