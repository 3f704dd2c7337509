"""Noise, outliers, ranges and sums against a library and by simulation."""

from collections.abc import Callable
from itertools import pairwise
from math import inf, nan, sqrt
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from slackwater.errors import OutOfRangeError
from slackwater.water.statistics import (
    Sums,
    all_sums,
    check_pairs,
    cusum_page1954,
    hourly_medians,
    median,
    median_deviation,
    noise,
    noise_robust,
    noise_vonneumann1941,
    outliers_hampel1974,
    range_test,
    run_length_siegmund1985,
)

READINGS = st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40)


def gaussian(count: int, *, seed: int = 1) -> list[float]:
    """Standard normal values, the same for every run."""
    chance = Random(seed)  # noqa: S311 - a simulation, no secret
    return [chance.gauss(0.0, 1.0) for _ in range(count)]


@given(values=READINGS)
def test_the_median_is_that_of_the_library(values: list[float]) -> None:
    """Oracle: numpy.median."""
    assert pytest.approx(float(np.median(values))) == median(values)


@given(values=READINGS)
def test_the_median_deviation_is_that_of_the_library(values: list[float]) -> None:
    """Oracle: scipy.stats.median_abs_deviation times 1.4826."""
    library = 1.4826 * float(stats.median_abs_deviation(values))
    assert pytest.approx(library, abs=1e-9) == median_deviation(values)


@pytest.mark.parametrize("drift", [0.0, 0.01])
@pytest.mark.parametrize("estimate", [noise_vonneumann1941, noise_robust])
def test_noise_is_found_under_a_slow_drift(
    estimate: Callable[[list[float]], float], drift: float
) -> None:
    """Four thousand normal values of deviation 0.1, simulated."""
    values = [drift * n + 0.1 * z for n, z in enumerate(gaussian(4000))]
    assert pytest.approx(0.1, rel=0.05) == estimate(values)


def test_outliers_hardly_move_the_robust_noise() -> None:
    """Three gross readings in a hundred, simulated; the other estimate trebles."""
    values = [0.1 * z for z in gaussian(400)]
    for place in range(0, 400, 33):
        values[place] += 2.0
    assert pytest.approx(0.1, rel=0.2) == noise_robust(values)
    assert noise_vonneumann1941(values) > 0.3


def test_a_still_instrument_is_not_without_noise() -> None:
    """Half of what it resolves is the least."""
    assert pytest.approx(0.05) == noise([8.0, 8.0, 8.0], resolution=0.1)
    assert pytest.approx(1.4826 * 0.4 / sqrt(2)) == noise(
        [8.0, 8.4, 8.0], resolution=0.1
    )


def test_a_far_reading_is_marked_and_kept() -> None:
    """Places only; nothing is taken out."""
    values = [8.0, 8.1, 8.0, 7.9, 9.4, 8.0, 8.1]
    assert (4,) == outliers_hampel1974(values, sd_floor=0.05)


def test_a_level_that_moves_slowly_is_no_outlier() -> None:
    """Neighbours are judged, not the whole series."""
    values = [8.0 + 0.05 * n for n in range(60)]
    assert () == outliers_hampel1974(values, sd_floor=0.03)


@pytest.mark.parametrize("place", [0, 1, 15, 28, 29])
def test_an_outlier_is_found_anywhere(place: int) -> None:
    """Also at both ends, where neighbours stand on one side."""
    values = [8.0 + 0.02 * (n % 3) for n in range(30)]
    values[place] += 1.0
    assert (place,) == outliers_hampel1974(values, sd_floor=0.05, window=9)


def test_a_still_instrument_makes_no_outliers_of_single_steps() -> None:
    """The least noise holds where the deviation is 0."""
    values = [8.0, 8.0, 8.0, 8.1, 8.0, 8.0, 8.0]
    assert () == outliers_hampel1974(values, sd_floor=0.05)
    assert (3,) == outliers_hampel1974(values, sd_floor=0.03)


@pytest.mark.parametrize("values", [[], [8.0], [8.0, 8.1]])
def test_a_short_series_has_no_outlier(values: list[float]) -> None:
    """Two readings cannot outvote each other."""
    assert () == outliers_hampel1974(values, sd_floor=0.1)


@pytest.mark.parametrize("window", [6, 12])
def test_a_window_outside_the_practice_is_refused(window: int) -> None:
    """Seven to eleven readings, Hampel 1974 in practice."""
    with pytest.raises(OutOfRangeError, match="the window"):
        outliers_hampel1974([8.0], sd_floor=0.1, window=window)


def test_a_range_beyond_its_limit_is_a_swing() -> None:
    """Seven values of noise 0.1 range 0.27 on average and rarely above 0.49."""
    still = range_test([8.0, 8.1, 8.2, 8.3, 8.2, 8.1, 8.48], 0.1)
    assert not still.is_swing
    assert pytest.approx(0.2704, abs=1e-4) == still.expected
    assert range_test([8.0, 8.1, 8.2, 8.3, 8.2, 8.1, 8.5], 0.1).is_swing


