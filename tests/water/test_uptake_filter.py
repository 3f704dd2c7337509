"""The estimator of level and uptake, against matrices and by simulation."""

from collections.abc import Sequence
from dataclasses import replace
from math import inf, nan, sqrt
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.errors import OutOfRangeError
from slackwater.water.trends import weighted_least_squares
from slackwater.water.uptake_belief import (
    Addition,
    Change,
    Exchange,
    Reading,
    Tuning,
    begun,
    surprise,
    updated,
)
from slackwater.water.uptake_filter import alkalinity_tuning, estimated
from tests.water.estimates import (
    DAYS,
    DIFFUSE,
    FOLLOWING,
    WALKING,
    doses,
    following_tank,
    steadily,
    tank,
)


def matrices(
    tests: Sequence[Reading], rises: Sequence[float], tuning: Tuning
) -> tuple[np.ndarray, np.ndarray]:
    """The textbook filter, state and covariance after the last test."""
    state = np.array([tests[0].level, tuning.uptake])
    cover = np.diag([tests[0].sd ** 2, tuning.uptake_sd**2])
    for before, test, rise in zip(tests, tests[1:], rises, strict=False):
        dt = test.day - before.day
        move = np.array([[1.0, -dt], [0.0, 1.0]])
        walk = np.array([[dt**3 / 3, -(dt**2) / 2], [-(dt**2) / 2, dt]])
        state = move @ state + np.array([rise, 0.0])
        cover = move @ cover @ move.T + tuning.uptake_walk * walk
        cover[0, 0] += tuning.level_walk * dt
        look = np.array([1.0, 0.0])
        gain = cover @ look / (look @ cover @ look + test.sd**2)
        state = state + gain * (test.level - look @ state)
        cover = cover - np.outer(gain, look @ cover)
    return state, cover


@given(
    steps=st.lists(st.floats(0.05, 5.0), min_size=1, max_size=12),
    levels=st.lists(st.floats(7.0, 9.0), min_size=13, max_size=13),
    level_walk=st.sampled_from([0.0, 0.001]),
)
def test_the_filter_is_that_of_the_textbook(
    steps: list[float], levels: list[float], level_walk: float
) -> None:
    """Oracle: the matrix equations of Kalman 1960 in numpy."""
    tuning = replace(WALKING, level_walk=level_walk)
    days = np.cumsum([0.0, *steps])
    tests = [
        Reading(day=float(day), level=level, sd=0.1)
        for day, level in zip(days, levels, strict=False)
    ]
    changes = [Addition(day=test.day, rise=0.3) for test in tests[1:]]
    state, cover = matrices(tests, [0.3] * len(steps), tuning)
    found = estimated(tests, changes, tuning, now_day=tests[-1].day).belief
    assert pytest.approx(tuple(state)) == (found.level, found.uptake)
    assert pytest.approx(
        (cover[0, 0], cover[0, 1], cover[1, 1]), rel=1e-6, abs=1e-12
    ) == (found.level_variance, found.covariance, found.uptake_variance)


@pytest.mark.parametrize("seed", range(4))
def test_without_a_walk_it_is_least_squares(seed: int) -> None:
    """Known errors and a wide start: slope and its error agree."""
    chance = Random(seed)  # noqa: S311 - a simulation, no secret
    sds = [chance.choice([0.1, 0.2]) for _ in DAYS]
    levels = [8.0 - 0.3 * d + chance.gauss(0, 0.1) for d in DAYS]
    line = weighted_least_squares(DAYS, levels, sds)
    tests = [
        Reading(day=day, level=level, sd=sd)
        for day, level, sd in zip(DAYS, levels, sds, strict=True)
    ]
    found = estimated(tests, (), DIFFUSE, now_day=12.0).belief
    assert pytest.approx(-line.slope, abs=1e-6) == found.uptake
    assert pytest.approx(line.slope_sd, rel=1e-4) == found.uptake_sd


