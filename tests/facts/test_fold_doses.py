"""Folding entries: doses, readings, requests, and what is forgotten."""

from copy import deepcopy
from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.dues import planned_since
from slackwater.facts.events import (
    Checkpoint,
    DoseHanded,
    DoseMissed,
    DoseRefusedByNode,
    DoseTaken,
    FilesDiffer,
    ResumeBegan,
    ResumeEnded,
)
from slackwater.facts.rolling import DAY_MS, HOUR_MS
from tests.facts.diary import (
    FIRST,
    HOUR,
    PEQ_PER_UL,
    TODAY,
    attempt,
    begun,
    calibrated,
    due,
    heard,
    held,
    reading,
    shot,
    span_missed,
    taken_back,
)

DAY = timedelta(days=1)


def test_the_newest_calibration_is_in_force() -> None:
    """One per pump."""
    diary = begun()
    diary.write(calibrated(diary))
    diary.wait(HOUR)
    entry = calibrated(diary)
    diary.write(entry)
    assert {"carbonate": entry} == diary.state.calibrations


def test_a_dose_waits_until_it_is_used() -> None:
    """Held, skipped or asked for, it is none of these once it is decided."""
    diary = begun()
    diary.wait(HOUR)
    diary.write(held(diary), heard(diary, "r1"), shot(diary, FIRST))
    waiting = (diary.state.held, diary.state.skipped, diary.state.requests)
    assert [[FIRST]] * 3 == [list(known) for known in waiting]
    assert diary.at == diary.state.decided_at
    diary.intend(1)
    waiting = (diary.state.held, diary.state.skipped, diary.state.requests)
    assert ({}, {}, {}) == waiting
    assert {FIRST: TODAY} == diary.state.used


def test_a_request_taken_back_is_used_and_nothing_is_owed() -> None:
    """It waits no more, for whatever reason it did; no dose was looked at for it."""
    diary = begun()
    diary.write(shot(diary, FIRST))
    asked_on = diary.at.date()
    diary.wait(DAY)
    decided_at = diary.state.decided_at
    diary.write(held(diary))
    diary.state.decided_at = decided_at
    diary.write(taken_back(diary.stamp, FIRST))
    state = diary.state
    assert ({}, {}, {FIRST: asked_on}) == (state.requests, state.held, state.used)
    assert ({}, {}, {}) == (state.planned, state.wanting, state.charges)
    assert decided_at == state.decided_at


def test_what_was_taken_back_is_no_wish_that_another_one_repeats() -> None:
    """Asked for again at once it is meant; one asked for meanwhile still counts."""
    diary = begun()
    diary.write(shot(diary, "hand-1"))
    diary.state.by_hand["carbonate"] = diary.state.requests["hand-1"]
    diary.write(taken_back(diary.stamp, "hand-1"))
    assert {} == diary.state.by_hand
    diary.write(shot(diary, "hand-2"))
    newer = diary.state.by_hand["carbonate"] = diary.state.requests["hand-2"]
    diary.write(shot(diary, "hand-3"), taken_back(diary.stamp, "hand-3"))
    assert {"carbonate": newer} == diary.state.by_hand


def test_what_does_not_wait_is_not_taken_back() -> None:
    """An entry about what was given, or never asked for, changes nothing."""
    diary = begun()
    diary.write(shot(diary, FIRST))
    diary.intend(1)
    before = deepcopy(diary.state)
    diary.write(taken_back(diary.stamp, FIRST), taken_back(diary.stamp, "hand-9"))
    assert (before.used, before.charges) == (diary.state.used, diary.state.charges)
    assert before.open.keys() == diary.state.open.keys()


def test_a_missed_dose_is_used_planned_and_wanting() -> None:
    """It is not made up, and the water lacks it."""
    diary = begun()
    diary.wait(HOUR)
    diary.write(shot(diary, due(1).id))
    diary.miss(1)
    state = diary.state
    assert ({FIRST: TODAY}, {}) == (state.used, state.requests)
    assert {"reef": diary.proven_ms} == state.wanting
    assert 2000 * PEQ_PER_UL == state.planned["reef/alkalinity"].total
    assert ({}, diary.at) == (state.charges, state.decided_at)


