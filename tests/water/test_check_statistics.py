"""Worked examples of noise, outliers, slopes and uptake, one test an example."""

from itertools import pairwise

import pytest

from slackwater.water.quantiles import range_limit_harter1960, range_mean_tippett1925
from slackwater.water.statistics import (
    all_sums,
    median,
    median_deviation,
    noise_robust,
    noise_vonneumann1941,
    outliers_hampel1974,
    range_test,
    run_length_siegmund1985,
)
from slackwater.water.trends import least_squares, slope_sd
from slackwater.water.uptake import (
    Steady,
    added_until,
    balance,
    uptake_between,
    uptake_by_known_errors,
    uptake_by_least_squares,
    uptake_by_median_slope,
)
from slackwater.water.uptake_belief import Addition, Reading, Tuning
from slackwater.water.uptake_filter import Estimate, estimated
from tests.water.checks import Example, agree, params


@pytest.mark.parametrize("example", params("hampel"))
def test_an_outlier_is_marked(example: Example) -> None:
    """Median, deviation and place."""
    values = example.numbers("x")
    agree(
        example,
        {
            "median": median(values),
            "scaled_MAD": median_deviation(values),
            "outlier_indices": outliers_hampel1974(values, sd_floor=0.05),
        },
    )


@pytest.mark.parametrize("example", params("noise-sd"))
def test_noise_is_seen_in_differences(example: Example) -> None:
    """Both estimates."""
    values = example.numbers("x")
    agree(
        example,
        {
            "von_neumann_sd": noise_vonneumann1941(values),
            "robust_sd": noise_robust(values),
        },
    )


@pytest.mark.parametrize("example", params("range-d2"))
def test_noise_alone_has_a_range(example: Example) -> None:
    """For each count of values."""
    counts = [int(count) for count in example.numbers("n")]
    agree(example, {f"d2_{count}": range_mean_tippett1925(count) for count in counts})


@pytest.mark.parametrize("example", params("range-limit"))
def test_noise_alone_rarely_passes_its_limit(example: Example) -> None:
    """Once in a hundred."""
    count = int(example.number("n"))
    assert 0.99 == example.number("confidence")
    limit = range_test([0.0] * count, example.number("sigma")).limit
    agree(example, {"q": range_limit_harter1960(count), "range_limit": limit})


@pytest.mark.parametrize("example", params("cusum"))
def test_a_step_is_found_by_its_sums(example: Example) -> None:
    """The sums one by one, and how rarely they are wrong."""
    if example.id == "cusum-arl":
        lengths = {
            f"h{h:g}": run_length_siegmund1985(
                h, slack=example.number("k"), shift=example.number("shift_sigma")
            )
            for h in example.numbers("h")
        }
        agree(
            example,
            {
                f"{sides}_sided_{h}": length / share
                for h, length in lengths.items()
                for sides, share in (("one", 1), ("two", 2))
            },
        )
        return
    target, sigma = example.number("target"), example.number("sigma")
    errors = [(value - target) / sigma for value in example.numbers("x")]
    sums = all_sums(errors, example.number("k"))
    alarms = [
        place for place, one in enumerate(sums) if one.is_alarm(example.number("h"))
    ]
    agree(
        example,
        {
            "S_plus": [one.up for one in sums],
            "S_minus": [one.down for one in sums],
            "alarm_index": alarms[0],
        },
    )


@pytest.mark.parametrize("example", params("slope-se"))
def test_a_design_shows_its_error(example: Example) -> None:
    """Before the first test is taken."""
    days, sigma = example.numbers("days"), example.number("sigma_dKH")
    found = slope_sd(days, sigma)
    agree(example, {"sum_sq_dev": (sigma / found) ** 2, "slope_se": found})


