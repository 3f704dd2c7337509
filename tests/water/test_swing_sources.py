"""What the swing detector counts with, against worked examples and libraries."""

from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from slackwater.water.statistics import (
    all_sums,
    noise,
    noise_robust,
    outliers_hampel1974,
)
from slackwater.water.trends import slope_theil1950

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3, "CUSUM Control Charts":
# the twenty means of the worked example, aimed at 325 with k = 0.3175, and its columns
# of both sums, printed to two figures. From memory; each row follows from the one
# before it, which this test repeats.
NIST_MEANS = (
    *(324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525),
    *(325.225, 324.600, 324.625, 325.150, 328.325, 327.250, 327.825, 328.500),
    *(326.675, 327.775, 326.875, 328.350),
)
NIST_AIM, NIST_K, NIST_H = 325.0, 0.3175, 4.1959
NIST_HIGH = (
    *(0.00, 0.00, 0.00, 0.00, 0.03, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00),
    *(3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04),
)
NIST_LOW = (
    *(0.00, 0.01, 0.00, 0.33, 0.00, 0.00, 0.56, 0.72, 0.17, 0.25, 0.31, 0.00),
    *(0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00),
)
PRINTED = 0.0051

# Montgomery and Runger, Applied Statistics and Probability for Engineers, table 16-8:
# twenty concentrations aimed at 99 with K = 1 and H = 10, printed to one figure.
TEXTBOOK = (
    *(102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1),
    *(101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0),
)
TEXTBOOK_HIGH = (
    *(2.0, 0.0, 0.0, 0.0, 2.0, 0.5, 0.0, 0.0, 0.0, 0.0),
    *(1.3, 0.0, 1.1, 0.0, 0.0, 0.0, 0.3, 1.7, 0.0, 1.0),
)
TEXTBOOK_LOW = (
    *(0.0, 3.2, 2.9, 2.5, 0.0, 0.0, 0.0, 0.3, 0.0, 0.0),
    *(0.0, 0.0, 0.0, 0.0, 1.0, 2.3, 0.0, 0.0, 0.8, 0.0),
)


def test_the_sums_are_those_of_the_nist_handbook() -> None:
    """Both columns, and the fourteenth mean is the first beyond the limit."""
    sums = all_sums([mean - NIST_AIM for mean in NIST_MEANS], NIST_K)
    assert pytest.approx(NIST_HIGH, abs=PRINTED) == tuple(one.up for one in sums)
    assert pytest.approx(NIST_LOW, abs=PRINTED) == tuple(one.down for one in sums)
    beyond = [place for place, one in enumerate(sums, 1) if one.is_alarm(NIST_H)]
    assert list(range(14, 21)) == beyond


def test_the_sums_are_those_of_a_textbook() -> None:
    """Both columns; neither ever reaches the limit."""
    sums = all_sums([value - 99.0 for value in TEXTBOOK], 1.0)
    assert pytest.approx(TEXTBOOK_HIGH, abs=1e-9) == tuple(one.up for one in sums)
    assert pytest.approx(TEXTBOOK_LOW, abs=1e-9) == tuple(one.down for one in sums)
    assert not any(one.is_alarm(10.0) for one in sums)


def alkalinity(seed: int, count: int = 40) -> list[float]:
    """Invented readings in dKH with noise, a little drift and gross outliers."""
    chance = Random(seed)  # noqa: S311 -- a simulation, no secret
    values = [8.0 + 0.01 * n + chance.gauss(0, 0.1) for n in range(count)]
    for _ in range(3):
        values[chance.randrange(count)] += chance.choice((-1, 1)) * 1.5
    return values


@pytest.mark.parametrize("seed", range(20))
def test_noise_is_the_median_of_successive_differences(seed: int) -> None:
    """Oracle: numpy.diff and scipy's normal quantile at three quarters."""
    values = alkalinity(seed)
    typical = float(np.median(np.abs(np.diff(values))))
    library = typical / float(stats.norm.ppf(0.75)) / np.sqrt(2)
    assert pytest.approx(library, rel=1e-4) == noise_robust(values)
    assert noise_robust(values) == noise(values, resolution=1e-6)
    assert 0.5 == noise(values, resolution=1.0)


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("window", [7, 11])
def test_outliers_are_those_of_the_library(seed: int, window: int) -> None:
    """Oracle: scipy.stats.median_abs_deviation, scaled for normal values."""
    values = np.array(alkalinity(seed))
    expected = []
    for place in range(len(values)):
        first = max(0, min(place - window // 2, len(values) - window))
        near = values[first : first + window]
        sd = max(float(stats.median_abs_deviation(near, scale="normal")), 0.05)
        if abs(values[place] - np.median(near)) > 3 * sd:
            expected.append(place)
    found = outliers_hampel1974(list(values), sd_floor=0.05, window=window)
    assert tuple(expected) == found
    assert expected


@given(seed=st.integers(0, 10_000), count=st.integers(8, 28))
def test_the_slope_of_a_week_is_that_of_the_library(seed: int, count: int) -> None:
    """Oracle: scipy.stats.theilslopes; six-hour medians, as the detector draws them."""
    days = [0.25 * n for n in range(count)]
    values = alkalinity(seed, count)
    library = stats.theilslopes(values, days, 0.95)
    found = slope_theil1950(days, values)
    assert pytest.approx(library.slope) == found.slope
    assert pytest.approx(library.low_slope) == found.low
    assert pytest.approx(library.high_slope) == found.high
