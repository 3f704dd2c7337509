"""The invented water against figures worked out by hand from stoichiometry."""

import math

import pytest

from demo.reef.water import (
    CALCIUM_MG_PER_L_PER_DKH,
    DKH_PER_MEQ_PER_L,
    Hose,
    Swing,
    Tank,
    Uptake,
    Water,
)

DAY_MS = 86_400_000


def _tank(alkalinity_dkh: float = 8.0, litres: float = 100.0) -> Tank:
    return Tank(
        litres=litres,
        alkalinity_dkh=alkalinity_dkh,
        calcium_mg_per_l=420.0,
        uptake=Uptake(dkh_per_day=1.0, at_dkh=8.0),
    )


def _water(rate_ul_per_s: float = 500.0) -> Water:
    carbonate = Hose(
        tank="reef", rate_ul_per_s=rate_ul_per_s, alkalinity_meq_per_ml=1.887
    )
    calcium = Hose(tank="reef", rate_ul_per_s=rate_ul_per_s, calcium_mg_per_ml=37.8)
    return Water(
        tanks={"reef": _tank()}, hoses={"carbonate": carbonate, "calcium": calcium}
    )


def test_one_millilitre_of_soda_in_a_hundred_litres() -> None:
    """Stoichiometry by hand: 1.887 meq in 100 L is 0.01887 meq/L, 0.0529 dKH."""
    water = _water()
    before_dkh = water.tanks["reef"].alkalinity_dkh
    water.flow("carbonate", 2_000)
    rise_dkh = water.tanks["reef"].alkalinity_dkh - before_dkh
    assert round(rise_dkh, 4) == 0.0529


def test_one_millilitre_of_calcium_in_a_hundred_litres() -> None:
    """By hand: 37.8 mg in 100 L is 0.378 mg/L, and no alkalinity."""
    water = _water()
    water.flow("calcium", 2_000)
    tank = water.tanks["reef"]
    assert (tank.alkalinity_dkh, round(tank.calcium_mg_per_l, 6)) == (8.0, 420.378)


def test_the_factors_are_those_of_the_handbook() -> None:
    """1 dKH is 10 mg/L CaO, 0.356652 meq/L; with Ca 40.078 it binds 7.147 mg/L Ca.

    Source: definition of the German degree; IUPAC standard atomic weights.
    """
    assert round(1 / DKH_PER_MEQ_PER_L, 5) == 0.35665
    assert round(CALCIUM_MG_PER_L_PER_DKH, 3) == 7.147


def test_calcium_leaves_with_the_alkalinity() -> None:
    """A day's uptake takes 7.147 mg/L of calcium for each dKH."""
    tank = _tank()
    tank.live(DAY_MS)
    fall_dkh = 8.0 - tank.alkalinity_dkh
    assert round((420.0 - tank.calcium_mg_per_l) / fall_dkh, 3) == 7.147


def test_uptake_falls_with_alkalinity() -> None:
    """The fall follows U = 1.0 (A - 3) / 5: after a day 3 + 5 exp(-1/5) dKH.

    Hand-worked: 5 * 0.818731 + 3 = 7.093654.
    """
    tank = _tank()
    tank.live(DAY_MS)
    assert round(tank.alkalinity_dkh, 6) == 7.093654


@pytest.mark.parametrize("alkalinity_dkh", [3.0, 2.0, 0.0])
def test_nothing_is_taken_up_at_rest(alkalinity_dkh: float) -> None:
    """At 3 dKH and below uptake is nothing, never negative."""
    tank = _tank(alkalinity_dkh)
    tank.live(10 * DAY_MS)
    assert (alkalinity_dkh, 420.0) == (tank.alkalinity_dkh, tank.calcium_mg_per_l)


def test_fine_steps_and_coarse_steps_agree() -> None:
    """The state after a day does not depend on how often one looks."""
    fine, coarse = _tank(), _tank()
    coarse.live(DAY_MS)
    for _ in range(10_000):
        fine.live(DAY_MS / 10_000)
    assert math.isclose(coarse.alkalinity_dkh, fine.alkalinity_dkh, rel_tol=1e-9)


def test_the_delivered_sum_is_rate_times_time() -> None:
    """497 uL/s for 3 pieces of 1.5 s is 2 236.5 uL, whatever anybody reported."""
    water = _water(497.0)
    for _ in range(3):
        water.flow("carbonate", 1_500)
    assert water.delivered_ul == {"carbonate": 2236.5, "calcium": 0.0}


def test_an_over_delivering_hose_brings_its_factor() -> None:
    """Factor 1.5 brings half as much again into sum and water."""
    water = _water()
    assert water.flow("carbonate", 2_000, 1.5) == 1_500.0
    rise_dkh = water.tanks["reef"].alkalinity_dkh - 8.0
    assert round(rise_dkh, 4) == 0.0794


@pytest.mark.parametrize(
    ("dkh_per_s", "until_dkh", "span_s", "expected_dkh"),
    [
        (0.1, 9.0, 5, 8.5),
        (0.1, 9.0, 60, 9.0),
        (0.1, 7.0, 60, 8.0),
        (-0.1, 7.0, 5, 7.5),
        (-0.1, 7.0, 60, 7.0),
        (-0.1, 9.0, 60, 8.0),
    ],
)
def test_a_swing_moves_until_its_end(
    dkh_per_s: float, until_dkh: float, span_s: int, expected_dkh: float
) -> None:
    """A swing has a rate, a direction and an end it neither passes nor jumps to."""
    tank = _tank()
    tank.push(Swing(dkh_per_s=dkh_per_s, until_dkh=until_dkh), span_s * 1000)
    assert expected_dkh == round(tank.alkalinity_dkh, 9)


def test_what_comes_in_and_goes_out_balances() -> None:
    """Mass balance of a day of 24 doses against uptake, kept in moles.

    Source: stoichiometry; alkalinity in = what stays + what was built, and calcium
    built is half a mole for each equivalent.
    """
    water = _water()
    tank = water.tanks["reef"]
    for _ in range(24):
        water.live(DAY_MS / 24)
        water.flow("carbonate", 6_000)
    in_meq = water.delivered_ul["carbonate"] / 1000 * 1.887
    held_meq = (tank.alkalinity_dkh - 8.0) / DKH_PER_MEQ_PER_L * tank.litres
    built_meq = (420.0 - tank.calcium_mg_per_l) * tank.litres / 40.078 * 2
    assert math.isclose(in_meq, held_meq + built_meq, rel_tol=1e-9)
