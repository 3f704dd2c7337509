"""What is called a fault of a probe or of a dose, and what is not."""

from dataclasses import replace

import pytest

from slackwater.facts.courses import Block, Course
from slackwater.gate.moment import Moment
from slackwater.gate.swings.faults import (
    CALMED,
    DOUBLED,
    DOUBLED_SLOW,
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


def test_h49_two_equal_readings_are_never_frozen() -> None:
    """Even of a probe that never showed any."""
    assert frozen(repeating(2, pairs=2000, equal=0), HOURLY) is None


def test_what_only_repeats_is_no_retest() -> None:
    """From a chance of one in twenty on; of a quick probe by the half hour."""
    assert 0 == repeated_blocks(repeating(1), HOURLY)
    assert 0 == repeated_blocks(repeating(2), HOURLY)
    assert 2 == repeated_blocks(repeating(3), HOURLY)
    assert 1 == repeated_blocks(repeating(9), QUICK)


def test_replicates_that_contradict_each_other_are_a_fault_of_the_probe() -> None:
    """Within half an hour, more than three times the noise apart."""
    far, near = 3 * MODEL_SD + 0.001, 3 * MODEL_SD - 0.001
    assert contradicts_itself(Course(open=[3.0, 3.0 + near]), HOURLY, 0.0) is None
    found = fault(contradicts_itself(Course(open=[3.0, 3.0 + far]), HOURLY, 0.0))
    assert "replicates" == found.how
    assert contradicts_itself(Course(open=[3.0, 3.0 + far]), HOURLY, 0.1) is None
    assert contradicts_itself(Course(open=[3.0, 3.0 + far]), QUICK, 0.0) is None


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
    assert rough(jumping(JUMP, DOUBLED * JUMP * 0.99), QUICK, 0.0) is None
    found = fault(rough(jumping(JUMP, DOUBLED * JUMP * 1.01), QUICK, 0.0))
    assert "noise" == found.how
    assert pytest.approx(LEAST_NOISE) == found.usual_noise
    noise = found.figures["noise_meq_per_l"]
    assert pytest.approx(DOUBLED * 1.01 * LEAST_NOISE, abs=1e-4) == noise


def test_little_noise_is_no_fault_however_quiet_it_was() -> None:
    """Below a fifth of a dKH."""
    assert rough(jumping(JUMP / 10, JUMP * 0.99), QUICK, 0.0) is None
    assert rough(jumping(JUMP / 10, JUMP * 1.01), QUICK, 0.0) is not None


def test_a_noisy_probe_stays_one_until_it_has_calmed() -> None:
    """Beside the noise the fault remembers; what is usual has become loud itself."""
    calm, loud = CALMED * JUMP * 0.99, CALMED * JUMP * 1.01
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
    quiet = Habit(now=DOUBLED_SLOW * LEAST_NOISE * 0.99, usual=LEAST_NOISE)
    assert restless(quiet, 0.0) is None
    assert restless(replace(quiet, now=DOUBLED_SLOW * LEAST_NOISE * 1.01), 0.0)


def swing(size_dkh: float, minute: float, points: int = 4) -> Swing:
    """A swing that began at a minute."""
    return Swing(
        size=size_dkh * DKH,
        sd=0.1 * DKH,
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


def test_the_dose_nearest_in_size_is_named() -> None:
    """Of two that came then."""
    moment = dosed((590.0, 0.7), (595.0, 0.6))
    found = dose_behind(moment, "reef", swing(0.61, 610), blocks_every(60, 610))
    assert isinstance(found, DoseFault)
    assert pytest.approx(0.6 * DKH, rel=1e-3) == found.dose


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


def test_a_dose_of_another_tank_or_kind_is_not_behind_it() -> None:
    """A calcium dose, and one into the other tank."""
    moment = dosed((590.0, 0.6))
    ((name, closed),) = moment.state.closed.items()
    for other in (replace(closed, tank="two"), replace(closed, effects={})):
        moment.state.closed[name] = other
        none = dose_behind(moment, "reef", swing(0.6, 610), blocks_every(60, 610))
        assert none is None
