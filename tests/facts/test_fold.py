"""Folding entries: stages, watching, approvals, holds, clocks and what is forgotten."""

from copy import deepcopy
from dataclasses import replace
from datetime import timedelta
from typing import get_args

import pytest

from slackwater.facts.alarms import (
    AlarmChanged,
    AlarmRaised,
    AlarmWord,
    Cause,
    alarm_id,
)
from slackwater.facts.events import (
    AnyEvent,
    ChargeRaised,
    Checkpoint,
    ClockConfirmed,
    DoseHanded,
    DoseRefusedByNode,
    DoseSealed,
    DoseTaken,
    FilesDiffer,
    PlanWithdrawn,
    PumpsDisabled,
    PumpsEnabled,
    ResumeBegan,
    ResumeEnded,
    Started,
    Stopped,
    WatchKept,
)
from slackwater.facts.fold import fold_all
from slackwater.facts.judgements import SeriesJudged
from slackwater.facts.reasons import Code
from slackwater.facts.relays import RelayChecked
from slackwater.facts.state import State
from tests.facts.diary import (
    BOOT,
    HOUR,
    T0,
    Diary,
    attempt,
    begun,
    calibrated,
    heard,
    held,
    reading,
    shot,
    span_missed,
    taken_back,
)
from tests.facts.safeguards import of_the_guards
from tests.facts.stages import of_stages
from tests.facts.waters import of_the_water
from tests.ledger.audit_samples import audited, inputs, restored

DAY = timedelta(days=1)
HOUR_MS = 3_600_000


def everything() -> Diary:
    """A life with every kind of entry there is."""
    diary = begun()
    diary.approve(1)
    diary.write(WatchKept(**diary.stamp, given=3), audited(diary.stamp))
    diary.write(inputs(diary.stamp), restored(diary.stamp))
    diary.approve(2)
    diary.write(PlanWithdrawn(**diary.stamp, serial=1, by="keeper"))
    diary.write(calibrated(diary), shot(diary, "shot-1"))
    diary.wait(HOUR)
    diary.write(PumpsEnabled(**diary.stamp, by="keeper", serial=2), held(diary))
    for number in range(1, 6):
        diary.intend(number, ul=2000 - number)
        diary.write(DoseHanded(**diary.stamp, attempt=attempt(number), certain=True))
        diary.wait(HOUR)
    diary.write(
        DoseTaken(**diary.stamp, attempt=attempt(1)),
        DoseRefusedByNode(**diary.stamp, attempt=attempt(3), word="late"),
        DoseSealed(**diary.stamp, attempt=attempt(2), reasons=()),
        ChargeRaised(
            **diary.stamp, attempt=attempt(2), pump="carbonate", charge_ul=2300
        ),
    )
    diary.end(1, 1500, "short")
    diary.void(3)
    diary.miss(6)
    diary.hold(Code.CLOCK_JUMPED)
    diary.write(
        heard(diary, "r1"), reading(diary), FilesDiffer(**diary.stamp, names=())
    )
    diary.release(Code.CLOCK_JUMPED)
    diary.write(
        SeriesJudged(
            **diary.stamp,
            tank="reef",
            source="probe/kh",
            verdict="probe-fault",
            taken_at=diary.at,
        ),
        ResumeBegan(**diary.stamp, tank="reef", planned=2, believed=0),
        ResumeEnded(**diary.stamp, tank="reef"),
        ClockConfirmed(**diary.stamp, boot_id=BOOT, by="keeper"),
        RelayChecked(
            **diary.stamp, node="plug", relay="0badcafe", until=T0, by="keeper"
        ),
        Checkpoint(**diary.stamp, state="{}"),
        *of_the_water(diary),
        *of_alarms(diary),
        *of_the_guards(diary),
        *of_stages(diary),
        span_missed(diary),
        shot(diary, "hand-1"),
        taken_back(diary.stamp, "hand-1"),
        PumpsDisabled(**diary.stamp, by="keeper"),
        Stopped(**diary.stamp, why="asked to"),
    )
    return diary


def of_alarms(diary: Diary) -> tuple[AnyEvent, ...]:
    """An alarm that began, was seen and ended."""
    name = alarm_id(Cause.NODE_ABSENT, "shelf")
    raised = AlarmRaised(
        **diary.stamp,
        alarm=name,
        cause=Cause.NODE_ABSENT,
        about="shelf",
        priority="soon",
    )
    words: tuple[AlarmWord, ...] = ("acknowledged", "returned")
    return (
        raised,
        *(AlarmChanged(**diary.stamp, alarm=name, to=word) for word in words),
    )


def test_the_same_entries_give_the_same_state() -> None:
    """Folded at once, or from any point on from what was folded until then."""
    diary = everything()
    assert set(get_args(AnyEvent)) == {type(event) for event in diary.events}
    assert diary.state == fold_all(State(), diary.events)
    for cut in range(len(diary.events)):
        begun_with = deepcopy(fold_all(State(), diary.events[:cut]))
        assert diary.state == fold_all(begun_with, diary.events[cut:])


