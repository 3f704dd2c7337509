"""What timed shots say: rate, start and stop, spread, the smallest reliable dose.

The line is compared with numpy.polyfit and its covariance, the quantile with scipy; the
idea of weighing what came out against time is that of IEC 60601-2-24; the limits are
common practice, no source.
"""

from math import hypot, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from slackwater.errors import Finding
from slackwater.pump.command import run_ms
from slackwater.pump.flow import Flow, MeasuredRun, flow_of

# An invented pump: 500 µL a second, and 40 µL are lost while it starts.
RATE_NL_PER_S, OFFSET_NL = 500_000, -40_000
LENGTHS_MS = (1000, 6000)


def shots(*volumes_ul: int, lengths: tuple[int, ...] = LENGTHS_MS) -> list[MeasuredRun]:
    """Runs of these lengths in turn, and what the cylinder showed."""
    return [
        MeasuredRun(ran_ms=lengths[number % len(lengths)], volume_ul=volume_ul)
        for number, volume_ul in enumerate(volumes_ul)
    ]


def flow(*volumes_ul: int) -> Flow:
    """The flow they come to."""
    found = flow_of(shots(*volumes_ul))
    assert isinstance(found, Flow), found
    return found


def test_rate_and_offset_are_told_apart() -> None:
    """460 µL in 1 s and 2960 µL in 6 s: 500 µL a second and 40 µL lost at the start."""
    found = flow(460, 2960, 460, 2960)
    assert (RATE_NL_PER_S, OFFSET_NL) == (found.rate_nl_per_s, found.offset_nl)
    assert pytest.approx(0.0, abs=1e-9) == found.spread_percent


NOISY = (462, 2951, 457, 2972, 461)


def test_the_figures_are_those_of_the_library() -> None:
    """Oracle: numpy.polyfit, weights 1 / sd; scipy's t for three degrees of freedom."""
    seconds = np.array([1.0, 6.0, 1.0, 6.0, 1.0])
    sds = np.array([hypot(3.0, 0.01 * volume) for volume in NOISY])
    factors, covariance = np.polyfit(seconds, NOISY, 1, w=1 / sds, cov="unscaled")
    misses = (np.array(NOISY) - np.polyval(factors, seconds)) / sds
    scale = max(1.0, sqrt(float(misses @ misses) / 3))
    reach = 1000 * scale * float(stats.t.ppf(0.975, 3)) * np.sqrt(np.diag(covariance))
    found = flow(*NOISY)
    assert [round(1000 * float(one)) for one in factors] == [
        found.rate_nl_per_s,
        found.offset_nl,
    ]
    expected = [
        1000 * factors[0] - reach[0],
        1000 * factors[0] + reach[0],
        1000 * factors[1] - reach[1],
        1000 * factors[1] + reach[1],
    ]
    assert pytest.approx([float(one) for one in expected], abs=1) == [
        found.rate_low_nl_per_s,
        found.rate_high_nl_per_s,
        found.offset_low_nl,
        found.offset_high_nl,
    ]
    shares = np.array(NOISY) / np.polyval(factors, seconds)
    assert pytest.approx(100 * float(np.ptp(shares))) == found.spread_percent


@pytest.mark.parametrize(
    "volumes",
    [NOISY, (460, 2960, 460), (451, 2960, 469), (440, 2960, 462, 2960), (90, 590, 93)],
)
def test_the_smallest_reliable_dose_is_where_a_tenth_is_missed(
    volumes: tuple[int, ...],
) -> None:
    """Oracle: numpy's covariance; twice the error is a tenth there, more just below."""
    seconds = np.resize([1.0, 6.0], len(volumes))
    sds = np.array([hypot(3.0, 0.01 * volume) for volume in volumes])
    factors, covariance = np.polyfit(seconds, volumes, 1, w=1 / sds, cov="unscaled")
    misses = (np.array(volumes) - np.polyval(factors, seconds)) / sds
    scale = max(1.0, sqrt(float(misses @ misses) / (len(volumes) - 2)))

    def missed(volume_ul: int) -> float:
        row = np.array([(volume_ul - factors[1]) / factors[0], 1.0])
        own = 9 + (0.01 * volume_ul) ** 2
        return 2 * scale * sqrt(own + float(row @ covariance @ row)) / volume_ul

    smallest_ul = flow(*volumes).smallest_ul
    assert missed(smallest_ul) <= 0.1 < missed(smallest_ul - 1)


def test_shots_that_agree_by_luck_have_a_smallest_dose_too() -> None:
    """A cylinder read to 10 µL vouches for nothing below some 100 µL."""
    assert 100 < flow(460, 2960, 460).smallest_ul < 150


