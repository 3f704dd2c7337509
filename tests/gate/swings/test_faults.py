"""What is called a fault of a probe or of a dose, and what is not."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.courses import Block, Course
from slackwater.gate.moment import Moment
from slackwater.gate.swings.faults import (
    chance_of_run,
    contradicts_itself,
    dose_behind,
    frozen,
    is_slow,
    repeated_blocks,
    restless,
    rough,
)
from slackwater.gate.swings.habits import Habit
from slackwater.gate.swings.limits import DKH, LEAST_NOISE, MODEL_SD
from slackwater.gate.swings.verdicts import DoseFault, ProbeFault, Swing
from slackwater.water.statistics import SD_PER_MEDIAN_DEVIATION
from tests.gate.scene import PROBE
from tests.gate.swing_runs import BEGINS, utc
from tests.gate.swings.followed import Dose, at_target, seen, series

QUICK = replace(PROBE, period_s=300.0)
HOURLY = replace(PROBE, period_s=3600.0)
WEEKLY = replace(PROBE, period_s=7 * 86_400.0)


def fault(found: ProbeFault | None) -> ProbeFault:
    """There must be one."""
    assert found is not None
    return found


def repeating(times: int, pairs: int = 100, equal: int = 10) -> Course:
    """A course whose newest reading came so often in a row."""
    return Course(run=times, pairs=pairs, equal=equal)


def test_a_slow_probe_is_one_whose_readings_are_blocks() -> None:
    """From half an hour on."""
    assert [False, False, True, True] == [
        is_slow(replace(PROBE, period_s=s)) for s in (300.0, 1799.0, 1800.0, 3600.0)
    ]


def test_h49_the_chance_of_a_run_is_that_of_equal_neighbours() -> None:
    """(10 + 5) of (100 + 10) pairs were equal: five in a row are four more."""
    assert pytest.approx((15 / 110) ** 4) == chance_of_run(repeating(5))


def test_h49_a_run_is_frozen_where_chance_gives_one_in_a_thousand_days() -> None:
    """288 readings a day; at 15 of 110, seven in a row come so seldom."""
    chance = (15 / 110) ** 6 * 288
    assert frozen(repeating(6), QUICK) is None
    assert chance > 0.001
    assert frozen(repeating(7), QUICK) is None
    found = fault(frozen(repeating(8), QUICK))
    assert ("frozen", 8) == (found.how, found.figures["equal_readings"])


def test_h49_once_in_a_thousand_days_is_not_frozen_yet() -> None:
    """Eleven in a row at one half are one in 1024; 1.024 a day come each 84 375 s."""
    run = repeating(11, pairs=0, equal=0)
    assert frozen(run, replace(PROBE, period_s=84_375.0)) is None
    found = fault(frozen(run, replace(PROBE, period_s=84_375.5)))
    assert 0.001 == found.figures["chance"]


def test_h49_two_equal_readings_are_never_frozen() -> None:
    """Even of a weekly titrator that never showed any in forty years; three are."""
    assert frozen(repeating(2, pairs=2000, equal=0), HOURLY) is None
    assert frozen(repeating(2, pairs=2000, equal=0), WEEKLY) is None
    found = fault(frozen(repeating(3, pairs=2000, equal=0), WEEKLY))
    assert {"equal_readings": 3, "chance": 8.8e-7} == found.figures


def test_what_only_repeats_is_no_retest() -> None:
    """From a chance of one in twenty on; of a quick probe by the half hour."""
    assert 0 == repeated_blocks(repeating(1), HOURLY)
    assert 0 == repeated_blocks(repeating(2), HOURLY)
    assert 2 == repeated_blocks(repeating(3), HOURLY)
    assert 1 == repeated_blocks(repeating(9), QUICK)


def test_of_a_probe_that_repeats_once_in_twenty_two_equal_readings_are_two() -> None:
    """(0 + 5) of (90 + 10) pairs is one in twenty; rarer, the second says nothing."""
    assert 0 == repeated_blocks(repeating(2, pairs=90, equal=0), HOURLY)
    assert 1 == repeated_blocks(repeating(2, pairs=91, equal=0), HOURLY)


def test_replicates_that_contradict_each_other_are_a_fault_of_the_probe() -> None:
    """Within half an hour, more than three times the noise apart."""
    far, near = 3 * MODEL_SD + 0.001, 3 * MODEL_SD - 0.001
    assert contradicts_itself(Course(open=[3.0, 3.0 + near]), HOURLY, 0.0) is None
    found = fault(contradicts_itself(Course(open=[3.0, 3.0 + far]), HOURLY, 0.0))
    assert "replicates" == found.how
    assert contradicts_itself(Course(open=[3.0, 3.0 + far]), HOURLY, 0.1) is None
    assert contradicts_itself(Course(open=[3.0, 3.0 + far]), QUICK, 0.0) is None


def test_replicates_three_times_the_noise_apart_do_not_contradict_each_other() -> None:
    """Beyond that they do, and both figures are told to a thousandth."""
    assert contradicts_itself(Course(open=[3.0, 4.5]), HOURLY, 0.5) is None
    found = fault(contradicts_itself(Course(open=[3.0, 3.2, 4.51234]), HOURLY, 0.41236))
    assert {"apart_meq_per_l": 1.512, "noise_meq_per_l": 0.412} == found.figures


def jumping(usual: float, now: float, hours: int = 60, blocks: int = 9) -> Course:
    """A quick probe whose readings jumped so far until yesterday, and jump so now."""
    by_hour = {
        hour: Block(hour * 3600.0, 3.0, 12, usual if hour < hours - 24 else now)
        for hour in range(hours)
    }
    return Course(hours=by_hour, blocks=[Block(0.0, 3.0, 6, now)] * blocks)


JUMP = LEAST_NOISE / SD_PER_MEDIAN_DEVIATION * 2**0.5


def test_a_quick_probe_whose_noise_doubles_is_noisy() -> None:
    """Its own noise a day and more ago is what is usual."""
    assert rough(jumping(JUMP, 2 * JUMP * 0.99), QUICK, 0.0) is None
    found = fault(rough(jumping(JUMP, 2 * JUMP * 1.01), QUICK, 0.0))
    assert "noise" == found.how
    assert pytest.approx(LEAST_NOISE) == found.usual_noise
    noise = found.figures["noise_meq_per_l"]
    assert pytest.approx(2 * 1.01 * LEAST_NOISE, abs=1e-4) == noise


def test_six_hours_before_the_last_day_are_a_habit() -> None:
    """They alone: the loud day itself is no part of what is usual."""
    assert rough(jumping(JUMP, 3 * JUMP, hours=30), QUICK, 0.0) is not None


def test_a_probe_that_shows_coarse_steps_is_as_noisy_as_half_a_step() -> None:
    """Steps of 0.2 meq/L that never changed hide a noise of 0.1; twice is a fault."""
    coarse = replace(QUICK, resolution=0.2)
    jump = 0.1 / SD_PER_MEDIAN_DEVIATION * 2**0.5
    assert rough(jumping(0.0, 2 * jump * 0.99), coarse, 0.0) is None
    found = fault(rough(jumping(0.0, 2 * jump * 1.01), coarse, 0.0))
    assert 0.1 == found.usual_noise


def test_little_noise_is_no_fault_however_quiet_it_was() -> None:
    """Below a fifth of a dKH."""
    assert rough(jumping(JUMP / 10, JUMP * 0.99), QUICK, 0.0) is None
    assert rough(jumping(JUMP / 10, JUMP * 1.01), QUICK, 0.0) is not None


def test_a_noisy_probe_stays_one_until_it_has_calmed() -> None:
    """Beside the noise the fault remembers; what is usual has become loud itself."""
    calm, loud = 1.5 * JUMP * 0.99, 1.5 * JUMP * 1.01
    assert rough(jumping(loud, loud), QUICK, LEAST_NOISE) is not None
    assert rough(jumping(calm, calm), QUICK, LEAST_NOISE) is None
    again = fault(rough(jumping(loud, loud), QUICK, LEAST_NOISE))
    assert LEAST_NOISE == again.usual_noise


@pytest.mark.parametrize(("hours", "blocks"), [(29, 9), (60, 8)])
def test_without_habits_there_is_no_noise_beyond_them(hours: int, blocks: int) -> None:
    """Six hours before the last day, and nine half hours now."""
    assert rough(jumping(JUMP, 9 * JUMP, hours, blocks), QUICK, 0.0) is None


def test_a_slow_probe_whose_noise_doubles_is_noisy() -> None:
    """Compared with the readings before those that are loud."""
    assert restless(Habit(now=1.1, usual=0.5), 0.0) is None
    found = fault(restless(Habit(now=1.123456, usual=0.5), 0.0))
    assert ({"noise_meq_per_l": 1.1235}, 0.5) == (found.figures, found.usual_noise)


def swing(
    size_dkh: float, minute: float, points: int = 4, sd_dkh: float = 0.1
) -> Swing:
    """A swing that began at a minute."""
    return Swing(
        size=size_dkh * DKH,
        sd=sd_dkh * DKH,
        since=utc(minute),
        votes=("sums", "range"),
        points=points,
        outliers=0,
    )


def dosed(*doses: Dose) -> Moment:
    """A tank that was given these doses in its first day, read by the hour."""
    return seen(series(at_target, 1.0, 60.0, doses=doses))[0]


def blocks_every(minutes: float, until: float) -> list[Block]:
    """Readings of a source until a minute."""
    count = int(until / minutes)
    times = [BEGINS.timestamp() + 60 * minutes * place for place in range(count)]
    return [Block(at_s, 3.0, 1, 0.0) for at_s in times]


@pytest.mark.parametrize("sign", [1, -1])
def test_a_swing_as_large_as_the_dose_it_begins_with_is_that_dose(sign: int) -> None:
    """Twice, or never: within two errors of its size."""
    moment = dosed((590.0, 0.6), (1190.0, 0.6))
    found = dose_behind(moment, "reef", swing(sign * 0.65, 610), blocks_every(60, 610))
    assert isinstance(found, DoseFault)
    assert ("carbonate", sign > 0) == (found.pump, found.excess)
    assert pytest.approx(0.6 * DKH, rel=1e-3) == found.dose


@pytest.mark.parametrize(("size", "dose"), [(0.61, 0.6), (0.69, 0.7)])
def test_the_dose_nearest_in_size_is_named(size: float, dose: float) -> None:
    """Of two that came then."""
    moment = dosed((590.0, 0.7), (595.0, 0.6))
    found = dose_behind(moment, "reef", swing(size, 610), blocks_every(60, 610))
    assert isinstance(found, DoseFault)
    assert pytest.approx(dose * DKH, rel=1e-3) == found.dose


@pytest.mark.parametrize(
    ("dose", "tank"),
    [((300.0, 0.6), "reef"), ((590.0, 0.2), "reef"), ((590.0, 1.2), "reef")],
)
def test_a_dose_of_another_time_or_size_is_not_behind_it(dose: Dose, tank: str) -> None:
    """Too early, too small to be a swing, or twice as large."""
    moment = dosed(dose)
    assert dose_behind(moment, tank, swing(0.6, 610), blocks_every(60, 610)) is None


def test_a_swing_that_begins_with_the_series_has_no_reading_before_it() -> None:
    """Then half an hour before its first reading is looked at."""
    moment = dosed((590.0, 0.6))
    assert dose_behind(moment, "reef", swing(0.6, 610), []) is not None
    assert dose_behind(moment, "reef", swing(0.6, 630), []) is None


@pytest.mark.parametrize(
    ("sd_dkh", "points", "reach_dkh"), [(0.4, 4, 0.4), (0.9, 9, 0.6), (0.1, 4, 0.12)]
)
@pytest.mark.parametrize("sign", [1, -1])
def test_the_size_may_differ_by_two_errors_of_its_middle(
    sd_dkh: float, points: int, reach_dkh: float, sign: int
) -> None:
    """The error of one reading over the root of their number, 0.06 dKH at least."""
    moment, read = dosed((590.0, 1.0)), blocks_every(60, 610)
    found = [
        dose_behind(moment, "reef", swing(sign * size, 610, points, sd_dkh), read)
        for part in (0.99, 1.01)
        for size in (1.0 - part * reach_dkh, 1.0 + part * reach_dkh)
    ]
    assert [False, False, True, True] == [one is None for one in found]


def test_a_dose_two_errors_smaller_than_the_swing_is_behind_it() -> None:
    """A rise of 1 meq/L with an error of 0.25, and a dose of exactly half of it."""
    moment = dosed((590.0, 0.6))
    ((name, closed),) = moment.state.closed.items()
    half = int(0.5 * moment.machine.tanks["reef"].net_ul * 1000)
    moment.state.closed[name] = replace(closed, effects={"alkalinity": half})
    one = replace(swing(1.0, 610, points=1), size=1.0, sd=0.25)
    assert dose_behind(moment, "reef", one, blocks_every(60, 610)) is not None


@pytest.mark.parametrize(
    ("dose_s", "is_behind"),
    [(-5401, False), (-5400, True), (1800, True), (1801, False)],
)
def test_a_dose_counts_from_half_an_hour_before_the_reading_before_to_half_after(
    dose_s: int, is_behind: bool
) -> None:
    """Read by the hour: from an hour and a half before the swing to half one after.

    Seen a day and a half later, by the clock that tells how long ago a dose ended.
    """
    moment = dosed((590.0, 0.6))
    ((name, closed),) = moment.state.closed.items()
    begins_ms = 600 * 60_000
    at_ms = begins_ms + 1000 * dose_s
    moment.state.closed[name] = replace(closed, proven_ms=at_ms)
    later_ms = 36 * 3_600_000
    now = replace(moment.now, utc=utc(600) + timedelta(milliseconds=later_ms))
    later = replace(moment, now=now, proven_ms=begins_ms + later_ms)
    # The reading that the swing begins with is none before it.
    read = blocks_every(60, 661)
    assert is_behind == (dose_behind(later, "reef", swing(0.6, 600), read) is not None)


def test_a_dose_of_another_tank_or_kind_is_not_behind_it() -> None:
    """A calcium dose, and one into the other tank."""
    moment = dosed((590.0, 0.6))
    ((name, closed),) = moment.state.closed.items()
    for other in (replace(closed, tank="two"), replace(closed, effects={})):
        moment.state.closed[name] = other
        none = dose_behind(moment, "reef", swing(0.6, 610), blocks_every(60, 610))
        assert none is None
        moment.state.closed["later"] = closed
        found = dose_behind(moment, "reef", swing(0.6, 610), blocks_every(60, 610))
        assert found is not None
        del moment.state.closed["later"]
