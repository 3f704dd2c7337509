"""What people write down, as far as decisions read it: charged, believed, bounded."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from slackwater.facts.charging import HOURS_KEPT
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.waters import (
    OWN_TESTS_ONLY,
    MeasurementKept,
    MeasurementStruck,
    TaskClosed,
)
from tests.facts.diary import HOUR, PEQ_PER_UL, TODAY, Diary, begun
from tests.facts.waters import added, changed, measured, task

KEY = "effect/reef/alkalinity"
LEVEL = "reef/alkalinity"
YESTERDAY = date(2026, 5, 2)
GIVEN = 2000 * PEQ_PER_UL


def charged(diary: Diary) -> int:
    """What counts against the cap on any 24 h now."""
    rolling = diary.state.charges.get(KEY)
    return 0 if rolling is None else rolling.since(diary.proven_ms - DAY_MS)


def struck(diary: Diary, name: str) -> MeasurementStruck:
    """Somebody takes a test out."""
    return MeasurementStruck(**diary.stamp, measurement=name, by="keeper", why="")


def believed(diary: Diary) -> int:
    """What is believed to have reached the water within 24 h."""
    rolling = diary.state.believed.get(LEVEL)
    return 0 if rolling is None else rolling.since(diary.proven_ms - DAY_MS)


def test_a_hand_addition_is_charged_and_believed_like_a_dose() -> None:
    """The rolling cap, the local day and the believed sum all know it."""
    diary = begun()
    diary.intend(1)
    diary.end(1, 2000)
    diary.write(added(diary))

    assert (2 * GIVEN, 2 * GIVEN) == (charged(diary), believed(diary))
    assert {TODAY: 2 * GIVEN} == diary.state.days[KEY]


@pytest.mark.parametrize(
    ("later", "left"),
    [(timedelta(hours=21, seconds=-1), GIVEN), (timedelta(hours=21), 0)],
)
def test_a_hand_addition_counts_for_a_day_from_when_it_was_given(
    later: timedelta, left: int
) -> None:
    """Told three hours afterwards, it comes free 21 hours later."""
    diary = begun()
    diary.write(added(diary, ago=3 * HOUR))
    diary.wait(later)

    assert left == charged(diary) == believed(diary)


def test_an_addition_told_late_does_not_disturb_what_was_charged_since() -> None:
    """Each entry leaves the window by its own time, whatever the order of telling."""
    diary = begun()
    diary.wait(2 * HOUR)
    diary.intend(1)
    diary.wait(HOUR)
    diary.write(added(diary, ul=1000, ago=2 * HOUR))
    sums = []
    for passed in (timedelta(), 22 * HOUR, HOUR):
        diary.wait(passed)
        sums.append(charged(diary))

    assert [3 * GIVEN // 2, GIVEN, 0] == sums


def test_what_was_given_more_than_a_day_ago_is_charged_nowhere() -> None:
    """No window reaches it any more; the hours of the tank still know it."""
    diary = begun()
    diary.write(added(diary, ago=25 * HOUR, day=YESTERDAY))

    assert (0, 0) == (charged(diary), believed(diary))
    assert KEY not in diary.state.days
    assert [GIVEN] == list(diary.state.hours["reef"].values())


def test_what_was_given_yesterday_counts_against_yesterday() -> None:
    """The local day's cap is that of the day on which it was poured in."""
    diary = begun()
    diary.write(added(diary, ago=20 * HOUR, day=YESTERDAY))

    assert {YESTERDAY: GIVEN} == diary.state.days[KEY]
    assert GIVEN == charged(diary)


