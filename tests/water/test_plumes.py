"""Plumes and gaps."""

from collections.abc import Callable
from math import nan
from typing import get_args

import pytest

from slackwater.errors import OutOfRangeError
from slackwater.water.carbonate_system import (
    Base,
    Water,
    after_addition,
    from_alkalinity_and_ph,
)
from slackwater.water.plumes import (
    MOST_IN_PLUME_MEQ_PER_LITRE,
    fastest_pump_ul_per_s,
    gap_s,
    plume_meq_per_litre,
)

REEF = Water(salinity=35.0, celsius=25.0)


@pytest.mark.parametrize("base", get_args(Base))
def test_a_plume_at_its_limit_does_not_fall_out(base: Base) -> None:
    """Aragonite forms by itself at a saturation of about 20 (from memory)."""
    before = from_alkalinity_and_ph(2850.0, 8.15, "total", REEF)
    most = MOST_IN_PLUME_MEQ_PER_LITRE[base]
    after = after_addition(before, most, base, REEF)
    assert after.omega_aragonite < 12.0
    assert after.ph_total < 8.62


def test_a_pump_at_its_limit_makes_the_plume_of_the_limit() -> None:
    """0.5 L/s past the outlet and 1.887 meq/mL: 0.26 mL/s."""
    fastest = fastest_pump_ul_per_s("carbonate", 1_887_010, 0.5)
    assert pytest.approx(265.0, abs=1.0) == fastest
    assert pytest.approx(1.0) == plume_meq_per_litre(fastest, 1_887_010, 0.5)


def test_a_hydroxide_runs_at_half_the_speed() -> None:
    """It moves the pH most."""
    whole = fastest_pump_ul_per_s("carbonate", 10**6, 0.5)
    assert pytest.approx(whole / 2) == fastest_pump_ul_per_s("hydroxide", 10**6, 0.5)


@pytest.mark.parametrize(
    ("litres", "hydroxide", "seconds"),
    [
        (100, False, 600.0),
        (100, True, 1800.0),
        (400, False, 2400.0),
        (400, True, 2400.0),
    ],
)
def test_a_gap_is_three_turns_or_its_least(
    litres: int, hydroxide: bool, seconds: float
) -> None:
    """A return of 0.5 L/s; common practice, no source."""
    found = gap_s(litres * 10**6, 500_000.0, hydroxide=hydroxide)
    assert pytest.approx(seconds) == found


@pytest.mark.parametrize(
    "call",
    [
        lambda: fastest_pump_ul_per_s("carbonate", 0, 0.5),
        lambda: fastest_pump_ul_per_s("carbonate", 10**6, 0.0),
        lambda: plume_meq_per_litre(0.0, 10**6, 0.5),
        lambda: plume_meq_per_litre(1.0, 0, 0.5),
        lambda: plume_meq_per_litre(1.0, 10**6, nan),
        lambda: gap_s(0, 1.0, hydroxide=False),
        lambda: gap_s(1, 0.0, hydroxide=False),
    ],
)
def test_still_water_is_refused(call: Callable[[], object]) -> None:
    """No stream, no pump, no strength, no tank."""
    with pytest.raises(OutOfRangeError):
        call()
