"""The accounts: charged from the intent on, given back by a void, raised by reports."""

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.facts.charging import HOURS_KEPT, hour_of, is_short
from slackwater.facts.events import (
    ChargeRaised,
    DoseEnded,
    DoseSealed,
    DoseVoided,
    EndedHow,
)
from slackwater.facts.reasons import Code, because
from slackwater.facts.rolling import DAY_MS
from tests.facts.diary import PEQ_PER_UL, PG_PER_UL, TODAY, Diary, attempt, begun

HOUR = timedelta(hours=1)
DAY = timedelta(days=1)
PUMP = "pump/carbonate"
EFFECT = "effect/reef/alkalinity"
SHOTS = "calibrate/carbonate"


def charged(diary: Diary, key: str = PUMP) -> int:
    """What one account holds over the last 24 proven hours."""
    return diary.state.charges[key].since(diary.proven_ms - DAY_MS)


def raise_to(diary: Diary, number: int, charge_ul: int) -> None:
    """A late report that shows more."""
    diary.write(
        ChargeRaised(
            **diary.stamp,
            attempt=attempt(number),
            pump="carbonate",
            charge_ul=charge_ul,
        )
    )


def seal(diary: Diary, number: int) -> None:
    """Nobody can tell any more."""
    reasons = (because(Code.NODE_SILENT),)
    diary.write(DoseSealed(**diary.stamp, attempt=attempt(number), reasons=reasons))


def test_an_intent_is_charged_in_full_at_once() -> None:
    """Volume and every effect, over 24 hours and in the local day; it is open."""
    diary = begun()
    diary.intend(1, ul=1500)
    state = diary.state
    assert (1500, 1500 * PEQ_PER_UL) == (charged(diary), charged(diary, EFFECT))
    assert {TODAY: 1500 * PG_PER_UL} == state.days["effect/reef/calcium"]
    assert ([attempt(1)], 1500) == (list(state.open), state.drawn_ul["carbonate"])


def test_what_was_dosed_before_the_ledger_is_charged() -> None:
    """The answer given at the beginning counts against pump and effect."""
    diary = Diary()
    diary.make(dosed_ul=30_000)
    assert (30_000, 30_000 * PEQ_PER_UL) == (charged(diary), charged(diary, EFFECT))
    assert diary.state.unanswered_ms is None


def test_an_unanswered_beginning_is_remembered_with_its_time() -> None:
    """From then on the daily caps are used up for 24 proven hours."""
    diary = Diary(proven_ms=77)
    diary.make(answered=False)
    assert (77, {}) == (diary.state.unanswered_ms, diary.state.charges)


def test_a_charge_is_gone_after_24_proven_hours_and_not_before() -> None:
    """The wall clock has no say in it."""
    diary = begun()
    diary.intend(1)
    diary.wait(DAY - timedelta(milliseconds=1))
    assert 2000 == charged(diary)
    diary.wait(timedelta(milliseconds=1))
    assert 0 == charged(diary)


def test_h19_a_short_report_lowers_no_charge() -> None:
    """Believed follows the report, charged stays as asked."""
    diary = begun()
    diary.intend(1)
    diary.end(1, 1000, "short")
    state = diary.state
    assert (2000, 2000 * PEQ_PER_UL) == (charged(diary), charged(diary, EFFECT))
    assert 1000 * PEQ_PER_UL == state.believed["reef/alkalinity"].total
    assert (1000, diary.proven_ms) == (
        state.drawn_ul["carbonate"],
        state.wanting["reef"],
    )


def test_a_full_dose_leaves_nothing_wanting() -> None:
    """Believed as asked: no shortfall needs to be looked at."""
    diary = begun()
    diary.intend(1)
    diary.end(1, 2000)
    assert {} == diary.state.wanting
    assert 2000 * PG_PER_UL == diary.state.believed["reef/calcium"].total


def test_a_shortened_dose_leaves_something_wanting() -> None:
    """Planned counts what the plan asked, whatever was commanded."""
    diary = begun()
    diary.intend(1, ul=500)
    assert {"reef": diary.proven_ms} == diary.state.wanting
    assert 2000 * PEQ_PER_UL == diary.state.planned["reef/alkalinity"].total


def test_h35_more_than_asked_is_charged_rounded_up() -> None:
    """A third of 10 more is 4 for the charge, and 13 for what is believed."""
    diary = begun()
    diary.intend(1, ul=3)
    known = diary.state.open[attempt(1)]
    known.intent = replace(known.intent, effects={"alkalinity": 10})
    before = charged(diary, EFFECT)
    diary.end(1, 4, "over", charge_ul=4)
    assert (4, 4) == (charged(diary), charged(diary, EFFECT) - before)
    assert 13 == diary.state.believed["reef/alkalinity"].total


