"""The virtual water: mass balance, stoichiometry, lights, and fineness of steps."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import exp

import pytest

from slackwater.facts.tank import Outside
from slackwater.rehearsal.virtual_tank import (
    BY_DAY,
    BY_NIGHT,
    DEAD_MEQ_PER_L,
    Pace,
    VirtualTank,
    canonical,
    living_of,
    midnight,
    starts_of,
)
from tests.rehearsal.houses import (
    CALCIUM_MG_PER_MEQ,
    FIRST,
    LITRES,
    MEQ_PER_DKH,
    machine_with,
    peq,
    reef,
    sample,
)

BEGIN = datetime(2026, 5, 3, tzinfo=UTC)
DAY = timedelta(days=1)
STEADY = Pace(lights=False)


def water(pace: Pace = STEADY, outside_dkh: float = 0.0) -> VirtualTank:
    """200 L at 8 dKH and 420 mg/L calcium that takes up 1.5 dKH a day."""
    tank = reef()
    machine = machine_with(tank, outside_dkh)
    return VirtualTank(machine, "reef", starts_of(tank, {}), BEGIN, pace)


def test_uptake_falls_with_alkalinity_as_the_equation_says() -> None:
    """A(t) = 3 + 5 exp(-0.3 t) dKH: U = U0 (A - 3) / (A0 - 3), U0 1.5, A0 8."""
    tank = water()
    for days in range(1, 8):
        tank.advance(BEGIN + days * DAY)
        expected = 3 + 5 * exp(-1.5 / 5 * days)
        assert expected == pytest.approx(
            tank.levels["alkalinity"] / MEQ_PER_DKH, rel=1e-6
        )


def test_from_8_to_6_takes_32_to_41_hours_at_one_and_a_half() -> None:
    """Design, law 7: at 1.5 dKH a day 8.0 falls to 6.0 in 32 to 41 hours."""
    tank = water()
    tank.advance(BEGIN + timedelta(hours=32))
    assert tank.levels["alkalinity"] > 6.0 * MEQ_PER_DKH
    tank.advance(BEGIN + timedelta(hours=41))
    assert 6.0 == pytest.approx(tank.levels["alkalinity"] / MEQ_PER_DKH, abs=0.02)


def test_calcium_goes_with_alkalinity_by_stoichiometry() -> None:
    """Half a mole of calcium an equivalent, less what strontium and magnesium take."""
    tank = water()
    tank.advance(BEGIN + 3 * DAY)
    taken_meq = 8.0 * MEQ_PER_DKH - tank.levels["alkalinity"]
    taken_mg = 420.0 - tank.levels["calcium"]
    assert taken_meq * CALCIUM_MG_PER_MEQ / (1 + 0.009 + 0.0045) == pytest.approx(
        taken_mg, rel=1e-6
    )


def test_what_is_taken_up_is_what_outside_sources_bring_in_the_long_run() -> None:
    """At rest uptake equals the source: 0.5 = 1.5 (A - 3) / 5, A = 4.667 dKH."""
    tank = water(outside_dkh=0.5)
    tank.advance(BEGIN + 90 * DAY)
    assert 3 + 5 / 3 == pytest.approx(tank.levels["alkalinity"] / MEQ_PER_DKH, rel=1e-6)


@pytest.mark.parametrize("minutes", [1, 7, 60, 1440])
def test_steps_of_any_length_end_at_the_same_level(minutes: int) -> None:
    """The lights switch on time however coarsely the tank is looked at."""
    coarse, fine = water(Pace()), water(Pace())
    coarse.advance(BEGIN + 5 * DAY)
    for step in range(5 * 1440 // minutes):
        fine.advance(BEGIN + timedelta(minutes=(step + 1) * minutes))
    fine.advance(BEGIN + 5 * DAY)
    for name, level in coarse.levels.items():
        assert level == pytest.approx(fine.levels[name], rel=1e-9)


def test_a_day_with_lights_is_a_day_of_the_same_uptake() -> None:
    """Twelve hours at each pace, and the mean is the stated uptake."""
    assert 1.0 == (BY_DAY + BY_NIGHT) / 2
    night, dawn = water(Pace()), water(Pace())
    night.advance(BEGIN + timedelta(hours=8))
    dawn.advance(BEGIN + timedelta(hours=9))
    after_dusk = dawn.levels["alkalinity"]
    dawn.advance(BEGIN + timedelta(hours=10))
    by_night = night.levels["alkalinity"] - after_dusk
    by_day = after_dusk - dawn.levels["alkalinity"]
    assert 3.0 == pytest.approx(by_day / by_night, rel=0.05)


def test_lights_follow_the_wall_clock_of_the_tank() -> None:
    """In Auckland 09:00 is 21:00 UTC of the day before."""
    tank = reef(zone="Pacific/Auckland")
    machine = machine_with(tank)
    there = VirtualTank(machine, "reef", starts_of(tank, {}), BEGIN)
    here = water(Pace())
    for one in (there, here):
        one.advance(BEGIN + timedelta(hours=6))
    assert there.levels["alkalinity"] < here.levels["alkalinity"]


def test_a_dose_mixes_in_whole() -> None:
    """0.5 dKH of alkalinity, and nothing of what the tank does not follow."""
    tank = water()
    tank.pour({"alkalinity": peq(0.5), "iodine": 10**12})
    assert 8.5 == pytest.approx(tank.levels["alkalinity"] / MEQ_PER_DKH)
    assert {"alkalinity", "calcium"} == set(tank.levels)


def test_below_rest_nothing_is_taken_up() -> None:
    """At 2 dKH corals build nothing: the level stays."""
    tank = reef()
    low = {"alkalinity": 2 * MEQ_PER_DKH}
    water_low = VirtualTank(machine_with(tank), "reef", low, BEGIN, STEADY)
    water_low.advance(BEGIN + 10 * DAY)
    assert 2 * MEQ_PER_DKH == pytest.approx(water_low.levels["alkalinity"])
    assert 3.0 == pytest.approx(DEAD_MEQ_PER_L / MEQ_PER_DKH, rel=1e-5)


def test_a_stated_uptake_stands_before_the_one_that_follows() -> None:
    """The sample states 7 mg/L calcium and nothing of magnesium: that follows."""
    machine, _plan = sample("smallest")
    living = living_of(machine, "reef")
    assert 7.0 == pytest.approx(living.uptake["calcium"], rel=1e-6)
    # 1 dKH a day: 0.1783 mmol/L of metals, 4.5 of 1013.5 of them magnesium.
    magnesium = MEQ_PER_DKH / 2 * 4.5 / 1013.5 * 24.305
    assert magnesium == pytest.approx(living.uptake["magnesium"], rel=1e-5)


def test_levels_begin_as_measured_else_at_the_target() -> None:
    """A test stands before a target; what is only measured has no balance."""
    tank = reef()
    found = starts_of(tank, {"alkalinity": 2.5, "temperature": 25.0})
    assert {"alkalinity": 2.5, "calcium": 420.0} == found


def test_amounts_become_levels() -> None:
    """Canonical units: meq/L of alkalinity."""
    assert MEQ_PER_DKH == pytest.approx(canonical(reef(), "alkalinity", peq(1.0)))


def test_a_local_midnight_is_an_instant() -> None:
    """Berlin is two hours ahead in May."""
    assert BEGIN - timedelta(hours=2) == midnight(FIRST, "Europe/Berlin")


def test_without_an_uptake_only_outside_sources_move_the_water() -> None:
    """A hand adds calcium to this tank, another one to a tank that is not asked."""
    tank = replace(reef(), uptake={})
    machine = machine_with(tank)
    added = 2 * 10**9 * LITRES
    hands = [
        Outside(id=name, tank=of, parameter="calcium", per_day=added)
        for name, of in (("hand", "reef"), ("other", "elsewhere"))
    ]
    machine = replace(machine, outside=tuple(hands))
    water = VirtualTank(machine, "reef", {"calcium": 420.0, "alkalinity": 2.9}, BEGIN)
    water.advance(BEGIN + 3 * DAY)
    assert 420.0 + 3 * 2.0 == pytest.approx(water.levels["calcium"])
    assert 2.9 == pytest.approx(water.levels["alkalinity"])
