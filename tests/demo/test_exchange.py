"""The invented water exchanged by two pumps, against mass balances by hand."""

from math import exp
from pathlib import Path

import pytest

import demo.reef
from demo.reef.reef_file import read_reef
from demo.reef.water import Hose, Water
from slackwater.outside.settings import read_machine
from slackwater.water.water_changes import after_exchange

HERE = Path(demo.reef.__file__).parent
CONFIG = HERE.parents[1] / "config" / "exchange"
# 150 mL at the nominal 400 mL a minute.
PORTION_MS = 22_500


def exchanged(water: Water, portions: int) -> float:
    """The salinity after so many portions out and in."""
    for _ in range(portions):
        water.flow("water-out", PORTION_MS)
        water.flow("water-in", PORTION_MS)
    return water.tanks["reef"].salinity


def test_a_drain_that_gives_5_percent_more_thins_the_tank() -> None:
    """35 times what left for good, over 300 L; 20 portions a day for ten days."""
    water = read_reef(HERE / "exchange.json").water()
    more_l = (7000.0 - 6666.667) * PORTION_MS / 1000 / 1_000_000
    found = exchanged(water, 200)
    assert 35.0 * (1 - 200 * more_l / 300) == pytest.approx(found, abs=0.001)
    lost_l = -water.tanks["reef"].surplus_l
    assert 200 * more_l == pytest.approx(lost_l, rel=1e-9)


def test_equal_pumps_change_the_salinity_toward_that_of_the_new_water() -> None:
    """300 portions of 150 mL by C = Cn + (C0 - Cn) exp(-Q t / V), a steady exchange."""
    water = read_reef(HERE / "exchange.json").water()
    even = {
        "water-out": Hose(tank="reef", rate_ul_per_s=6666.667, moves="drain"),
        "water-in": Hose(
            tank="reef", rate_ul_per_s=6666.667, moves="fill", salinity=33.0
        ),
    }
    found = exchanged(Water(tanks=water.tanks, hoses=even), 300)
    share = 300 * 0.15 / 300
    assert 33.0 + 2.0 * exp(-share) == pytest.approx(found, abs=0.001)
    assert after_exchange(35.0, 33.0, 1.0, share) == pytest.approx(found, abs=0.001)


def test_the_pair_of_the_demo_fits_the_sample() -> None:
    """Same node, channels, pumps and nominal rates as `config/exchange`."""
    reef, machine = read_reef(HERE / "exchange.json"), read_machine(CONFIG)
    assert reef.site == machine.site
    channels = reef.nodes["shelf"].channels
    for pump in machine.pumps.values():
        channel = channels[pump.channel]
        assert pump.id == channel.pump
        assert pump.rate_nl_per_s // 1000 == channel.nominal_ul_per_min // 60
        assert pump.per_dose_ul <= channel.max_ul
    assert {"drain", "fill"} == {channel.moves for channel in channels.values()}