def test_h20_a_shot_that_gives_more_is_charged_with_more() -> None:
    """The small cap for calibrating counts what was reported, like any other."""
    diary = begun()
    diary.intend(1, ul=1000, in_water=False)
    diary.end(1, 2500, "over", charge_ul=2500)
    assert 2500 == charged(diary, SHOTS)


def test_a_shot_touches_no_account_of_the_water() -> None:
    """It ran into a cylinder: its own cap, no effect, nothing planned or believed."""
    diary = begun()
    diary.intend(1, ul=1000, in_water=False)
    diary.end(1, 1000)
    state = diary.state
    assert ([SHOTS], {}, {}) == (list(state.charges), state.believed, state.planned)


def test_a_void_gives_back_volume_effects_and_day() -> None:
    """And what another dose was charged with stays."""
    diary = begun()
    diary.intend(1)
    diary.intend(2, ul=700)
    diary.void(1)
    state = diary.state
    assert (700, 700 * PEQ_PER_UL) == (charged(diary), charged(diary, EFFECT))
    assert ({TODAY: 700}, 700) == (state.days[PUMP], state.drawn_ul["carbonate"])
    assert [attempt(2)] == list(state.open)


def test_a_voided_dose_stays_used_and_wanting() -> None:
    """It is missed, not free again."""
    diary = begun()
    diary.intend(1)
    diary.void(1)
    state = diary.state
    assert {"reef/carbonate@2026-05-03#01": TODAY} == state.used
    assert {"reef": diary.proven_ms} == state.wanting


def test_a_voided_shot_gives_its_own_cap_back() -> None:
    """Proof of non-execution counts for a cylinder too."""
    diary = begun()
    diary.intend(1, ul=1000, in_water=False)
    diary.void(1)
    assert (0, {TODAY: 0}) == (charged(diary, SHOTS), diary.state.days[SHOTS])


def test_a_void_of_a_day_long_forgotten_takes_nothing_twice() -> None:
    """Three local days are kept; the account of another day is not touched."""
    diary = begun()
    diary.intend(1)
    for number in (2, 3, 4):
        diary.wait(DAY)
        diary.day += DAY
        diary.intend(number)
    diary.void(1)
    kept = {TODAY + number * DAY: 2000 for number in (1, 2, 3)}
    assert kept == diary.state.days[PUMP]


def test_a_seal_is_as_asked_for_good() -> None:
    """Closed, believed and charged with what was commanded."""
    diary = begun()
    diary.intend(1, ul=1500)
    seal(diary, 1)
    closed = diary.state.closed[attempt(1)]
    assert ({}, True, 1500) == (diary.state.open, closed.sealed, closed.believed_ul)
    assert 1500 == charged(diary)


def test_a_late_report_raises_and_never_lowers() -> None:
    """After the end only more counts, and only the difference."""
    diary = begun()
    diary.intend(1)
    seal(diary, 1)
    for charge_ul in (1000, 2600, 2500):
        raise_to(diary, 1, charge_ul)
    assert (2600, 2600 * PEQ_PER_UL) == (charged(diary), charged(diary, EFFECT))
    assert {TODAY: 2600} == diary.state.days[PUMP]


def test_entries_about_unknown_attempts_change_no_account() -> None:
    """A second end, void, seal or raise finds nothing open."""
    diary = begun()
    diary.intend(1)
    diary.end(1, 2000)
    diary.end(1, 5000, "over", charge_ul=5000)
    diary.void(1)
    seal(diary, 1)
    raise_to(diary, 9, 9999)
    assert (2000, 2000) == (charged(diary), diary.state.drawn_ul["carbonate"])
    assert not diary.state.closed[attempt(1)].sealed


def test_a_reported_end_ends_the_flow_earlier() -> None:
    """Gaps then count from when it was heard, never from later than was possible."""
    diary = begun()
    diary.intend(1)
    longest_ms = diary.state.flows["carbonate"].end_ms
    diary.wait(timedelta(seconds=3))
    diary.end(1, 2000)
    assert diary.proven_ms == diary.state.flows["carbonate"].end_ms < longest_ms


def test_an_end_heard_late_does_not_prolong_the_flow() -> None:
    """The last drop fell before the longest possible run was over."""
    diary = begun()
    diary.intend(1)
    longest_ms = diary.state.flows["carbonate"].end_ms
    diary.wait(HOUR)
    diary.end(1, 2000)
    assert longest_ms == diary.state.flows["carbonate"].end_ms


def test_an_end_nobody_saw_leaves_the_flow_as_long_as_possible() -> None:
    """Nothing is known of when it ended, or of how well the pump does."""
    diary = begun()
    diary.state.short_streak["carbonate"] = 2
    diary.intend(1)
    longest_ms = diary.state.flows["carbonate"].end_ms
    diary.write(
        DoseEnded(
            **diary.stamp,
            attempt=attempt(1),
            how="lost",
            believed_ul=2000,
            charge_ul=2000,
            source="asked",
        )
    )
    assert longest_ms == diary.state.flows["carbonate"].end_ms
    assert {"carbonate": 2} == diary.state.short_streak


