"""How fast a level may be moved; all limits common practice, no source."""

import pytest
from molmass import Formula

from slackwater.water.limits import ALKALINITY_PER_DOSE, LONGEST_RAMP_DAYS, limits_of
from slackwater.water.parameters import PARAMETERS

# One degree is 10 mg/L of CaO of two equivalents; oracle: molmass.
DKH = 20 / Formula("CaO").mass
DOSED = [item.id for item in PARAMETERS.values() if item.is_dosed]


@pytest.mark.parametrize("parameter", DOSED)
def test_limits_are_in_order(parameter: str) -> None:
    """One dose brings no more than a day, a day no more than its ceiling."""
    target = PARAMETERS[parameter].natural or 1.0
    found = limits_of(parameter, target)
    assert 0 < found.per_dose <= found.rise_per_day <= found.rise_ceiling
    assert found.dead_band > 0
    assert found.tau_days > 0
    assert 0 < found.fresh_days <= LONGEST_RAMP_DAYS


@pytest.mark.parametrize(
    ("parameter", "rise", "ceiling", "dose", "fresh"),
    [
        ("alkalinity", 0.5 * DKH, 1.0 * DKH, 0.2 * DKH, 3),
        ("calcium", 15.0, 40.0, 5.0, 14),
        ("magnesium", 40.0, 100.0, 20.0, 30),
        ("potassium", 8.0, 20.0, 4.0, 45),
        ("strontium", 0.3, 1.0, 0.15, 45),
        ("iodine", 3.0, 10.0, 1.0, 30),
    ],
)
def test_a_stated_limit_is_the_practice(
    parameter: str, rise: float, ceiling: float, dose: float, fresh: float
) -> None:
    """In canonical units, whatever the target."""
    for target in (1.0, 500.0):
        found = limits_of(parameter, target)
        assert pytest.approx(rise, rel=1e-4) == found.rise_per_day
        assert pytest.approx(ceiling, rel=1e-4) == found.rise_ceiling
        assert pytest.approx(dose, rel=1e-4) == found.per_dose
        assert fresh == found.fresh_days


def test_a_trace_moves_by_a_share_of_its_target() -> None:
    """A tenth a day, three tenths at most, a twentieth at once, for 45 days."""
    found = limits_of("manganese", 2.0)
    assert pytest.approx((0.2, 0.6, 0.1)) == (
        found.rise_per_day,
        found.rise_ceiling,
        found.per_dose,
    )
    assert 45 == found.fresh_days


def test_caustic_comes_in_the_smallest_doses() -> None:
    """It moves the pH most, bicarbonate least."""
    degrees = {base: rise / DKH for base, rise in ALKALINITY_PER_DOSE.items()}
    expected = {"hydroxide": 0.1, "carbonate": 0.2, "bicarbonate": 0.3}
    assert pytest.approx(expected, rel=1e-4) == degrees


def test_an_unknown_parameter_is_a_slip_of_the_programmer() -> None:
    """Ids were read and refused long before."""
    with pytest.raises(KeyError):
        limits_of("gold", 1.0)