def test_the_first_entry_sets_the_marks() -> None:
    """The clocks, the ledger's name, the highest fence heard, where to look from."""
    diary = Diary(proven_ms=9)
    diary.make()
    state = diary.state
    assert state.mark is not None
    assert (T0, 1000.0, BOOT, 9) == (
        state.mark.utc,
        state.mark.boot_s,
        state.mark.boot_id,
        state.mark.proven_ms,
    )
    assert ("one", 6, T0, T0, T0) == (
        state.ledger_id,
        state.fence,
        state.decided_at,
        state.newest_at,
        state.stage_since,
    )


def test_h38_the_newest_time_does_not_go_back() -> None:
    """An entry of a clock that was put back is no newer."""
    diary = begun()
    newest = diary.at
    diary.write(reading(diary))
    diary.at -= HOUR
    diary.write(reading(diary))
    assert diary.state.mark is not None
    assert (newest, newest) == (diary.state.newest_at, diary.state.mark.utc)


@pytest.mark.parametrize(("fence", "expected"), [(9, 9), (3, 7)])
def test_the_fence_never_falls(fence: int, expected: int) -> None:
    """A start with a lower number changes nothing."""
    diary = begun()
    diary.start(fence, boot="two")
    assert diary.state.mark is not None
    assert (expected, "two") == (diary.state.fence, diary.state.mark.boot_id)


def test_a_start_without_an_end_before_it_is_unclean() -> None:
    """A clean end leaves none; ten are remembered."""
    diary = begun()
    diary.write(Stopped(**diary.stamp, why="asked to"))
    diary.start()
    assert [] == diary.state.unclean_starts
    for _ in range(12):
        diary.wait(HOUR)
        diary.start()
    starts = diary.state.unclean_starts
    assert (10, diary.at - 9 * HOUR, diary.at) == (len(starts), starts[0], starts[-1])


def test_a_calibration_session_is_not_watched_time() -> None:
    """Its end neither counts as shadow nor says that the plan was looked at."""
    diary = begun()
    diary.approve(1)
    diary.write(Stopped(**diary.stamp, why="asked to"))
    decided_at = diary.state.decided_at
    diary.wait(5 * HOUR)
    diary.write(
        Started(**diary.stamp, version="0", boot_id=BOOT, fence=8, mode="calibrate")
    )
    diary.wait(HOUR)
    diary.write(Stopped(**diary.stamp, why="calibration ended"))
    assert (0, decided_at) == (diary.state.shadow_ms, diary.state.decided_at)


def test_a_calibration_session_hides_no_unclean_end() -> None:
    """A daemon that crashed before it still counts as one when it starts again."""
    diary = begun()
    diary.write(
        Started(**diary.stamp, version="0", boot_id=BOOT, fence=8, mode="calibrate"),
        Stopped(**diary.stamp, why="calibration ended"),
    )
    diary.start(9)
    assert [diary.at] == diary.state.unclean_starts


def test_shadow_time_counts_only_while_watched() -> None:
    """From an approval on, up to what was written down, not over a crash."""
    diary = begun()
    diary.wait(5 * HOUR)
    diary.approve(1)
    diary.wait(HOUR)
    diary.write(WatchKept(**diary.stamp))
    diary.wait(3 * HOUR)
    diary.start()
    diary.wait(2 * HOUR)
    diary.write(Stopped(**diary.stamp, why="asked to"))
    diary.wait(7 * HOUR)
    diary.start()
    assert 3 * HOUR_MS == diary.state.shadow_ms
    assert diary.at - 7 * HOUR == diary.state.decided_at


def test_a_second_approval_does_not_restart_the_watch() -> None:
    """The hours before it were watched too."""
    diary = begun()
    diary.approve(1)
    diary.wait(HOUR)
    diary.approve(2)
    diary.wait(HOUR)
    diary.write(WatchKept(**diary.stamp))
    assert 2 * HOUR_MS == diary.state.shadow_ms


def test_watching_without_a_plan_or_live_is_no_shadow_time() -> None:
    """There is nothing to compare with, or nothing left to prove."""
    diary = begun()
    diary.wait(HOUR)
    diary.write(WatchKept(**diary.stamp))
    diary.approve(1)
    diary.write(PumpsEnabled(**diary.stamp, by="keeper", serial=1))
    diary.wait(HOUR)
    diary.write(WatchKept(**diary.stamp))
    assert (0, diary.proven_ms) == (diary.state.shadow_ms, diary.state.watch_ms)


def test_disabling_starts_the_shadow_anew() -> None:
    """All proven hours are gone; what was watched before does not count."""
    diary = begun()
    diary.approve(1)
    diary.wait(HOUR)
    diary.write(WatchKept(**diary.stamp))
    diary.write(PumpsEnabled(**diary.stamp, by="keeper", serial=1))
    diary.wait(HOUR)
    diary.write(PumpsDisabled(**diary.stamp, by="keeper"))
    state = diary.state
    assert ("shadow", 0, diary.at) == (state.stage, state.shadow_ms, state.stage_since)
    assert diary.proven_ms == state.watch_ms


