"""The net volume by geometry and by a known addition."""

from collections.abc import Callable
from math import nan, sqrt
from random import Random

import pytest
from molmass import Formula

from slackwater.errors import OutOfRangeError
from slackwater.water.volume import (
    NetVolume,
    addition_for,
    box_litres,
    combined,
    cylinder_litres,
    disagree,
    net_volume_by_addition,
    net_volume_by_geometry,
    rock_litres,
    sand_litres,
)


def test_a_box_and_a_cylinder_are_what_geometry_says() -> None:
    """A cubic decimetre is a litre; a cylinder is 78.5 percent of its box."""
    assert pytest.approx(1.0) == box_litres(10.0, 10.0, 10.0)
    share = cylinder_litres(40.0, 50.0) / box_litres(40.0, 40.0, 50.0)
    assert pytest.approx(0.785398, abs=1e-6) == share


def test_rock_and_sand_displace_their_solids() -> None:
    """Aragonite weighs 2.93 kg a litre (CRC Handbook); pores and gaps are water."""
    assert pytest.approx(10.0) == rock_litres(29.3)
    assert pytest.approx(12.0) == sand_litres(20.0)


def test_a_net_volume_is_what_is_left_of_tank_and_sump() -> None:
    """300 L of glass are 250 L of water: a fifth more dose if it were forgotten."""
    found = net_volume_by_geometry([300.0, 60.0], [rock_litres(30.0), 20.0])
    assert pytest.approx(360 - 30 / 2.93 - 20) == found.litres
    assert pytest.approx(0.05 * found.litres) == found.sd_litres


def test_an_addition_shows_the_volume_as_often_as_its_error_says() -> None:
    """Two thousand simulated tests of a rise of 0.5 with errors of 0.05."""
    chance = Random(1)  # noqa: S311 - a simulation, no secret
    found = [
        net_volume_by_addition(125.0, 0.5 + chance.gauss(0, 0.05 * sqrt(2)), 0.05)
        for _ in range(2000)
    ]
    # The mean of V is a little high, as 1 / x is bent.
    assert pytest.approx(250.0, rel=0.04) == sum(one.litres for one in found) / 2000
    held = sum(abs(one.litres - 250.0) <= 2 * one.sd_litres for one in found)
    assert held > 1800


def test_baking_soda_shows_a_volume() -> None:
    """Molar mass by molmass: 8.4 g of NaHCO3 are 100 meq, 0.4 meq/L in 250 L."""
    meq = 8.4 / Formula("NaHCO3").mass * 1000
    found = net_volume_by_addition(meq, 0.4, 0.036)
    assert pytest.approx(250.0, rel=1e-3) == found.litres
    assert pytest.approx(0.036 * sqrt(2) / 0.4) == found.relative_error


def test_a_rise_too_small_to_tell_is_refused() -> None:
    """Five errors at least, and it is said how large the rise must be."""
    assert 250.0 == net_volume_by_addition(125.0, 0.5, 0.1).litres
    with pytest.raises(OutOfRangeError, match=r"a rise of 0\.5 or more"):
        net_volume_by_addition(120.0, 0.48, 0.1)


def test_the_addition_that_shows_a_volume_is_told_before() -> None:
    """It makes exactly the smallest rise."""
    added = addition_for(250.0, 0.1)
    assert pytest.approx(250.0) == net_volume_by_addition(added, 0.5, 0.1).litres


def test_better_estimates_count_more() -> None:
    """Weights are one over the squared error, and the error shrinks."""
    rough = NetVolume(litres=260.0, relative_error=0.1)
    fine = NetVolume(litres=250.0, relative_error=0.02)
    both = combined([rough, fine])
    weights = 1 / 26.0**2, 1 / 5.0**2
    mean = (260.0 * weights[0] + 250.0 * weights[1]) / sum(weights)
    assert pytest.approx(mean) == both.litres
    assert both.sd_litres < fine.sd_litres
    assert not disagree(rough, fine)


def test_estimates_of_two_tanks_are_not_averaged() -> None:
    """Glass says 300 L, the addition 220 L: something is wrong."""
    glass = NetVolume(litres=300.0, relative_error=0.05)
    addition = NetVolume(litres=220.0, relative_error=0.05)
    assert disagree(glass, addition)
    with pytest.raises(OutOfRangeError, match="Measure again"):
        combined([glass, addition])


@pytest.mark.parametrize(
    "call",
    [
        lambda: box_litres(0.0, 10.0, 10.0),
        lambda: box_litres(10.0, -1.0, 10.0),
        lambda: box_litres(10.0, 10.0, nan),
        lambda: cylinder_litres(0.0, 10.0),
        lambda: cylinder_litres(10.0, 0.0),
        lambda: rock_litres(-1.0),
        lambda: sand_litres(nan),
        lambda: net_volume_by_geometry([], []),
        lambda: net_volume_by_geometry([0.0], []),
        lambda: net_volume_by_geometry([100.0], [-1.0]),
        lambda: net_volume_by_geometry([100.0], [100.0]),
        lambda: net_volume_by_geometry([100.0], [], 0.0),
        lambda: net_volume_by_geometry([100.0], [], 1.1),
        lambda: net_volume_by_addition(0.0, 0.5, 0.1),
        lambda: net_volume_by_addition(100.0, -0.5, 0.1),
        lambda: net_volume_by_addition(100.0, 0.5, 0.0),
        lambda: net_volume_by_addition(100.0, nan, 0.1),
        lambda: addition_for(0.0, 0.1),
        lambda: addition_for(250.0, 0.0),
        lambda: combined([]),
    ],
)
def test_what_is_no_volume_is_refused(call: Callable[[], object]) -> None:
    """Nothing, negative, or all rock."""
    with pytest.raises(OutOfRangeError):
        call()
