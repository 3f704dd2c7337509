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
    Belief,
    Change,
    Exchange,
    Reading,
    Tuning,
    begun,
    predicted,
    surprise,
    updated,
)
from slackwater.water.uptake_filter import Estimate, alkalinity_tuning, estimated

DIFFUSE = Tuning(
    uptake=0.0, uptake_sd=1000.0, least_test_sd=0.01, uptake_walk=0.0, jump_sd=0.2
)
WALKING = replace(DIFFUSE, uptake=1.0, uptake_sd=0.5, uptake_walk=0.04**2)
DAYS = [0.0, 0.9, 2.0, 3.1, 4.0, 5.0, 6.2, 7.0, 8.1, 9.0, 10.3, 12.0]


def doses(per_day: float, until: float, *, parts: int = 24) -> list[Change]:
    """So many equal doses a day."""
    return [
        Addition(day=n / parts, rise=per_day / parts)
        for n in range(1, int(until * parts) + 1)
    ]


def tank(
    uptakes: Sequence[float], seed: int, *, dose: float = 1.2, sd: float = 0.1
) -> list[Reading]:
    """Daily tests of a tank whose uptake of each day is given."""
    chance = Random(seed)  # noqa: S311 - a simulation, no secret
    level, found = 8.0, []
    for day, uptake in enumerate([0.0, *uptakes]):
        level += dose - uptake if day else 0.0
        found.append(Reading(day=day, level=level + chance.gauss(0, sd), sd=sd))
    return found


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
    tuning = replace(WALKING, level_walk=level_walk, holding=inf)
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
    found = estimated(tests, (), replace(DIFFUSE, holding=inf), now_day=12.0).belief
    assert pytest.approx(-line.slope, abs=1e-6) == found.uptake
    assert pytest.approx(line.slope_sd, rel=1e-4) == found.uptake_sd


def test_cutting_time_into_steps_changes_nothing() -> None:
    """Two half days are a day."""
    begin = Belief(
        day=0.0,
        level=8.0,
        uptake=1.0,
        level_variance=0.01,
        covariance=-0.002,
        uptake_variance=0.04,
    )
    tuning = replace(WALKING, level_walk=0.002)
    whole = predicted(begin, 1.0, (), tuning)
    halves = predicted(predicted(begin, 0.5, (), tuning), 1.0, (), tuning)
    for name in ("level", "level_variance", "covariance", "uptake_variance"):
        assert pytest.approx(getattr(whole, name)) == getattr(halves, name)


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


def test_a_water_change_shrinks_what_is_not_known() -> None:
    """All of it new: the level is that of the new water, without error."""
    begin = begun(Reading(day=0.0, level=8.0, sd=0.2), WALKING)
    whole = Exchange(day=0.0 + 1e-9, fraction=1.0, new_level=7.0)
    found = predicted(begin, 1e-9, [whole], WALKING)
    assert (7.0, 0.0, 0.0) == (found.level, found.level_variance, found.covariance)


def test_an_uncertain_addition_widens_the_level() -> None:
    """Deviations add as squares."""
    begin = begun(Reading(day=0.0, level=8.0, sd=0.3), WALKING)
    addition = Addition(day=1e-9, rise=1.0, sd=0.4)
    found = predicted(begin, 1e-9, [addition], WALKING)
    assert pytest.approx(9.0) == found.level
    assert pytest.approx(0.5) == found.level_sd


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


def follow(tests: Sequence[Reading], *, days: int = 30) -> Estimate:
    """The estimate of daily tests at a dose of 1.2."""
    return estimated(tests, doses(1.2, days), WALKING, now_day=float(days))


def test_a_lone_gross_reading_is_held() -> None:
    """It moves nothing, and a retest is asked for by its place."""
    tests = tank([1.2] * 12, 2)
    odd = [*tests[:8], replace(tests[8], level=9.5), *tests[9:]]
    found, clean = follow(odd), follow([*tests[:8], *tests[9:]])
    assert (8,) == found.held
    assert found.surprises[7].squared > 12
    assert pytest.approx(clean.belief.uptake) == found.belief.uptake


def test_a_confirmed_reading_is_taken_with_the_uptake_set_free() -> None:
    """Two readings that say the same are right, and the uptake is less certain."""
    tests = tank([1.2] * 8, 3)
    fallen = [replace(tests[8], day=n, level=tests[8].level - 1.5) for n in (9.0, 9.2)]
    first, both = (
        follow([*tests, fallen[0]], days=10),
        follow([*tests, *fallen], days=10),
    )
    assert (9,) == first.held
    assert () == both.held
    assert both.belief.level < tests[8].level - 0.8
    assert both.belief.uptake_sd > first.belief.uptake_sd