def test_hours_stay_in_order_and_lose_nothing_when_told_late() -> None:
    """The hours after the one of the addition are not taken for a wrong clock."""
    diary = begun()
    diary.wait(5 * HOUR)
    diary.intend(1)
    diary.end(1, 2000)
    diary.write(added(diary, ul=1000, ago=3 * HOUR))
    hours = diary.state.hours["reef"]

    assert [GIVEN // 2, GIVEN] == list(hours.values())
    assert sorted(hours) == list(hours)


@pytest.mark.parametrize("ago", [timedelta(hours=HOURS_KEPT), -2 * HOUR])
def test_no_hour_is_kept_that_no_tank_remembers(ago: timedelta) -> None:
    """Six weeks back is forgotten; an hour ahead was a wrong clock."""
    diary = begun()
    diary.write(added(diary, ago=ago))

    assert {} == diary.state.hours


def test_an_addition_ahead_of_the_clock_is_charged_from_now() -> None:
    """A clock set back meanwhile must not let it run out late or never."""
    diary = begun()
    diary.write(added(diary, ago=-2 * HOUR))

    assert GIVEN == charged(diary)


def test_what_must_not_meet_it_waits_after_a_hand_addition() -> None:
    """Each solution counts by the latest time it was given, whatever came after."""
    diary = begun()
    diary.write(added(diary, ago=timedelta(minutes=5)))
    diary.write(added(diary, ago=HOUR))
    diary.write(added(diary, ago=timedelta(minutes=1), solution=""))
    flows = diary.state.flows

    assert ["hand/reef/", "hand/reef/carbonate"] == sorted(flows)
    assert ("reef", "carbonate", diary.proven_ms - 300_000) == (
        flows["hand/reef/carbonate"].tank,
        flows["hand/reef/carbonate"].solution,
        flows["hand/reef/carbonate"].end_ms,
    )


def test_hands_of_the_day_before_are_forgotten() -> None:
    """Pumps are not: their last run may be long ago."""
    diary = begun()
    diary.intend(1)
    diary.write(added(diary, solution="old"))
    diary.wait(25 * HOUR)
    diary.write(added(diary, solution="new", day=date(2026, 5, 4)))

    assert ["carbonate", "hand/reef/new"] == sorted(diary.state.flows)


def test_the_newest_test_is_the_level_whatever_the_order_of_writing() -> None:
    """A report of last week does not turn today's test back."""
    diary = begun()
    newest = measured(diary, 1, ago=HOUR)
    diary.write(newest, measured(diary, 2, 2.5, ago=48 * HOUR))

    assert {LEVEL: newest} == diary.state.levels


def posted_of(kept: MeasurementKept) -> MeasurementKept:
    """The same as a laboratory would say it."""
    return replace(kept, provenance="lab")


@pytest.mark.parametrize("parameter", sorted(OWN_TESTS_ONLY))
def test_a_posted_sample_takes_no_own_tests_place(parameter: str) -> None:
    """What changes in the post is judged by tests at the tank, however new it is."""
    diary = begun()
    own = replace(measured(diary, 1, ago=48 * HOUR), parameter=parameter)
    posted = posted_of(replace(measured(diary, 2), parameter=parameter))
    diary.write(own, posted)
    later = replace(measured(diary, 3, ago=HOUR), parameter=parameter)
    after = dict(diary.state.levels)
    diary.write(later)

    assert {f"reef/{parameter}": own} == after
    assert {f"reef/{parameter}": later} == diary.state.levels


def test_a_posted_sample_speaks_until_there_is_an_own_test() -> None:
    """An own test counts before it even when it was made earlier."""
    diary = begun()
    posted = posted_of(measured(diary, 1))
    diary.write(posted)
    alone = dict(diary.state.levels)
    own = measured(diary, 2, ago=48 * HOUR)
    diary.write(own)

    assert ({LEVEL: posted}, {LEVEL: own}) == (alone, diary.state.levels)


def test_a_laboratory_speaks_like_any_other_of_what_keeps_in_a_bottle() -> None:
    """Calcium does not change in the post: the newest counts."""
    diary = begun()
    own = replace(measured(diary, 1, ago=48 * HOUR), parameter="calcium")
    posted = posted_of(replace(measured(diary, 2), parameter="calcium"))
    diary.write(own, posted)

    assert {"reef/calcium": posted} == diary.state.levels


def test_the_level_before_stands_again_when_the_newest_is_struck() -> None:
    """A slip that was taken out leaves what was known before it; four are kept."""
    diary = begun()
    tests = [measured(diary, number, ago=(9 - number) * HOUR) for number in range(1, 6)]
    diary.write(*tests)
    seen = []
    for name in ("m-5", "m-4", "m-3", "m-2"):
        diary.write(struck(diary, name))
        seen.append(dict(diary.state.levels))

    assert [{LEVEL: tests[place]} for place in (3, 2, 1)] == seen[:3]
    assert {} == seen[3]


@pytest.mark.parametrize("gone", ["m-1", "m-2", "m-3"])
def test_a_level_struck_further_down_never_comes_back(gone: str) -> None:
    """Whichever of four it was: the other three follow each other, newest first."""
    diary = begun()
    tests = [measured(diary, number, ago=(9 - number) * HOUR) for number in range(1, 5)]
    diary.write(*tests, struck(diary, gone))
    left = [kept for kept in reversed(tests) if kept.id != gone]
    for kept in left:
        assert {LEVEL: kept} == diary.state.levels
        diary.write(struck(diary, kept.id))

    assert {} == diary.state.levels


def test_corrections_leave_older_levels_where_they_were() -> None:
    """Three tests, the newest two corrected: the first stands when both are struck."""
    diary = begun()
    first, second, third = (
        measured(diary, number, ago=(9 - number) * HOUR) for number in (1, 2, 3)
    )
    diary.write(first, second, third)
    for number in (2, 3):
        right = measured(
            diary, 10 + number, ago=(9 - number) * HOUR, supersedes=f"m-{number}"
        )
        diary.write(right)
    diary.write(struck(diary, "m-13"), struck(diary, "m-12"))

    assert {LEVEL: first} == diary.state.levels


def test_a_corrected_level_never_comes_back() -> None:
    """Neither the newest nor the one before it, when a later one is struck."""
    diary = begun()
    first, second = measured(diary, 1, ago=5 * HOUR), measured(diary, 2, ago=2 * HOUR)
    right = measured(diary, 3, 2.9, ago=5 * HOUR, supersedes="m-1")
    diary.write(first, second, right)
    kept = dict(diary.state.levels)
    diary.write(
        MeasurementStruck(**diary.stamp, measurement="m-2", by="keeper", why="")
    )

    assert ({LEVEL: second}, {LEVEL: right}) == (kept, diary.state.levels)


def test_a_correction_takes_the_place_of_what_it_corrects() -> None:
    """Even when it says that the test was made earlier."""
    diary = begun()
    right = measured(diary, 2, 2.7, ago=3 * HOUR, supersedes="m-1")
    diary.write(measured(diary, 1, 27.0, ago=HOUR), right)

    assert {LEVEL: right} == diary.state.levels


def test_a_struck_test_is_no_level() -> None:
    """Only the one that was named goes."""
    diary = begun()
    kept = replace(measured(diary, 2), parameter="calcium")
    diary.write(measured(diary, 1), kept)
    for name in ("m-1", "m-9"):
        diary.write(
            MeasurementStruck(**diary.stamp, measurement=name, by="keeper", why="")
        )

    assert {"reef/calcium": kept} == diary.state.levels


def test_only_changes_of_two_days_and_those_ahead_are_kept() -> None:
    """Memory does not grow with the years."""
    diary = begun()
    diary.write(changed(diary, 1), changed(diary, 2, diary.at + 100 * HOUR))
    diary.wait(48 * HOUR)
    old = diary.at - 49 * HOUR
    diary.write(changed(diary, 3), changed(diary, 4, old))

    assert ["w-2", "w-3"] == list(diary.state.changes)


def test_a_change_can_be_corrected_and_called_off() -> None:
    """The later entry counts; one without volume is no change."""
    diary = begun()
    diary.write(changed(diary, 1), changed(diary, 2, litres=20, supersedes="w-1"))
    corrected = list(diary.state.changes)
    diary.write(changed(diary, 3, litres=0, supersedes="w-2"))

    assert (["w-2"], {}) == (corrected, diary.state.changes)


def test_one_task_stands_for_each_remedy_and_parameter() -> None:
    """Asked for again it replaces the one before; closed it is gone."""
    diary = begun()
    again, other = task(diary, 2), task(diary, 3, "magnesium")
    diary.write(task(diary, 1), other, again)
    standing = dict(diary.state.tasks)
    for name in ("t-2", "t-2", "t-9"):
        diary.write(TaskClosed(**diary.stamp, task=name, how="done", by="keeper"))

    assert {"t-2": again, "t-3": other} == standing
    assert {"t-3": other} == diary.state.tasks


def test_five_years_of_keeping_leave_no_more_than_five_days_do() -> None:
    """The state after years has the size it had after the first week."""
    sizes = []
    diary = begun()
    for day in range(60):
        diary.write(
            added(diary, day=diary.at.date()),
            measured(diary, day),
            changed(diary, day),
            task(diary, day),
        )
        diary.wait(24 * HOUR)
        state = diary.state
        days, charges = state.days[KEY], state.charges[KEY].entries
        older = sum(map(len, state.levels_older.values()))
        kept = (len(state.levels), older, len(state.changes), len(state.tasks))
        sizes.append((*kept, len(days), len(charges)))

    assert datetime(2026, 7, 2, 12, 1, tzinfo=UTC) == diary.at
    assert sizes[5] == sizes[-1]