def doses(example: Example) -> list[Steady]:
    """The schedule of an example."""
    return [
        Steady(
            from_day=float(str(row["from_day"])),
            to_day=float(str(row["to_day"])),
            per_day=float(str(row["dKH_per_day"])),
        )
        for row in example.rows("dose_schedule")
    ]


@pytest.mark.parametrize(
    "example",
    params("uptake-constant-dose", "uptake-dose-step", "uptake-with-outlier"),
)
def test_uptake_is_what_the_doses_hide(example: Example) -> None:
    """By least squares and by the median slope, with their intervals."""
    days, levels = example.numbers("t_days"), example.numbers("alkalinity_dKH")
    added = [added_until(doses(example), day) for day in days]
    line = uptake_by_least_squares(days, levels, added)
    middle = uptake_by_median_slope(days, levels, added)
    agree(
        example,
        {
            "cumulative_dose_dKH": added,
            "uptake_ols_dKH_per_day": line.per_day,
            "stderr": line.sd,
            "ci95_low": line.low,
            "ci95_high": line.high,
            "residual_sd": least_squares(days, balance(levels, added)).residual_sd,
            "uptake_theil_sen": middle.per_day,
            "theil_sen_ci95_low": middle.low,
            "theil_sen_ci95_high": middle.high,
        },
    )


@pytest.mark.parametrize("example", params("uptake-two-point"))
def test_two_tests_show_an_uptake(example: Example) -> None:
    """With an error that is as good as the span is long."""
    found = uptake_between(
        example.number("A1_dKH") - example.number("A2_dKH"),
        example.number("total_dose_dKH"),
        example.number("days"),
        example.number("sigma_test_dKH"),
    )
    agree(example, {"uptake_dKH_per_day": found.per_day, "stderr": found.sd})


@pytest.mark.parametrize("example", params("uptake-wls"))
def test_better_tests_count_more(example: Example) -> None:
    """Errors known beforehand."""
    found = uptake_by_known_errors(
        example.numbers("t_days"),
        example.numbers("alkalinity_dKH"),
        example.numbers("sigma_dKH"),
    )
    agree(
        example,
        {"uptake_dKH_per_day": found.per_day, "stderr_from_known_sigmas": found.sd},
    )


def follow(example: Example, steady: list[Steady], walk: float) -> Estimate:
    """The estimate of an example from a start that knows nothing."""
    sd = example.number("R_dKH2") ** 0.5
    tests = [
        Reading(day=day, level=level, sd=sd)
        for day, level in zip(
            example.numbers("t_days"), example.numbers("alkalinity_dKH"), strict=True
        )
    ]
    changes = [
        Addition(
            day=after.day,
            rise=added_until(steady, after.day) - added_until(steady, before.day),
        )
        for before, after in pairwise(tests)
    ]
    tuning = Tuning(
        uptake=0.0,
        uptake_sd=1000.0,
        least_test_sd=sd / 10,
        uptake_walk=walk,
    )
    return estimated(tests, changes, tuning, now_day=tests[-1].day)


@pytest.mark.parametrize("example", params("kalman-uptake"))
def test_the_filter_follows_an_uptake(example: Example) -> None:
    """Level, uptake, both errors and the last surprise."""
    steady = [
        Steady(from_day=0, to_day=100, per_day=example.number("dose_dKH_per_day"))
    ]
    walk = example.number("q_U_(dKH/day)^2_per_day")
    found = follow(example, steady, walk)
    agree(
        example,
        {
            "A_hat": found.belief.level,
            "U_hat": found.belief.uptake,
            "sd_A": found.belief.level_sd,
            "sd_U": found.belief.uptake_sd,
            "last_NIS": found.surprises[-1].squared,
        },
    )


@pytest.mark.parametrize("example", params("kalman-equals-ols"))
def test_the_filter_without_a_walk_is_least_squares(example: Example) -> None:
    """The same figure as the line gives."""
    found = follow(example, doses(example), example.number("q_U"))
    agree(example, {"U_hat": found.belief.uptake})
