"""A machine that slept, and a clock that was put back: late is missed (H38, H40).

Suspend and a stopped process look alike here: wall and boot-time clock have both gone
on while nobody decided, which is what `CLOCK_BOOTTIME` is for.
"""

from datetime import timedelta

import pytest

from slackwater.facts.events import (
    ClockConfirmed,
    DoseHeld,
    DoseMissed,
    HoldReleased,
    SpanMissed,
)
from slackwater.facts.fold import fold
from slackwater.facts.reasons import Code
from slackwater.turn.absences import DOSE_BY_DOSE
from tests.gate.scene import machine
from tests.turn.test_step import START, Bench

HOUR = timedelta(hours=1)
MINUTE = timedelta(minutes=1)
# A dose an hour of each line, the first at the hour; a quarter of it may be late.
LATENESS = timedelta(minutes=15)


def running() -> Bench:
    """Two hours of the plan done, a minute before the next hour."""
    bench = Bench(machine())
    bench.run_until(START + 3 * HOUR - MINUTE)
    return bench


def slept(bench: Bench, span: timedelta) -> None:
    """Let both clocks go on while nobody looks."""
    bench.utc += span


@pytest.mark.parametrize(
    "span",
    [
        timedelta(seconds=1),
        10 * MINUTE,
        LATENESS + 2 * MINUTE,
        timedelta(hours=3, minutes=30),
        timedelta(days=1),
        timedelta(days=3),
    ],
    ids=str,
)
def test_h40_what_a_stall_made_late_is_missed(span: timedelta) -> None:
    """Nothing begins after its latest start, nothing twice, and no burst follows."""
    bench = running()
    begin = bench.utc
    slept(bench, span)
    end = bench.utc
    bench.run_until(end + 2 * HOUR)
    given = list(bench.intents())
    assert [] == [i for i in given if not i.dose.due_at <= i.at <= i.dose.latest_at]
    assert len(given) == len({intent.dose.id for intent in given})
    missed = [event.dose for event in bench.events if isinstance(event, DoseMissed)]
    due = [
        dose
        for dose in bench.setup.forces[0].timetable.between(begin, end)
        if dose.latest_at < end
    ]
    lately = [dose for dose in due if end - dose.due_at <= DOSE_BY_DOSE]
    assert [dose.id for dose in lately] == [dose.id for dose in missed]
    spans = [event for event in bench.events if isinstance(event, SpanMissed)]
    assert len(due) == len(missed) + sum(span.doses for span in spans)
    after = [intent for intent in given if intent.at >= end]
    # At most what was still in time, and two hours of two lines.
    assert len(after) <= 2 + 2 * 2
    assert {} == bench.state.holds


def test_h40_a_beat_from_before_the_stall_proves_nothing() -> None:
    """On waking a dose is due and in time; it waits until the node is heard anew."""
    bench = running()
    bench.hear_beat()
    slept(bench, 3 * MINUTE)
    first = bench.step()
    assert ["dose_held"] == [event.kind for event in first]
    assert isinstance(first[0], DoseHeld)
    assert [Code.NODE_ABSENT] == [reason.code for reason in first[0].reasons]
    bench.hear_beat()
    assert ["dose_intended"] == [event.kind for event in bench.step()]


def test_h40_a_suspend_counts_as_time() -> None:
    """A day asleep is a day of proven time: yesterday's charges are free again."""
    bench = running()
    mark = bench.state.mark
    assert mark is not None
    before_ms = mark.proven_ms
    slept(bench, timedelta(days=1))
    bench.run_until(bench.utc + 5 * MINUTE)
    passed_ms = mark.proven_ms - before_ms
    assert passed_ms >= 24 * 3_600_000


@pytest.mark.parametrize("back_s", [3.0, 3600.0, 86_400.0, 365 * 86_400.0])
def test_h38_a_clock_put_back_stops_all_decisions(back_s: float) -> None:
    """Neither a dose nor the word that one was missed, until a person looks."""
    bench = running()
    count = len(bench.events)
    bench.jump_s = -back_s
    bench.run_until(bench.utc + 2 * HOUR)
    assert [Code.CLOCK_JUMPED] == list(bench.state.holds)
    assert ["hold_raised"] == [event.kind for event in bench.events[count:]]


def test_h38_what_was_given_is_not_given_again_after_the_clock_was_put_back() -> None:
    """An hour lived twice, with a person's word for it: each identity runs once."""
    bench = running()
    bench.jump_s = -3600.0
    bench.run_until(bench.utc + MINUTE)
    now = bench.now()
    mark = bench.state.mark
    assert mark is not None
    for event in (
        ClockConfirmed(
            at=now.utc,
            boot_s=now.boot_s,
            proven_ms=mark.proven_ms,
            boot_id="boot",
            by="keeper",
        ),
        HoldReleased(
            at=now.utc,
            boot_s=now.boot_s,
            proven_ms=mark.proven_ms,
            hold_id=Code.CLOCK_JUMPED,
            by="keeper",
        ),
    ):
        fold(bench.state, event)
    before = [intent.dose.id for intent in bench.intents()]
    bench.run_until(bench.utc + 3 * HOUR)
    after = [intent.dose.id for intent in bench.intents()][len(before) :]
    assert after
    assert not set(before) & set(after)
    assert [] == [event for event in bench.events if isinstance(event, DoseMissed)]


def test_h39_a_clock_set_right_for_the_first_time_is_no_jump() -> None:
    """A board without a clock of its own: no dose until the time service is there."""
    bench = Bench(machine())
    bench.synchronised = False
    bench.jump_s = -7200.0
    bench.run_until(START + timedelta(minutes=5))
    assert [] == list(bench.intents())
    bench.synchronised = True
    bench.jump_s = 0.0
    bench.run_until(START + timedelta(hours=2))
    assert {} == bench.state.holds
    assert list(bench.intents())