def test_what_was_missed_counts_when_it_was_due() -> None:
    """Written down after a gap of 30 h: of a day's plan it is none, as written it is.

    The gate goes by what was written, so that a gap weighs no less for it.
    """
    diary = begun()
    diary.wait(30 * HOUR)
    dose = replace(due(1), due_at=diary.at - 25 * HOUR)
    key, amount = "reef/alkalinity", 2000 * PEQ_PER_UL
    late = DoseMissed(
        **diary.stamp, dose=dose, reasons=(), effects={"alkalinity": amount}
    )
    diary.write(late)
    state, day_ms = diary.state, diary.proven_ms - DAY_MS
    assert 0 == planned_since(state, key, day_ms)
    assert amount == planned_since(state, key, day_ms - 2 * HOUR_MS)
    assert amount == state.planned[key].since(day_ms)
    assert 0 == planned_since(state, "reef/none", day_ms)
    diary.wait(26 * HOUR)
    diary.miss(2)
    assert 1 == len(state.missed[key])


def test_a_missed_span_moves_on_what_was_looked_at() -> None:
    """Nothing before it is looked at again."""
    diary = begun()
    diary.wait(HOUR)
    diary.write(span_missed(diary))
    assert diary.at == diary.state.decided_at


def test_used_doses_are_kept_for_three_days() -> None:
    """Looked at with each 512th; no latest start is further away."""
    diary = begun()
    for number in range(512):
        diary.day = TODAY + (number // 100) * DAY
        diary.miss(number)
    days = set(diary.state.used.values())
    assert {TODAY + number * DAY for number in range(2, 6)} == days


def test_words_of_a_node_stay_with_their_open_dose() -> None:
    """Taken or refused; handing over says nothing, nor does a word about another."""
    diary = begun()
    diary.intend(1)
    before = deepcopy(diary.state)
    diary.write(
        DoseHanded(**diary.stamp, attempt=attempt(1), certain=False),
        DoseTaken(**diary.stamp, attempt=attempt(9)),
        DoseRefusedByNode(**diary.stamp, attempt=attempt(9), word="busy"),
    )
    assert before == diary.state
    diary.write(
        DoseRefusedByNode(**diary.stamp, attempt=attempt(1), word="late"),
        DoseTaken(**diary.stamp, attempt=attempt(1)),
    )
    known = diary.state.open[attempt(1)]
    assert ("late", True) == (known.refused_word, known.taken)


def test_kept_readings_of_26_hours_are_remembered() -> None:
    """And the newest, however old it is."""
    diary = begun()
    for _ in range(4):
        diary.write(reading(diary))
        diary.wait(13 * HOUR)
    assert 3 == len(diary.state.readings["kh"])
    diary.wait(7 * DAY)
    diary.write(reading(diary, 3.1))
    assert [3.1] == [entry.value for entry in diary.state.readings["kh"]]


@pytest.mark.parametrize(
    ("act", "granted", "skipped"),
    [("skip", True, {FIRST: "r1"}), ("skip", False, {}), ("hold", True, {})],
)
def test_a_granted_skip_names_its_dose(
    act: str, *, granted: bool, skipped: dict[str, str]
) -> None:
    """Every request is remembered as heard."""
    diary = begun()
    diary.write(heard(diary, "r1", act, granted=granted))
    state = diary.state
    assert (skipped, {"reef/r1": diary.at}) == (state.skipped, state.heard_requests)


def test_requests_are_remembered_for_two_days() -> None:
    """Long enough for any copy of them to arrive."""
    diary = begun()
    diary.write(heard(diary, "r1"))
    diary.wait(2 * DAY)
    diary.write(heard(diary, "r2"))
    assert ["reef/r1", "reef/r2"] == list(diary.state.heard_requests)
    diary.wait(timedelta(seconds=1))
    diary.write(heard(diary, "r3"))
    assert ["reef/r2", "reef/r3"] == list(diary.state.heard_requests)


def test_coming_back_has_a_beginning_and_an_end() -> None:
    """By proven time; an end without a beginning changes nothing."""
    diary = begun()
    diary.write(ResumeBegan(**diary.stamp, tank="reef", planned=2, believed=0))
    assert {"reef": diary.proven_ms} == diary.state.resuming
    for _ in range(2):
        diary.write(ResumeEnded(**diary.stamp, tank="reef"))
    assert {} == diary.state.resuming


def test_entries_for_people_change_nothing() -> None:
    """Differing files and checkpoints are no part of any decision."""
    diary = begun()
    diary.write(reading(diary))
    before = deepcopy(diary.state)
    diary.write(
        FilesDiffer(**diary.stamp, names=("plan.toml",)),
        Checkpoint(**diary.stamp, state="{}"),
    )
    assert before == diary.state
