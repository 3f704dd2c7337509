"""From verdicts to entries: written once, held for an excess, ended by good readings.

A tank read by the hour or by hand; the clock is that of the invented series.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.events import AnyEvent, HoldRaised
from slackwater.facts.fold import fold
from slackwater.facts.judgements import SeriesJudged
from slackwater.facts.messages import Reading
from slackwater.facts.now import Now
from slackwater.facts.reasons import Code, because
from slackwater.facts.safeguards import ProbeTakenOut
from slackwater.facts.sight import see
from slackwater.gate.moment import Moment
from slackwater.pump.outcome import Stamp
from slackwater.turn.judging import judge_news, judge_reading
from tests.gate.scene import dkh, machine, moment
from tests.gate.swing_runs import BEGINS, Run, by_hand, started, utc
from tests.gate.swing_tanks import DAY_MIN, Series, ramp
from tests.gate.swings.followed import TARGET_DKH, at_target, noisy, series

DAYS, HOUR_MIN = 6, 60.0
HELD = "alkalinity-swing-up/alkalinity/reef"


def stamp(at: Moment) -> Stamp:
    """The clocks of a moment."""
    now = at.now
    return {"at": now.utc, "boot_s": now.boot_s, "proven_ms": at.proven_ms}


def newest(at: Moment) -> Reading:
    """The reading that was heard last."""
    return at.sight.readings["kh"][-1]


def told(run: Run) -> list[AnyEvent]:
    """What follows from each reading; all of it is written."""
    found: list[AnyEvent] = []
    for minute, value in run.series.readings:
        run.until(minute)
        run.read(minute, value)
        events = list(judge_reading(run.at, newest(run.at), stamp(run.at)))
        for event in events:
            fold(run.at.state, event)
        found += events
    return found


def stepped(size_dkh: float, lasts_h: float = 99.0, hours_ago: float = 12.0) -> Series:
    """A step towards the end that goes back after a while."""
    begins = DAYS * DAY_MIN - hours_ago * HOUR_MIN
    up = ramp(begins, size_dkh, 10.0)
    down = ramp(begins + lasts_h * HOUR_MIN, -size_dkh, 10.0)
    shown = noisy(lambda minute: TARGET_DKH + up(minute) + down(minute))
    return series(shown, DAYS, HOUR_MIN)


def verdicts(events: Sequence[AnyEvent]) -> list[tuple[str, bool]]:
    """What was said, each time it changed."""
    said = [event for event in events if isinstance(event, SeriesJudged)]
    return [(event.verdict, event.excess) for event in said]


def test_a_source_that_is_well_is_not_written_down() -> None:
    """Neither that there is too little, nor that all is steady."""
    assert [] == told(started(series(noisy(at_target), DAYS, HOUR_MIN)))


def test_h51_a_swing_up_is_written_once_and_latches() -> None:
    """Twelve readings say so; one entry and one hold do."""
    events = told(started(stepped(1.2)))
    assert [("swing-up", True)] == verdicts(events)
    holds = [event for event in events if isinstance(event, HoldRaised)]
    assert [(HELD, "alkalinity/reef", True)] == [
        (hold.hold_id, hold.scope, hold.latched) for hold in holds
    ]


def test_h51_a_swing_down_is_written_and_holds_nothing() -> None:
    """It shortens."""
    run = started(stepped(-1.2))
    assert [("swing-down", False)] == verdicts(told(run))
    assert {} == run.at.state.holds


def test_h50_a_verdict_ends_after_good_readings_and_a_time() -> None:
    """Down for five hours; three good ones and an hour later all is well."""
    run = started(stepped(-1.2, lasts_h=5.0))
    events = told(run)
    assert [("swing-down", False), ("steady", False)] == verdicts(events)
    down, well = (event.at for event in events)
    back = utc(DAYS * DAY_MIN - 7 * HOUR_MIN)
    assert timedelta(hours=2) <= well - back <= timedelta(hours=6)
    assert down < back
    ended = events[-1]
    assert isinstance(ended, SeriesJudged)
    assert ended.reason is None
    assert 3 <= int(str(ended.figures["good_readings"]))


def test_h50_a_hold_does_not_end_with_its_verdict() -> None:
    """What latched waits for a person, who looks at what there is."""
    run = started(stepped(1.2, lasts_h=5.0))
    assert [("swing-up", True), ("steady", False)] == verdicts(told(run))
    assert [HELD] == list(run.at.state.holds)


def test_a_hold_that_stands_is_not_raised_again() -> None:
    """A second source says the same."""
    run = started(stepped(1.2))
    told(run)
    run.at.state.judged.clear()
    again = list(judge_reading(run.at, newest(run.at), stamp(run.at)))
    assert [("swing-up", True)] == verdicts(again)
    assert 1 == len(again)


def test_without_a_guard_good_readings_end_it_at_once() -> None:
    """Nobody said how many there must be."""
    run = started(stepped(-1.2, lasts_h=5.0))
    run.at = replace(run.at, machine=replace(run.at.machine, guards={}))
    assert [("swing-down", False), ("steady", False)] == verdicts(told(run))


def test_silence_and_too_little_end_nothing() -> None:
    """A source that stopped being judged is not well for it."""
    run = started(stepped(-1.2))
    told(run)
    course = run.at.sight.courses["kh"]
    course.hours.clear()
    course.blocks.clear()
    run.read(DAYS * DAY_MIN + 30, TARGET_DKH)
    assert [] == list(judge_reading(run.at, newest(run.at), stamp(run.at)))
    assert "swing-down" == run.at.state.judged["probe/kh"].verdict


def test_one_verdict_follows_another_at_once() -> None:
    """A fall that becomes a fault of the probe is told as that."""
    run = started(stepped(-1.2))
    told(run)
    for place in range(40):
        run.read(DAYS * DAY_MIN + 30 + place * HOUR_MIN, 7.0)
        for event in judge_reading(run.at, newest(run.at), stamp(run.at)):
            fold(run.at.state, event)
    assert "probe-fault" == run.at.state.judged["probe/kh"].verdict


def swinging() -> Run:
    """A tank that has just swung, not yet judged."""
    run = started(stepped(1.2))
    for minute, value in run.series.readings:
        run.read(minute, value)
    return run


@pytest.mark.parametrize("what", ["other", "unknown", "no course", "out", "not due"])
def test_what_is_not_to_be_judged_is_not(what: str) -> None:
    """Another parameter, an unknown probe, one out of service, half a block."""
    run = swinging()
    reading = newest(run.at)
    assert [] != list(judge_reading(run.at, reading, stamp(run.at)))
    if what == "other":
        reading = replace(reading, parameter="ph")
    elif what == "unknown":
        reading = replace(reading, probe="two")
    elif what == "no course":
        run.at.sight.courses.clear()
    elif what == "out":
        until = run.at.now.utc + timedelta(days=1)
        fold(
            run.at.state,
            ProbeTakenOut(**stamp(run.at), probe="kh", until=until, by="k"),
        )
    else:
        probes = {"kh": replace(run.probe, period_s=300.0)}
        run.at = replace(run.at, machine=replace(run.at.machine, probes=probes))
        more = replace(reading, at=reading.at + timedelta(minutes=5))
        see(run.at.sight, more)
        assert 2 == len(run.at.sight.courses["kh"].open)
    assert [] == list(judge_reading(run.at, reading, stamp(run.at)))


def by_the_day(*levels: float) -> Moment:
    """A tank tested once a day, and an hour after what stands out."""
    at = moment(machine())
    at.state.stage_since = BEGINS
    for day, level in enumerate(levels):
        fold(at.state, by_hand(day * DAY_MIN, level))
    return at


def at_minute(at: Moment, minute: float, previous_min: float | None) -> Moment:
    """The moment at a minute, after a turn at another."""
    now = Now(utc=utc(minute), boot_s=0.0, boot_id="boot", synchronised=True)
    at.sight.previous = None
    if previous_min is not None:
        at.sight.previous = replace(now, utc=utc(previous_min))
    return replace(at, now=now)


RISEN = (8.0, 8.1, 7.9, 8.0, 8.1, 8.0, 9.8, 9.8)
LAST_MIN = 7 * DAY_MIN


def test_h51_two_far_hand_tests_latch() -> None:
    """The keeper's own series is one of its own; a start judges it once."""
    at = at_minute(by_the_day(*RISEN), LAST_MIN, None)
    events = list(judge_news(at, stamp(at)))
    assert [("swing-up", True)] == verdicts(events)
    assert ["hand/reef"] == [
        event.source for event in events if isinstance(event, SeriesJudged)
    ]
    assert isinstance(events[-1], HoldRaised)
    assert Code.ALKALINITY_SWING_UP == events[-1].reason.code


