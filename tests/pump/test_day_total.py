"""How closely a day's total is known, against the same interval from scipy.

Source: a mean of n readings has the standard deviation s / sqrt(n) (JCGM 100:2008,
4.2.3), variances of what is independent add (5.1.2), and the interval is Student's t
times their root (G.3.2); quantiles are those of `scipy.stats.t`.
"""

from math import sqrt
from statistics import stdev

import pytest
from scipy import stats

from slackwater.pump.day_total import CONFIDENCE, day_within_percent, parts_percent
from slackwater.pump.flow import MeasuredRun

# 20 s a shot, one shot a run: 10 mL each, give or take 5 %.
GIVEN_UL = (10500, 9520, 10430, 9610, 10020, 9920, 10310, 9690)
SINGLE = tuple(MeasuredRun(ran_ms=20_000, volume_ul=one) for one in GIVEN_UL)
TWO_LENGTHS = tuple(
    MeasuredRun(ran_ms=ms, volume_ul=ul, shots=10)
    for ms, ul in [(10_000, 4900), (30_000, 14_900), (10_000, 5080), (30_000, 15_150)]
)


@pytest.mark.parametrize("doses", [1, 12, 96])
def test_it_is_the_interval_of_a_later_mean(doses: int) -> None:
    """Mean of eight measured shots, then mean of so many doses: s sqrt(1/8 + 1/n)."""
    quantile = stats.t.ppf((1 + CONFIDENCE) / 2, len(GIVEN_UL) - 1)
    expected = quantile * stdev(GIVEN_UL) * sqrt(1 / len(GIVEN_UL) + 1 / doses) / 100
    found = day_within_percent(SINGLE, 10_000, doses, one_length=True)
    # Runs are weighed by what they gave, and each is read to 10 µL: next to nothing.
    assert expected == pytest.approx(found, rel=0.005)


def test_what_doses_share_does_not_average_out() -> None:
    """However many there are, the error of the line remains."""
    shared, own = parts_percent(TWO_LENGTHS, 1000, one_length=False)
    found = day_within_percent(TWO_LENGTHS, 1000, 10**9, one_length=False)
    assert shared == pytest.approx(found)
    assert own > shared > 0


def test_a_dose_far_from_what_was_measured_is_known_less_well() -> None:
    """Shots of 0.5 and 1.5 mL say less of a dose of 0.1 mL, or one of 10 mL."""
    near, *far = (
        parts_percent(TWO_LENGTHS, volume_ul, one_length=False)[0]
        for volume_ul in (1000, 100, 10_000)
    )
    assert near < min(far)


def test_runs_that_agree_by_luck_make_no_pump_perfect() -> None:
    """Four equal runs: each dose still scatters by a hundredth."""
    runs = [MeasuredRun(ran_ms=2000, volume_ul=1000)] * 4
    quantile = stats.t.ppf((1 + CONFIDENCE) / 2, 3)
    _, own = parts_percent(runs, 1000, one_length=True)
    assert quantile == pytest.approx(own)