def test_what_scatters_more_has_a_larger_smallest_dose() -> None:
    """The same pump, its short shots 4 % apart instead of equal."""
    assert flow(451, 2960, 469).smallest_ul > flow(460, 2960, 460).smallest_ul


@pytest.mark.parametrize(
    ("volumes_ul", "what"),
    [
        ((460, 2960), "2 runs"),
        ((), "0 runs"),
        ((460, 2960, 0), "a run gave nothing"),
        ((460, 2960, 490), "the runs differ by 6.3 %"),
        ((2960, 460, 2960), "longer runs gave less"),
        ((300, 2960, 300), "start and stop lose 232 µL in each shot, 77 % of"),
        ((620, 2960, 620), "start and stop add 152 µL in each shot, 25 % of"),
    ],
)
def test_shots_that_cannot_be_right_come_to_no_flow(
    volumes_ul: tuple[int, ...], what: str
) -> None:
    """Each says which figure cannot be right."""
    found = flow_of(shots(*volumes_ul))
    assert isinstance(found, Finding)
    assert what in found.what


@pytest.mark.parametrize(
    ("lengths", "expected"),
    [((2000, 2999), Finding), ((2000, 3000), Flow), ((0, 3000), Finding)],
)
def test_two_lengths_lie_half_apart_at_the_least(
    lengths: tuple[int, int], expected: type
) -> None:
    """Runs of nearly one length cannot tell the offset from the rate."""
    volumes = [1000, 1500, 1000, 1500]
    assert isinstance(flow_of(shots(*volumes, lengths=lengths)), expected)


def test_runs_of_one_length_have_a_rate_alone() -> None:
    """A pulse that is always the same: what start and stop take is part of the rate."""
    pulses = shots(495, 500, 505, lengths=(1000,))
    found = flow_of(pulses, one_length=True)
    assert isinstance(found, Flow)
    assert pytest.approx(500_000, abs=100) == found.rate_nl_per_s
    assert (0, 0, 0) == (found.offset_nl, found.offset_low_nl, found.offset_high_nl)
    assert isinstance(flow_of(pulses), Finding)


COLLECTED = [
    MeasuredRun(ran_ms=10_000, volume_ul=4_620, shots=10),
    MeasuredRun(ran_ms=60_000, volume_ul=29_510, shots=10),
    MeasuredRun(ran_ms=10_000, volume_ul=4_570, shots=10),
    MeasuredRun(ran_ms=24_000, volume_ul=11_888, shots=4),
    MeasuredRun(ran_ms=10_000, volume_ul=4_610, shots=10),
]


def test_shots_that_were_collected_count_as_their_mean() -> None:
    """Oracle: numpy.polyfit on the means, each as sure as so many shots, read once."""
    counts = np.array([10, 10, 10, 4, 10])
    seconds = np.array([1.0, 6.0, 1.0, 6.0, 1.0])
    means = np.array([462.0, 2951.0, 457.0, 2972.0, 461.0])
    sds = np.hypot(3.0 / counts, 0.01 * means / np.sqrt(counts))
    factors, covariance = np.polyfit(seconds, means, 1, w=1 / sds, cov="unscaled")
    misses = (means - np.polyval(factors, seconds)) / sds
    scale = max(1.0, sqrt(float(misses @ misses) / 3))
    reach = scale * float(stats.t.ppf(0.975, 3))
    ends = [
        100 * reach * sqrt(float(row @ covariance @ row)) / float(row @ factors)
        for row in (np.array([1.0, 1.0]), np.array([6.0, 1.0]))
    ]
    found = flow_of(COLLECTED)
    assert isinstance(found, Flow)
    assert [round(1000 * float(one)) for one in factors] == [
        found.rate_nl_per_s,
        found.offset_nl,
    ]
    assert pytest.approx(max(ends)) == found.within_percent


def test_a_slow_start_is_believed_when_each_length_was_measured_twice() -> None:
    """400 ms of 1 s lost, two thirds of the short shots; 510 ms is no start."""
    slow = flow_of(shots(300, 2800, 300, 2800))
    assert isinstance(slow, Flow)
    assert -200_000 == slow.offset_nl
    assert isinstance(flow_of(shots(300, 2800, 300)), Finding)
    assert isinstance(flow_of(shots(245, 2745, 245, 2745)), Finding)


@given(st.permutations(shots(*NOISY)))
def test_the_order_of_the_shots_does_not_matter(order: list[MeasuredRun]) -> None:
    """Any order of the same five shots, to the nanolitre."""
    assert flow_of(order) == flow(*NOISY)