def test_enabling_twice_keeps_the_first_time() -> None:
    """What the tank was given since is not forgotten."""
    diary = begun()
    diary.write(PumpsEnabled(**diary.stamp, by="keeper", serial=1))
    enabled_at = diary.at
    diary.wait(HOUR)
    diary.write(PumpsEnabled(**diary.stamp, by="keeper", serial=1))
    assert ("live", enabled_at) == (diary.state.stage, diary.state.stage_since)


def test_four_approvals_are_kept_and_withdrawn_by_serial() -> None:
    """The last serial stays known, so that none is ever used twice."""
    diary = begun()
    for serial in range(1, 6):
        diary.approve(serial, ahead=serial * HOUR)
    diary.write(PlanWithdrawn(**diary.stamp, serial=5, by="keeper"))
    known = [entry.approval.serial for entry in diary.state.approvals]
    assert ([2, 3, 4], 5) == (known, diary.state.last_serial)


def test_a_hold_stands_until_it_is_released() -> None:
    """Releasing it twice, or one that never was, changes nothing."""
    diary = begun()
    diary.hold(Code.MANUAL_HOLD)
    assert [Code.MANUAL_HOLD] == list(diary.state.holds)
    diary.release(Code.MANUAL_HOLD)
    diary.release(Code.MANUAL_HOLD)
    assert {} == diary.state.holds


@pytest.mark.parametrize(
    ("code", "expected"), [(Code.CLOCK_JUMPED, True), (Code.MANUAL_HOLD, False)]
)
def test_clock_and_ledger_holds_are_unquiet(code: Code, *, expected: bool) -> None:
    """From their first to their last moment."""
    diary = begun()
    diary.hold(code)
    raised_ms = diary.proven_ms if expected else None
    assert raised_ms == diary.state.unquiet_ms
    diary.wait(HOUR)
    diary.release(code)
    released_ms = diary.proven_ms if expected else None
    assert released_ms == diary.state.unquiet_ms


def test_the_newest_wish_for_a_dose_by_hand_is_known_by_its_pump() -> None:
    """Priming and giving by hand; a shot of a calibration is another thing."""
    diary = begun()
    calibrating = shot(diary, "s-1")
    priming = replace(calibrating, request="s-2", purpose="prime")
    by_hand = replace(calibrating, request="s-3", purpose="manual")
    diary.write(calibrating)
    assert {} == diary.state.by_hand
    diary.write(priming, by_hand, replace(calibrating, request="s-4"))
    assert {"carbonate": by_hand} == diary.state.by_hand
    assert ["s-1", "s-2", "s-3", "s-4"] == list(diary.state.requests)


def test_releasing_a_short_pump_counts_anew() -> None:
    """A person looked at it; other pumps keep their count."""
    diary = begun()
    diary.state.short_streak.update({"carbonate": 3, "calcium": 2})
    diary.hold(Code.SHORT_DELIVERED, "pump/carbonate")
    diary.release(Code.SHORT_DELIVERED)
    assert {"calcium": 2} == diary.state.short_streak


def test_releasing_a_start_storm_forgets_the_starts() -> None:
    """They must not latch again at once."""
    diary = begun()
    diary.start()
    diary.hold(Code.START_STORM)
    diary.release(Code.START_STORM)
    assert [] == diary.state.unclean_starts


def test_h39_a_confirmed_clock_is_the_newest_time() -> None:
    """Entries of a clock that ran ahead no longer hold; doses are looked at again."""
    diary = begun()
    diary.at += 400 * DAY
    diary.write(held(diary))
    diary.at = T0 + HOUR
    diary.write(ClockConfirmed(**diary.stamp, boot_id="two", by="keeper"))
    state = diary.state
    assert state.mark is not None
    assert (diary.at, diary.at) == (state.newest_at, state.decided_at)
    assert diary.at == state.mark.utc
    assert ("two", "two") == (state.clock_confirmed_boot, state.mark.boot_id)


@pytest.mark.parametrize("decided", [True, False])
def test_a_confirmed_clock_moves_no_look_forward(*, decided: bool) -> None:
    """What was not looked at yet stays to be looked at."""
    diary = begun()
    if not decided:
        diary.state.decided_at = None
    before = diary.state.decided_at
    diary.wait(HOUR)
    diary.write(ClockConfirmed(**diary.stamp, boot_id=BOOT, by="keeper"))
    assert before == diary.state.decided_at


def test_a_restored_ledger_charges_the_answer_and_forgets_what_was_asked() -> None:
    """As a new ledger does; a request from before may have been carried out since."""
    diary = begun()
    diary.write(shot(diary, "shot-1"))
    diary.write(restored(diary.stamp))
    assert 1200 == diary.state.charges["pump/left"].since(0)
    assert 2_264_400 == diary.state.charges["effect/reef/alkalinity"].since(0)
    assert {} == diary.state.requests
    assert diary.state.unanswered_ms is None
    diary.write(replace(restored(diary.stamp), answered=False))
    assert diary.stamp["proven_ms"] == diary.state.unanswered_ms