def test_one_range_in_a_hundred_is_a_false_alarm() -> None:
    """Five thousand stretches of ten normal values, simulated."""
    values = gaussian(50_000, seed=2)
    stretches = [values[n : n + 10] for n in range(0, 50_000, 10)]
    alarms = sum(range_test(stretch, 1.0).is_swing for stretch in stretches)
    assert 30 < alarms < 75


def test_raw_readings_range_far_where_hourly_medians_do_not() -> None:
    """A reading each five minutes for a day, noise 0.1 dKH, simulated."""
    values = [8.0 + 0.1 * z for z in gaussian(288, seed=3)]
    hours = [n / 12 for n in range(288)]
    medians = [value for _, value in hourly_medians(hours, values)]
    assert 24 == len(medians)
    assert max(values) - min(values) > 0.5
    assert max(medians) - min(medians) < 0.2


def test_an_hour_without_a_reading_has_no_median() -> None:
    """Hours below 0 and gaps are as good as any."""
    found = hourly_medians([-0.5, 2.0, 2.5, 2.9], [1.0, 4.0, 6.0, 5.0])
    assert ((-1, 1.0), (2, 5.0)) == found


@given(errors=st.lists(st.floats(-5, 5), max_size=60))
def test_the_sums_are_those_of_the_definition(errors: list[float]) -> None:
    """Page 1954: the sum is how far the walk stands above its lowest point."""
    walk = [0.0]
    for z in errors:
        walk.append(walk[-1] + z - 0.5)
    expected = [walk[n] - min(walk[: n + 1]) for n in range(1, len(walk))]
    assert pytest.approx(expected, abs=1e-9) == [sums.up for sums in all_sums(errors)]


@given(errors=st.lists(st.floats(-5, 5), max_size=60))
def test_the_sums_are_symmetric(errors: list[float]) -> None:
    """What is up for a series is down for its mirror."""
    mirror = all_sums([-z for z in errors])
    assert [sums.up for sums in all_sums(errors)] == [sums.down for sums in mirror]


def test_an_alarm_is_above_the_threshold() -> None:
    """Five on either side is not yet one."""
    assert not Sums(up=5.0).is_alarm()
    assert Sums(up=5.1).is_alarm()
    assert Sums(down=5.1).is_alarm()
    assert Sums(down=4.5).is_alarm(threshold=4.0)


# Montgomery, Introduction to Statistical Quality Control: tabular sums, k = 0.5.
@pytest.mark.parametrize(
    ("threshold", "shift", "printed"),
    [(4.0, 0.0, 336.0), (5.0, 0.0, 930.0), (5.0, 1.0, 10.4), (4.0, 2.0, 3.34)],
)
def test_run_lengths_are_the_printed_ones(
    threshold: float, shift: float, printed: float
) -> None:
    """Siegmund's approximation is within 5 percent of the tables (from memory)."""
    length = run_length_siegmund1985(threshold, shift=shift)
    assert pytest.approx(printed, rel=0.05) == length


def test_run_length_of_a_shift_as_large_as_the_slack() -> None:
    """The formula's limit at no drift is the square of the reach."""
    beside = run_length_siegmund1985(shift=0.5 + 1e-4)
    assert pytest.approx(beside, rel=1e-2) == run_length_siegmund1985(shift=0.5)


def test_false_alarms_are_as_rare_as_the_formula_says() -> None:
    """Two hundred thousand normal values, both sums, simulated."""
    alarms, sums = 0, Sums()
    for z in gaussian(200_000, seed=4):
        sums = cusum_page1954(sums, z)
        if sums.is_alarm():
            alarms, sums = alarms + 1, Sums()
    assert pytest.approx(run_length_siegmund1985() / 2, rel=0.15) == 200_000 / alarms


@pytest.mark.parametrize(
    "call",
    [
        lambda: median([]),
        lambda: median([nan]),
        lambda: median_deviation([]),
        lambda: noise_vonneumann1941([8.0]),
        lambda: noise_robust([8.0]),
        lambda: noise([8.0, 8.1], resolution=0.0),
        lambda: outliers_hampel1974([8.0], sd_floor=0.0),
        lambda: outliers_hampel1974([inf], sd_floor=0.1),
        lambda: range_test([8.0], 0.1),
        lambda: range_test([8.0, 8.1], 0.0),
        lambda: range_test([8.0] * 31, 0.1),
        lambda: hourly_medians([1.0, 2.0], [8.0]),
        lambda: hourly_medians([nan], [8.0]),
        lambda: cusum_page1954(Sums(), nan),
        lambda: all_sums([inf]),
        lambda: run_length_siegmund1985(0.0),
        lambda: run_length_siegmund1985(slack=0.0),
        lambda: check_pairs([1.0], [1.0], 2),
    ],
)
def test_what_cannot_be_reckoned_is_refused(call: Callable[[], object]) -> None:
    """Too few, not finite, or of unequal length."""
    with pytest.raises(OutOfRangeError):
        call()


def test_successive_differences_ignore_where_a_series_stands() -> None:
    """Noise is the same at any level."""
    values = gaussian(50, seed=5)
    raised = [value + 1000 for value in values]
    assert pytest.approx(noise_vonneumann1941(values)) == noise_vonneumann1941(raised)
    squares = sum((after - before) ** 2 for before, after in pairwise(values))
    assert pytest.approx(sqrt(squares / 98)) == noise_vonneumann1941(values)