@given(
    volume_ul=st.integers(60, 10**5),
    rate_nl_per_s=st.integers(20_000, 5_000_000),
    lag_ms=st.integers(0, 100),
)
def test_small_doses_come_right_with_the_lag(
    volume_ul: int, rate_nl_per_s: int, lag_ms: int
) -> None:
    """What a run gives, start-up taken off, is the dose to one millisecond of flow."""
    offset_nl = -rate_nl_per_s * lag_ms // 1000
    ms = run_ms(volume_ul, rate_nl_per_s, offset_nl)
    given_nl = rate_nl_per_s * ms / 1000 + offset_nl
    one_ms_nl = rate_nl_per_s / 1000
    assert volume_ul * 1000 - one_ms_nl <= given_nl <= volume_ul * 1000 or ms == 1


def halves(*volumes_ul: int) -> list[MeasuredRun]:
    """Two shots a run, so that one gives half a microlitre."""
    return [
        MeasuredRun(ran_ms=2 * LENGTHS_MS[number % 2], volume_ul=volume_ul, shots=2)
        for number, volume_ul in enumerate(volumes_ul)
    ]


@pytest.mark.parametrize(
    ("runs", "expected"),
    [
        # 5.4 and 4.8 % between two shots of a second.
        (shots(450, 2960, 475), "the runs differ by 5.4 %"),
        (shots(450, 2960, 472), ""),
        # 20.2, 20.0 and 19.3 % of the shortest shot.
        (shots(500, 3505, 500), "start and stop lose 101 µL in each shot, 20 % of"),
        (shots(100, 700, 100), ""),
        (shots(500, 3484, 500), ""),
        # Half a microlitre of two.
        (halves(4, 19, 4), "start and stop add 0 µL in each shot, 25 % of"),
        (halves(4, 29, 4), "start and stop lose 0 µL in each shot, 25 % of"),
        (halves(4, 19, 4, 19), "start and stop add 0 µL in each shot, 25 % of"),
        (halves(4, 29, 4, 29), ""),
        # A lag of half a second, which is the most.
        (shots(250, 2750, 250, 2750), ""),
        # 400 ms lost, but one of the lengths measured once, or in the very middle.
        (shots(300, 2800, 2800, 2800, lengths=(1000, 6000, 6000, 6000)), "lose 200 µL"),
        (shots(300, 300, 1550, 2800, lengths=(1000, 1000, 3500, 6000)), "lose 200 µL"),
        # Nearly the same from five seconds more, and a line that begins below nothing.
        (shots(500, 498, 500), "longer runs gave less"),
        (shots(1, 1, 14, lengths=(1000, 2000, 6000)), "longer runs gave less"),
        # A microlitre a second is little, and no contradiction.
        (shots(1, 6, 1), ""),
        (halves(1, 6, 1), ""),
        # A run of no time is no run; one of a millisecond is.
        (shots(460, 2960, 460, lengths=(0, 6000)), "3 runs"),
        (shots(460, 960, 460, lengths=(1, 2)), ""),
        (shots(99, 99, 99, lengths=(2000, 2999)), "the shots last from 2.00 to 3.00 s"),
    ],
)
def test_each_limit_holds_to_its_edge(runs: list[MeasuredRun], expected: str) -> None:
    """What is kept says nothing; lines through these points are reckoned by hand."""
    found = flow_of(runs)
    assert expected in (found.what if isinstance(found, Finding) else "")
    assert bool(expected) == isinstance(found, Finding)


def test_where_no_volume_is_reliable_none_below_the_largest_is_vouched_for() -> None:
    """A cylinder tells nothing of 6 µL: the answer is beyond them."""
    found = flow_of(shots(1, 6, 1))
    assert isinstance(found, Flow)
    assert 7 == found.smallest_ul


def test_a_line_is_least_known_at_either_end() -> None:
    """Oracle: numpy.polyfit, at the shortest shot, which here is the worse."""
    lengths, volumes = (1000, 6000, 6000, 6000), (460, 2960, 2990, 2930)
    seconds = np.array(lengths) / 1000
    sds = np.array([hypot(3.0, 0.01 * volume) for volume in volumes])
    factors, covariance = np.polyfit(seconds, volumes, 1, w=1 / sds, cov="unscaled")
    misses = (np.array(volumes) - np.polyval(factors, seconds)) / sds
    scale = max(1.0, sqrt(float(misses @ misses) / 2))
    first, last = (
        100
        * scale
        * float(stats.t.ppf(0.975, 2))
        * sqrt(float(row @ covariance @ row))
        / float(row @ factors)
        for row in (np.array([1.0, 1.0]), np.array([6.0, 1.0]))
    )
    found = flow_of(shots(*volumes, lengths=lengths))
    assert isinstance(found, Flow)
    assert pytest.approx(first) == found.within_percent
    assert first > last