def test_hand_tests_are_judged_when_one_of_them_is_news() -> None:
    """A person's clock is read up to two minutes before the ledger is written."""
    at = at_minute(by_the_day(*RISEN), LAST_MIN, LAST_MIN + 1.9)
    (judged, _) = judge_news(at, stamp(at))
    assert isinstance(judged, SeriesJudged)
    assert utc(LAST_MIN) == judged.taken_at
    at = at_minute(at, LAST_MIN, LAST_MIN + 2.0)
    assert [] == list(judge_news(at, stamp(at)))


def test_tests_of_no_tank_are_not_judged() -> None:
    """Of one that is gone, and where the last one was struck."""
    at = at_minute(by_the_day(*RISEN), LAST_MIN, None)
    risen = at.state.tests["reef"]
    at.state.tests = {"gone": risen, "reef": []}
    assert [] == list(judge_news(at, stamp(at)))
    at.state.tests = {"gone": risen, "reef": risen}
    assert [("swing-up", True)] == verdicts(list(judge_news(at, stamp(at))))


def fallen(at: Moment, said_min: float) -> Moment:
    """Hand tests of which a fall was said at a minute."""
    said = SeriesJudged(
        at=utc(said_min),
        boot_s=0.0,
        proven_ms=0,
        tank="reef",
        source="hand/reef",
        verdict="swing-down",
        taken_at=utc(said_min),
        reason=because(Code.ALKALINITY_SWING_DOWN),
    )
    at.state.judged["hand/reef"] = said
    return at