@pytest.mark.parametrize(
    ("how", "believed_ul", "streak"),
    [
        ("short", 1799, {"carbonate": 3}),
        ("cut", 1000, {"carbonate": 3}),
        ("fault", 0, {"carbonate": 3}),
        ("lost", 1000, {"carbonate": 3}),
        ("stopped", 500, {"carbonate": 2}),
        ("full", 1800, {}),
        ("over", 2500, {}),
    ],
)
def test_h19_short_deliveries_are_counted_in_a_row(
    how: EndedHow, believed_ul: int, streak: dict[str, int]
) -> None:
    """However it ended; only a stop on purpose says nothing about the pump."""
    diary = begun()
    diary.state.short_streak["carbonate"] = 2
    diary.intend(1)
    diary.end(1, believed_ul, how)
    assert streak == diary.state.short_streak


def test_a_full_delivery_without_a_streak_begins_none() -> None:
    """The usual case leaves no trace."""
    diary = begun()
    diary.intend(1)
    diary.end(1, 2000)
    assert {} == diary.state.short_streak


@pytest.mark.parametrize(("reported_ul", "expected"), [(1799, True), (1800, False)])
def test_short_begins_below_nine_tenths(reported_ul: int, *, expected: bool) -> None:
    """1800 of 2000 µL are still as asked."""
    assert expected == is_short(2000, reported_ul)


def test_alkalinity_is_believed_by_the_hour_of_the_wall_clock() -> None:
    """Two doses of one hour add up, and calcium has no hours."""
    diary = begun()
    for number in (1, 2):
        diary.intend(number)
        diary.end(number, 2000)
    assert {"reef": {hour_of(diary.at): 4000 * PEQ_PER_UL}} == diary.state.hours


def test_hours_are_kept_for_six_weeks() -> None:
    """The hour that leaves them is forgotten with the next new one."""
    diary = begun()
    first = hour_of(diary.at)
    for number, passed in ((1, 0), (2, HOURS_KEPT - 1), (3, 1)):
        diary.wait(passed * HOUR)
        diary.intend(number)
        diary.end(number, 2000)
    assert [first + HOURS_KEPT - 1, first + HOURS_KEPT] == list(
        diary.state.hours["reef"]
    )


def test_hours_of_a_clock_that_ran_ahead_are_forgotten() -> None:
    """They are in nobody's past; one hour ahead may be a small step back."""
    diary = begun()
    known = hour_of(diary.at)
    diary.state.hours["reef"] = {known + 1: 1, known + 2: 1, known + 9999: 1}
    diary.intend(1)
    diary.end(1, 2000)
    assert [known + 1, known] == list(diary.state.hours["reef"])


def test_when_all_others_are_old_the_newest_alone_is_kept() -> None:
    """63 doses settled at once, and the 64th three days later."""
    diary = begun()
    for number in range(1, 65):
        diary.intend(number)
    for number in range(1, 65):
        diary.wait(3 * DAY if number == 64 else timedelta())
        diary.end(number, 2000)
    assert [attempt(64)] == list(diary.state.closed)


def test_closed_doses_are_forgotten_after_two_days() -> None:
    """Looked at each time 64 are kept; late reports come sooner than that."""
    diary = begun()
    for number in range(1, 65):
        diary.intend(number)
        diary.end(number, 2000)
        diary.wait(HOUR)
    kept = list(diary.state.closed)
    assert (attempt(17), attempt(64), 48) == (kept[0], kept[-1], len(kept))


@given(
    st.lists(
        st.tuples(st.sampled_from(["end", "void", "seal", "raise"]), st.integers(0, 5)),
        max_size=25,
    ),
    st.integers(0, 6000),
)
def test_a_charge_never_falls_but_by_a_void(
    steps: list[tuple[str, int]], reported_ul: int
) -> None:
    """Whatever is written after six intents, in whatever order, twice or not."""
    diary = begun()
    for number in range(6):
        diary.intend(number)
    for what, number in steps:
        before = {key: charged(diary, key) for key in diary.state.charges}
        if what == "end":
            charge_ul = max(2000, reported_ul)
            diary.end(number, reported_ul, charge_ul=charge_ul)
        elif what == "void":
            diary.void(number)
        elif what == "seal":
            seal(diary, number)
        else:
            raise_to(diary, number, reported_ul)
        after = {key: charged(diary, key) for key in diary.state.charges}
        voided = isinstance(diary.events[-1], DoseVoided)
        assert voided or all(after[key] >= before[key] for key in before)
        assert all(amount >= 0 for amount in after.values())
        assert after[EFFECT] >= after[PUMP] * PEQ_PER_UL
