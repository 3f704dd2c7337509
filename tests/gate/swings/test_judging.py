"""One verdict from all tests on a probe's series, and which of them goes first."""

from dataclasses import replace

import pytest

from slackwater.facts.courses import Course
from slackwater.facts.judgements import SeriesJudged
from slackwater.facts.reasons import Code, because
from slackwater.gate.swings.judging import is_due, judge_probe, known_noise
from slackwater.gate.swings.limits import DKH, LEAST_NOISE
from slackwater.gate.swings.verdicts import ProbeFault, Steady, Swing
from tests.gate.scene import NOW, PROBE
from tests.gate.swing_tanks import DAY_MIN, Series, ramp
from tests.gate.swings.followed import (
    TARGET_DKH,
    Dose,
    LevelAt,
    at_target,
    noisy,
    said_at_the_end,
    seen,
    series,
)

DAYS = 6
QUICK = replace(PROBE, period_s=300.0)


def stepped(size_dkh: float, hours_ago: float = 5.0) -> LevelAt:
    """A level that moved a while before the end."""
    step = ramp(DAYS * DAY_MIN - hours_ago * 60, size_dkh, 10.0)
    return lambda minute: TARGET_DKH + step(minute)


def judged(verdict: str = "probe-fault", noise: float | None = 0.03) -> SeriesJudged:
    """What was said before."""
    reason = because(Code.ALKALINITY_PROBE_FAULT, usual_noise_meq_per_l=noise)
    return SeriesJudged(
        at=NOW,
        boot_s=0.0,
        proven_ms=0,
        tank="reef",
        source="probe/kh",
        verdict="probe-fault" if verdict == "probe-fault" else "swing-up",
        taken_at=NOW,
        reason=reason,
    )


def test_a_quick_probe_is_judged_at_the_ends_of_its_half_hours() -> None:
    """With the first reading of a block and with the last; a slow one with each."""
    due = [is_due(Course(open=[3.0] * count), QUICK) for count in range(1, 8)]
    assert [True, False, False, False, False, True, False] == due
    assert is_due(Course(open=[3.0] * 2), replace(PROBE, period_s=3600.0))


@pytest.mark.parametrize("period_min", [5.0, 60.0, 360.0])
def test_a_steady_tank_is_steady(period_min: float) -> None:
    """With a probe and with titrators."""
    found = said_at_the_end(series(noisy(at_target), 9, period_min))
    assert isinstance(found, Steady)
    assert found.good > 0


@pytest.mark.parametrize("period_min", [5.0, 60.0])
@pytest.mark.parametrize("size_dkh", [1.0, -1.0])
def test_h51_a_step_is_a_swing(size_dkh: float, period_min: float) -> None:
    """Up is too much, down is not."""
    found = said_at_the_end(series(noisy(stepped(size_dkh)), DAYS, period_min))
    assert isinstance(found, Swing)
    assert (size_dkh > 0) == found.excess
    assert pytest.approx(size_dkh * DKH, abs=0.3 * DKH) == found.size


def test_h51_the_newest_reading_shows_that_the_water_rose() -> None:
    """0.32 dKH were no swing yet, half a dKH is one: nothing waits for the next."""
    calm = series(at_target, DAYS, 60.0)
    (before, _), (last, _) = calm.readings[-2:]
    risen = [*calm.readings[:-2], (before, 8.32), (last, 8.50)]
    found = said_at_the_end(replace(calm, readings=risen))
    assert isinstance(found, Swing)
    assert found.excess
    small = [*calm.readings[:-2], (before, 8.32), (last, 8.34)]
    assert "steady" == said_at_the_end(replace(calm, readings=small)).name


def test_a_step_as_large_as_a_dose_is_put_down_to_it() -> None:
    """One dose a day, and the last one came twice."""
    doses: list[Dose] = [((day + 1) * DAY_MIN - 300.0, 0.7) for day in range(DAYS)]

    def level(minute: float) -> float:
        passed = (minute + 300.0) % DAY_MIN / DAY_MIN
        twice = 0.7 if minute > DAYS * DAY_MIN - 300 else 0.0
        return TARGET_DKH + 0.7 * (1 - passed) + twice

    one = series(noisy(level), DAYS, 60.0, doses=doses, uptake=0.7)
    assert ("dose-fault", True) == (
        said_at_the_end(one).name,
        said_at_the_end(one).excess,
    )


def test_h49_a_probe_that_only_repeats_goes_before_everything() -> None:
    """Even where it repeats a level far too high."""
    last = stepped(2.0, hours_ago=13.0)
    calm = noisy(at_target)

    def shown(minute: float) -> float:
        return last(minute) if minute > (DAYS - 0.5) * DAY_MIN else calm(minute)

    found = said_at_the_end(series(shown, DAYS, 60.0))
    assert isinstance(found, ProbeFault)
    assert "frozen" == found.how