def test_a_reading_that_something_else_refutes_is_not_confirmed_later() -> None:
    """Only the very next test is its retest."""
    tests = tank([1.2] * 9, 4)
    odd = [
        *tests[:7],
        replace(tests[7], level=9.6),
        tests[8],
        replace(tests[9], level=9.6),
    ]
    assert (7, 9) == follow(odd).held


def test_two_odd_readings_that_differ_stay_held() -> None:
    """One far up and one far down confirm nothing."""
    tests = tank([1.2] * 9, 5)
    odd = [*tests[:8], replace(tests[8], level=9.9), replace(tests[9], level=6.0)]
    assert (8, 9) == follow(odd).held


def test_changes_of_one_moment_count_in_their_order() -> None:
    """A dose and then a water change at noon: the dose is diluted, not lost."""
    begin = begun(Reading(day=0.0, level=8.0, sd=0.1), replace(DIFFUSE, uptake=0.0))
    both: list[Change] = [
        Addition(day=0.5, rise=2.0),
        Exchange(day=0.5, fraction=0.5, new_level=8.0),
    ]
    assert 9.0 == pytest.approx(predicted(begin, 1.0, both, DIFFUSE).level)
    turned = predicted(begin, 1.0, both[::-1], DIFFUSE)
    assert 10.0 == pytest.approx(turned.level)


def test_readings_that_leave_further_with_time_confirm_an_uptake_that_jumped() -> None:
    """The second lies further off than the first, as much as the time is longer."""
    tests = tank([1.2] * 8, 6)
    level = tests[8].level
    off = [
        replace(tests[8], day=12.0, level=level - 2.5),
        replace(tests[8], day=16.0, level=level - 5.0),
    ]
    found = follow([*tests, *off], days=16)
    assert () == found.held
    assert found.belief.uptake > 1.5
    assert pytest.approx(level - 5.0, abs=0.3) == found.belief.level


def test_a_wrong_beginning_does_not_hold_every_test_that_follows() -> None:
    """A dose that was far too small before: the uptake is learnt all the same."""
    tuning = replace(WALKING, uptake=0.05, uptake_sd=0.05)
    tests = tank([1.2] * 20, 7)
    found = estimated(tests, doses(1.2, 20), tuning, now_day=20.0)
    assert pytest.approx(1.2, abs=0.15) == found.belief.uptake


def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    """Two hundred simulated tanks whose uptake walks, 95 percent."""
    held = 0
    for seed in range(200):
        chance = Random(seed)  # noqa: S311 - a simulation, no secret
        uptakes = [1.2]
        for _ in range(14):
            uptakes.append(uptakes[-1] + chance.gauss(0, 0.04))
        found = follow(tank(uptakes, seed + 1000), days=15)
        low, high = found.belief.uptake_interval()
        held += low <= uptakes[-1] <= high
    assert held >= 180


def test_clean_tests_are_rarely_held() -> None:
    """A hundred simulated tanks of 20 tests: one in two thousand by chance."""
    held = sum(len(follow(tank([1.2] * 20, seed)).held) for seed in range(100))
    assert held <= 4


def test_surprises_are_standard_normal() -> None:
    """Simulated tanks as the tuning has them: what sums and ranges live on."""
    z = []
    for seed in range(150):
        chance = Random(seed)  # noqa: S311 - a simulation, no secret
        uptakes = [chance.gauss(1.0, 0.5)]
        for _ in range(19):
            uptakes.append(uptakes[-1] + chance.gauss(0, 0.04))
        found = follow(tank(uptakes, seed + 5000))
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
    """0.05 dKH, 0.04 dKH a day and 0.2 dKH a day in meq/L: common practice."""
    tuning = alkalinity_tuning(1.0)
    # 1 dKH is 0.35665 meq/L, by definition 10 mg/L of CaO.
    assert pytest.approx(0.05 * 0.356652, rel=1e-5) == tuning.least_test_sd
    assert pytest.approx((0.04 * 0.356652) ** 2, rel=1e-5) == tuning.uptake_walk
    assert pytest.approx(0.2 * 0.356652, rel=1e-5) == tuning.jump_sd
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


def test_nobody_predicts_the_past() -> None:
    """A belief only goes forward."""
    with pytest.raises(OutOfRangeError, match="the day"):
        predicted(begun(GOOD[1], WALKING), 0.5, (), WALKING)
