"""The daily cycle against a reference library and by simulation."""

from math import cos, nan, pi
from random import Random

import numpy as np
import pytest

from slackwater.errors import OutOfRangeError
from slackwater.water.daily_cycle import daily_cycle_lomb1976, widest_hole_hours

DAYS = [0.1, 0.4, 0.75, 1.05, 1.5, 1.9, 2.2, 2.6, 3.3, 4.0, 4.7, 5.85]


def wave(days: list[float], *, noise: float = 0.0, seed: int = 1) -> list[float]:
    """A level that falls slowly and is highest at 18 o'clock."""
    chance = Random(seed)  # noqa: S311 - a simulation, no secret
    return [
        8.0
        - 0.02 * day
        + 0.3 * cos(2 * pi * (day - 0.75))
        + (chance.gauss(0, noise) if noise else 0.0)
        for day in days
    ]


def test_a_clean_wave_is_found_as_it_is() -> None:
    """Amplitude, hour of the top and slope come back."""
    found = daily_cycle_lomb1976(DAYS, wave(DAYS))
    assert found is not None
    assert pytest.approx((0.3, 18.0, -0.02)) == (
        found.amplitude,
        found.top_hour,
        found.slope,
    )
    assert pytest.approx(0.0, abs=1e-9) == found.residual_sd


@pytest.mark.parametrize("seed", range(6))
def test_the_wave_is_that_of_the_library(seed: int) -> None:
    """Oracle: numpy.linalg.lstsq, errors by the delta method."""
    values = wave(DAYS, noise=0.1, seed=seed)
    turns = [2 * pi * day for day in DAYS]
    rows = np.array(
        [[1.0, d, np.cos(w), np.sin(w)] for d, w in zip(DAYS, turns, strict=True)]
    )
    factors = np.linalg.lstsq(rows, np.array(values), rcond=None)[0]
    variance = float(np.sum((values - rows @ factors) ** 2)) / (len(DAYS) - 4)
    covariance = variance * np.linalg.inv(rows.T @ rows)[2:, 2:]
    size = float(np.hypot(factors[2], factors[3]))
    along = factors[2:] / size
    found = daily_cycle_lomb1976(DAYS, values)
    assert found is not None
    assert pytest.approx(size) == found.amplitude
    assert (
        pytest.approx(float(np.sqrt(along @ covariance @ along))) == found.amplitude_sd
    )
    assert pytest.approx(float(factors[1])) == found.slope
    assert pytest.approx(variance**0.5) == found.residual_sd


def test_the_error_is_as_large_as_the_estimates_scatter() -> None:
    """Three hundred simulated weeks, noise 0.1."""
    found = [
        daily_cycle_lomb1976(DAYS, wave(DAYS, noise=0.1, seed=n)) for n in range(300)
    ]
    sizes = [cycle.amplitude for cycle in found if cycle]
    errors = [cycle.amplitude_sd for cycle in found if cycle]
    assert 300 == len(sizes)
    assert pytest.approx(float(np.std(sizes)), rel=0.15) == float(np.mean(errors))


def test_a_still_level_has_no_wave_and_a_plain_error() -> None:
    """No direction is the wave's own, and nothing is divided by 0."""
    found = daily_cycle_lomb1976(DAYS, [8.0] * len(DAYS))
    assert found is not None
    assert pytest.approx(0.0, abs=1e-9) == found.amplitude
    assert pytest.approx(0.0, abs=1e-9) == found.amplitude_sd


def test_testing_at_one_hour_hides_the_wave() -> None:
    """Every evening at the same time, and twice a day in office hours."""
    evenings = [n + 0.8 for n in range(14)]
    office = [n + part for n in range(7) for part in (0.38, 0.7)]
    assert daily_cycle_lomb1976(evenings, wave(evenings)) is None
    assert daily_cycle_lomb1976(office, wave(office)) is None


def test_three_tests_a_day_show_the_wave() -> None:
    """Morning, afternoon and late evening leave no wide hole."""
    days = [n + part for n in range(3) for part in (1 / 3, 14 / 24, 22 / 24)]
    found = daily_cycle_lomb1976(days, wave(days))
    assert found is not None
    assert pytest.approx(0.3) == found.amplitude


@pytest.mark.parametrize("count", range(8))
def test_seven_tests_show_no_wave(count: int) -> None:
    """A wave on a line has four unknowns; common practice, no source, asks for 8."""
    assert daily_cycle_lomb1976(DAYS[:count], wave(DAYS[:count])) is None


@pytest.mark.parametrize(
    ("days", "hours"), [([0.5], 24.0), ([0.25, 3.75], 12.0), ([0.0, 1.5, 2.25], 12.0)]
)
def test_the_hole_in_the_clock_goes_over_midnight(
    days: list[float], hours: float
) -> None:
    """A single test leaves the whole clock."""
    assert pytest.approx(hours) == widest_hole_hours(days)


def test_tests_out_of_order_are_refused() -> None:
    """As is what is no number, and no test at all."""
    with pytest.raises(OutOfRangeError):
        daily_cycle_lomb1976([1.0, 0.5], [8.0, 8.0])
    with pytest.raises(OutOfRangeError):
        daily_cycle_lomb1976([0.5, 1.0], [8.0, nan])
    with pytest.raises(OutOfRangeError):
        widest_hole_hours([])