def test_h50_one_far_reading_and_its_repetitions_are_no_swing() -> None:
    """A value that is sent again says nothing new, so it is no retest of itself."""
    calm = noisy(at_target)
    one = series(calm, DAYS, 60.0)
    repeated = [*one.readings[:-3], *[(m, 9.5) for m, _ in one.readings[-3:]]]
    found = said_at_the_end(replace(one, readings=repeated))
    assert "steady" == found.name
    retests = [(m, 9.5 + 0.01 * n) for n, (m, _) in enumerate(one.readings[-3:])]
    again = said_at_the_end(replace(one, readings=[*one.readings[:-3], *retests]))
    assert "swing-up" == again.name


def loud(period_min: float, days: float) -> Series:
    """A source whose noise grew tenfold in its last sixteen readings, or half day."""
    last_min = max(16 * period_min, DAY_MIN / 2)
    calm, wild = noisy(at_target, 1), noisy(at_target, 2, 0.5)
    return series(
        lambda m: (wild if m > days * DAY_MIN - last_min else calm)(m),
        days,
        period_min,
    )


@pytest.mark.parametrize("period_min", [5.0, 60.0, 360.0])
def test_a_dying_source_is_a_fault_of_the_source(period_min: float) -> None:
    """Whether it is quick or slow."""
    found = said_at_the_end(loud(period_min, 9))
    assert isinstance(found, ProbeFault)
    assert "noise" == found.how
    assert found.usual_noise < found.figures["noise_meq_per_l"] / 2


def test_a_dying_source_with_gaps_is_told_although_it_cannot_be_judged() -> None:
    """No whole day before the last: no baseline, but habits."""
    one = loud(360.0, 9)
    lost_min = (9 * DAY_MIN - 2 * DAY_MIN, 9 * DAY_MIN - DAY_MIN)
    read = [r for r in one.readings if not lost_min[0] < r[0] < lost_min[1]]
    found = said_at_the_end(replace(one, readings=read))
    assert "probe-fault" == found.name
    calm = series(noisy(at_target), 9, 360.0)
    read = [r for r in calm.readings if not lost_min[0] < r[0] < lost_min[1]]
    assert "too-little" == said_at_the_end(replace(calm, readings=read)).name


def test_too_much_goes_before_a_fault_of_the_probe() -> None:
    """A titrator that contradicts itself, high up: excess stops all the same."""
    moment, probe, course = seen(series(noisy(stepped(1.5)), DAYS, 60.0))
    newest = moment.now.utc.timestamp()
    course.add(newest + 600, (TARGET_DKH + 2.5) * DKH)
    assert judge_probe(moment, probe, course).excess
    moment, probe, course = seen(series(noisy(at_target), DAYS, 60.0))
    course.add(newest + 600, (TARGET_DKH + 1.5) * DKH)
    found = judge_probe(moment, probe, course)
    assert isinstance(found, ProbeFault)
    assert "replicates" == found.how


@pytest.mark.parametrize("size_dkh", [3.0, 0.0, -3.0])
def test_h51_too_much_goes_before_a_source_that_has_become_loud(
    size_dkh: float,
) -> None:
    """A fault of noise stands; what the source says may still be too much.

    Of too little it is no evidence, as in steady water.
    """
    one = series(noisy(stepped(size_dkh), 3, 0.4), DAYS, 60.0)
    moment, probe, course = seen(one)
    moment.state.judged["probe/kh"] = judged(noise=LEAST_NOISE)
    found = judge_probe(moment, probe, course)
    name = "swing-up" if size_dkh > 0 else "probe-fault"
    assert (name, size_dkh > 0) == (found.name, found.excess)


def test_a_fault_of_noise_remembers_what_was_usual() -> None:
    """Until it has calmed it is compared with that; others remember nothing."""
    assert 0.03 == known_noise(judged())
    assert 0.0 == known_noise(judged(noise=None))
    assert 0.0 == known_noise(judged("swing-up"))
    assert 0.0 == known_noise(replace(judged(), reason=None))
    assert 0.0 == known_noise(None)


def test_a_loud_source_stays_a_fault_while_one_is_standing() -> None:
    """It has been loud for as long as its habits go back."""
    always = series(noisy(at_target, 3, 0.4), 9, 60.0)
    moment, probe, course = seen(always)
    assert "probe-fault" != judge_probe(moment, probe, course).name
    moment.state.judged["probe/kh"] = judged(noise=LEAST_NOISE)
    assert "probe-fault" == judge_probe(moment, probe, course).name