def test_doses_lift_the_level_and_hide_no_uptake() -> None:
    """A dosed tank that stands still takes up its dose."""
    tests = [Reading(day=day, level=8.0, sd=0.1) for day in DAYS]
    found = estimated(tests, doses(1.2, 12), WALKING, now_day=12.0).belief
    assert pytest.approx(1.2, abs=0.02) == found.uptake
    assert pytest.approx(8.0, abs=0.02) == found.level


def test_a_water_change_is_no_uptake() -> None:
    """A fifth of water at 7.0 takes 0.2 of 8.0; forgetting it looks like uptake."""
    tests = [Reading(day=n, level=8.0 if n < 3 else 7.8, sd=0.1) for n in range(7)]
    change = Exchange(day=2.5, fraction=0.2, new_level=7.0)
    told = estimated(tests, [change], WALKING, now_day=6.0).belief
    silent = estimated(tests, (), WALKING, now_day=6.0).belief
    assert pytest.approx(0.0, abs=0.02) == told.uptake
    assert silent.uptake > told.uptake + 0.02


def test_changes_count_once_and_in_order() -> None:
    """Given in any order; those until the first test are part of it."""
    tests = [Reading(day=1.0, level=8.0, sd=0.1), Reading(day=3.0, level=8.0, sd=0.1)]
    changes: list[Change] = [
        Addition(day=3.0, rise=0.5),
        Exchange(day=2.0, fraction=0.5, new_level=6.0),
        Addition(day=1.5, rise=0.5),
        Addition(day=1.0, rise=9.0),
        Addition(day=0.5, rise=9.0),
    ]
    still = replace(WALKING, uptake_sd=1e-6, uptake=0.0, uptake_walk=0.0)
    found = estimated(tests, changes, still, now_day=3.0)
    # 8.0 + 0.5 halfway to 6.0 is 7.25, and 0.5 more.
    assert pytest.approx(8.0 - 7.75) == found.surprises[0].difference


def test_between_tests_the_level_is_carried_on() -> None:
    """Dose and uptake go on until now, and certainty fades."""
    tests = tank([1.2] * 10, 1)
    found = estimated(tests, doses(1.2, 14), WALKING, now_day=14.0)
    lost = (found.belief.uptake - 1.2) * 4
    assert pytest.approx(found.belief.level - lost) == found.now.level
    assert found.now.level_sd > found.belief.level_sd


def test_a_wrong_beginning_does_not_hold_every_test_that_follows() -> None:
    """A dose that was far too small before: the uptake is learnt all the same."""
    tuning = replace(WALKING, uptake=0.05, uptake_sd=0.05)
    tests = tank([1.2] * 20, 7)
    found = estimated(tests, doses(1.2, 20), tuning, now_day=20.0)
    assert pytest.approx(1.2, abs=0.15) == found.belief.uptake


@pytest.mark.parametrize("uptake", [0.15, 0.4, 1.0, 1.9])
@pytest.mark.parametrize("every", [1, 7, 14])
def test_an_uptake_that_follows_the_level_is_learnt_from_afar(
    uptake: float, every: int
) -> None:
    """Dosed a tenth too little, thought to be anything up to 2: also by the fortnight.

    Oracle: the level of one box in closed form.
    """
    days = [float(day) for day in range(0, 57, every)]
    tests = following_tank(uptake, 0.9 * uptake, days, seed=every)
    changes = steadily(0.9 * uptake, 56)
    found = estimated(tests, changes, FOLLOWING, now_day=56.0)
    assert () == found.held
    assert abs(found.now.uptake - uptake) <= 2.5 * found.now.uptake_sd
    assert found.now.uptake_sd < 0.15 * uptake + 0.02
    here = found.now.at_its_level(FOLLOWING)
    truth = uptake * (found.now.level - 3.0) / 5.0
    assert truth == pytest.approx(here.uptake, abs=2.5 * found.now.uptake_sd)