def ends(at: Moment) -> bool:
    """Whether what was said ends now."""
    found = verdicts(list(judge_news(at, stamp(at))))
    assert found in ([], [("steady", False)])
    return bool(found)


@pytest.mark.parametrize(("minutes", "is_over"), [(59.9, False), (60.0, True)])
def test_h50_a_verdict_ends_an_hour_after_it_was_said(
    minutes: float, is_over: bool
) -> None:
    """The guard asks for an hour and three good ones, which were good for days."""
    last = 6 * DAY_MIN
    at = fallen(by_the_day(*[8.0] * 7), last - minutes)
    assert is_over == ends(at_minute(at, last, None))


@pytest.mark.parametrize(("minutes", "is_over"), [(59.9, False), (60.0, True)])
def test_h50_that_time_counts_from_the_first_of_the_good_ones(
    minutes: float, is_over: bool
) -> None:
    """It was said days before them: six tests, each 31 minutes after the other.

    The guard asks for an hour more than lies between the first and the last of them.
    """
    at = fallen(by_the_day(*[8.0] * 4), DAY_MIN)
    first = 4 * DAY_MIN
    for place in range(6):
        fold(at.state, by_hand(first + place * 31.0, 8.0))
    guard = replace(at.machine.guards["reef"], hold_at_least_s=155 * 60 + 3600.0)
    at = replace(at, machine=replace(at.machine, guards={"reef": guard}))
    assert is_over == ends(at_minute(at, first + 5 * 31.0 + minutes, None))


@pytest.mark.parametrize(("tests", "is_over"), [(6, False), (7, True)])
def test_h50_three_good_ones_end_a_verdict_and_two_do_not(
    tests: int, is_over: bool
) -> None:
    """Four tests are the line; those after it are judged."""
    at = fallen(by_the_day(*[8.0] * tests), 0.0)
    assert is_over == ends(at_minute(at, (tests - 1) * DAY_MIN, None))


def test_a_level_in_dkh_is_one_in_meq() -> None:
    """The helpers of these tests speak dKH: 8 are 2.853 meq/L (0.35665246 each)."""
    assert pytest.approx(8 * 0.35665246) == dkh(8.0)
