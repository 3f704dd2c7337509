"""Quantiles against a reference library and printed tables."""

from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from slackwater.errors import OutOfRangeError
from slackwater.water.quantiles import (
    RANGE_LIMITS_99,
    RANGE_MEANS,
    normal_probability,
    normal_quantile_wichura1988,
    range_limit_harter1960,
    range_mean_tippett1925,
    student_probability_abramowitz1964,
    student_quantile,
)

PROBABILITIES = [1e-12, 1e-6, 0.005, 0.025, 0.05, 0.4, 0.5, 0.6, 0.9, 0.975, 0.9999]
DEGREES = [1, 2, 3, 4, 5, 7, 8, 12, 29, 30, 100]


@pytest.mark.parametrize("probability", PROBABILITIES)
def test_normal_quantiles_are_those_of_the_library(probability: float) -> None:
    """Oracle: scipy.stats.norm, all three branches of AS 241."""
    library = float(stats.norm.ppf(probability))
    near = pytest.approx(library, rel=1e-12, abs=1e-14)
    assert near == normal_quantile_wichura1988(probability)


def test_a_quantile_far_out_is_still_exact() -> None:
    """Oracle: scipy.stats.norm at 1e-30, the tail branch of AS 241."""
    far = normal_quantile_wichura1988(1e-30)
    assert pytest.approx(float(stats.norm.ppf(1e-30)), rel=1e-12) == far


@pytest.mark.parametrize("z", [-9.0, -1.96, 0.0, 0.3, 2.5758])
def test_normal_shares_are_those_of_the_library(z: float) -> None:
    """Oracle: scipy.stats.norm, also far out on the low side."""
    near = pytest.approx(float(stats.norm.cdf(z)), rel=1e-12)
    assert near == normal_probability(z)


@pytest.mark.parametrize("degrees", DEGREES)
@pytest.mark.parametrize("t", [-7.5, -1.0, 0.0, 0.25, 1.96, 4.0, 60.0])
def test_student_shares_are_those_of_the_library(t: float, degrees: int) -> None:
    """Oracle: scipy.stats.t, odd and even degrees of freedom."""
    near = pytest.approx(float(stats.t.cdf(t, degrees)), abs=1e-13)
    assert near == student_probability_abramowitz1964(t, degrees)


@pytest.mark.parametrize("degrees", DEGREES)
@pytest.mark.parametrize("probability", [0.005, 0.05, 0.5, 0.9, 0.95, 0.975, 0.995])
def test_student_quantiles_are_those_of_the_library(
    probability: float, degrees: int
) -> None:
    """Oracle: scipy.stats.t."""
    library = float(stats.t.ppf(probability, degrees))
    near = pytest.approx(library, rel=1e-9, abs=1e-12)
    assert near == student_quantile(probability, degrees)


# Abramowitz and Stegun 1964, table 26.10, as printed.
@pytest.mark.parametrize(
    ("degrees", "printed"), [(1, 12.706), (2, 4.303), (5, 2.571), (8, 2.306)]
)
def test_student_quantiles_are_the_printed_ones(degrees: int, printed: float) -> None:
    """The 95 percent two-sided column."""
    assert printed == pytest.approx(student_quantile(0.975, degrees), abs=5e-4)


@pytest.mark.parametrize("count", range(2, 31))
def test_range_limits_are_those_of_the_library(count: int) -> None:
    """Oracle: scipy.stats.studentized_range with endless degrees of freedom."""
    library = float(stats.studentized_range.ppf(0.99, count, inf))
    assert pytest.approx(library, abs=6e-5) == range_limit_harter1960(count)


@pytest.mark.parametrize("count", range(2, 31))
def test_range_means_are_tippetts_integral(count: int) -> None:
    """Tippett 1925: the integral of 1 - F^n - (1 - F)^n."""

    def outside(z: float) -> float:
        share = float(stats.norm.cdf(z))
        return 1.0 - share**count - (1.0 - share) ** count

    integral = float(integrate.quad(outside, -12, 12, limit=200)[0])
    assert pytest.approx(integral, abs=6e-6) == range_mean_tippett1925(count)


# Control-chart constant d2 as printed in textbooks of quality control.
@pytest.mark.parametrize(
    ("count", "printed"), [(2, 1.128), (5, 2.326), (10, 3.078), (25, 3.931)]
)
def test_range_means_are_the_printed_ones(count: int, printed: float) -> None:
    """Three decimals, as printed."""
    assert printed == round(range_mean_tippett1925(count), 3)


def test_the_tables_rise() -> None:
    """More values lie further apart, and the limit lies above the mean."""
    assert list(RANGE_MEANS) == sorted(RANGE_MEANS)
    assert list(RANGE_LIMITS_99) == sorted(RANGE_LIMITS_99)
    assert all(
        limit > mean for limit, mean in zip(RANGE_LIMITS_99, RANGE_MEANS, strict=True)
    )


@given(probability=st.floats(1e-300, 1 - 1e-12))
def test_a_quantile_leads_back_to_its_share(probability: float) -> None:
    """Quantile and share undo each other."""
    z = normal_quantile_wichura1988(probability)
    assert pytest.approx(probability, rel=1e-9) == normal_probability(z)


@pytest.mark.parametrize("probability", [0.0, 1.0, -0.1, 1.5, nan])
def test_certainty_has_no_quantile(probability: float) -> None:
    """0 and 1 lie at infinity."""
    with pytest.raises(OutOfRangeError, match="above 0 and below 1"):
        normal_quantile_wichura1988(probability)
    with pytest.raises(OutOfRangeError, match="above 0 and below 1"):
        student_quantile(probability, 5)


def test_no_degree_of_freedom_is_refused() -> None:
    """Two tests leave nothing to tell the noise by."""
    with pytest.raises(OutOfRangeError, match="1 or more"):
        student_quantile(0.9, 0)
    with pytest.raises(OutOfRangeError, match="1 or more"):
        student_probability_abramowitz1964(1.0, 0)


@pytest.mark.parametrize("count", [-1, 0, 1, 31])
def test_a_count_outside_the_tables_is_refused(count: int) -> None:
    """Nothing is guessed beyond the printed rows."""
    with pytest.raises(OutOfRangeError, match="2 to 30"):
        range_limit_harter1960(count)
    with pytest.raises(OutOfRangeError, match="2 to 30"):
        range_mean_tippett1925(count)


@pytest.mark.parametrize("number", [nan, inf])
def test_what_is_no_number_has_no_share(number: float) -> None:
    """NaN and infinity are refused, not answered with 1."""
    with pytest.raises(OutOfRangeError):
        normal_probability(number)
    with pytest.raises(OutOfRangeError):
        student_probability_abramowitz1964(number, 3)