def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    """Two hundred simulated tanks whose uptake walks, 95 percent."""
    held = 0
    for seed in range(200):
        chance = Random(seed)  # noqa: S311 - a simulation, no secret
        uptakes = [1.2]
        for _ in range(14):
            uptakes.append(uptakes[-1] + chance.gauss(0, 0.04))
        tests = tank(uptakes, seed + 1000)
        found = estimated(tests, doses(1.2, 15, parts=4), WALKING, now_day=15.0)
        low, high = found.belief.uptake_interval()
        held += low <= uptakes[-1] <= high
    assert held >= 180


def test_surprises_are_standard_normal() -> None:
    """Simulated tanks as the tuning has them: what sums and ranges live on."""
    z = []
    for seed in range(150):
        chance = Random(seed)  # noqa: S311 - a simulation, no secret
        uptakes = [chance.gauss(1.0, 0.5)]
        for _ in range(19):
            uptakes.append(uptakes[-1] + chance.gauss(0, 0.04))
        tests = tank(uptakes, seed + 5000)
        found = estimated(tests, doses(1.2, 20, parts=4), WALKING, now_day=20.0)
        z += [one.z for one in found.surprises]
    assert pytest.approx(0.0, abs=0.06) == float(np.mean(z))
    assert pytest.approx(1.0, abs=0.06) == float(np.std(z))


def test_no_test_is_better_than_the_floor() -> None:
    """A stated error of 0.001 counts as the least there is."""
    tuning = replace(WALKING, least_test_sd=0.05)
    first = begun(Reading(day=0.0, level=8.0, sd=0.001), tuning)
    assert pytest.approx(0.05) == first.level_sd
    test = Reading(day=0.0, level=8.1, sd=0.001)
    assert pytest.approx(sqrt(0.005)) == surprise(first, test, tuning).sd
    assert pytest.approx(8.05) == updated(first, test, tuning).level


def test_alkalinity_has_a_usual_tuning() -> None:
    """0.05 dKH, 0.04 dKH a day and slips of 1.5 dKH in meq/L: common practice."""
    tuning = alkalinity_tuning(1.0)
    # 1 dKH is 0.35665 meq/L, by definition 10 mg/L of CaO.
    assert pytest.approx(0.05 * 0.356652, rel=1e-5) == tuning.least_test_sd
    assert pytest.approx((0.04 * 0.356652) ** 2, rel=1e-5) == tuning.uptake_walk
    assert tuning.shocks is not None
    assert pytest.approx(1.5 * 0.356652, rel=1e-5) == tuning.shocks.slip_sd
    assert (0.5, 0.5) == (tuning.uptake, tuning.uptake_sd)


GOOD = [Reading(day=0.0, level=8.0, sd=0.1), Reading(day=1.0, level=8.0, sd=0.1)]


@pytest.mark.parametrize(
    ("tests", "changes", "now"),
    [
        ([], [], 1.0),
        (GOOD[::-1], [], 1.0),
        ([GOOD[0], GOOD[0]], [], 1.0),
        (GOOD, [], 0.9),
        (GOOD, [], nan),
        ([replace(GOOD[0], level=nan)], [], 1.0),
        ([replace(GOOD[0], sd=0.0)], [], 1.0),
        (GOOD, [Addition(day=0.5, rise=inf)], 1.0),
        (GOOD, [Addition(day=nan, rise=0.1)], 1.0),
        (GOOD, [Addition(since=nan, day=0.5, rise=0.1)], 1.0),
        (GOOD, [Exchange(day=0.5, fraction=1.1, new_level=7.0)], 1.0),
        (GOOD, [Exchange(day=0.5, fraction=0.1, new_level=nan)], 1.0),
    ],
)
def test_what_cannot_be_followed_is_refused(
    tests: list[Reading], changes: list[Change], now: float
) -> None:
    """Nothing, out of order, twice, from the future, or not finite."""
    with pytest.raises(OutOfRangeError):
        estimated(tests, changes, WALKING, now_day=now)
