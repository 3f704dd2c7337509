"""The carbonate system of a tank, where its inputs are known."""

import PyCO2SYS
import pytest

from slackwater.assessment.carbonate_state import carbonate_state
from tests.assessment.past import DKH
from tests.assessment.pictures import picture, stands


def test_it_agrees_with_the_reference_program() -> None:
    """8 dKH, pH 8.2 (NBS), S = 35, 25 degC: PyCO2SYS with the same constants.

    Lueker et al. 2000, Dickson 1990, Uppstrom 1974, Mucci 1983; calcium of the tank.
    """
    found = carbonate_state(picture({"alkalinity": 8 * DKH, "calcium": 421.7}))
    assert found is not None
    oracle = PyCO2SYS.sys(
        par1=2788.134,
        par1_type=1,
        par2=8.2,
        par2_type=3,
        opt_pH_scale=4,
        salinity=35,
        temperature=25,
        opt_k_carbonic=10,
        opt_total_borate=1,
        opt_k_bisulfate=1,
        opt_k_fluoride=1,
    )
    assert float(oracle["saturation_aragonite"]) == pytest.approx(found.omega, rel=0.01)
    assert float(oracle["pCO2"]) == pytest.approx(found.pco2_uatm, rel=0.01)
    assert 8.063 == pytest.approx(found.ph_total, abs=0.005)
    assert "NBS" == found.ph_scale


def test_its_error_is_mostly_that_of_the_probe() -> None:
    """0.05 of pH is about 9 % of the saturation."""
    found = carbonate_state(picture())
    assert found is not None
    assert 0.09 == pytest.approx(found.omega_sd / found.omega, abs=0.02)
    assert found.pco2_sd_uatm > 0.1 * found.pco2_uatm


def test_measured_calcium_is_used() -> None:
    """A quarter less calcium, a quarter less saturation; nature's where none is."""
    usual, less = (
        carbonate_state(picture()),
        carbonate_state(picture({"calcium": 318.75})),
    )
    none = carbonate_state(picture({"calcium": None}))
    assert usual is not None
    assert less is not None
    assert none is not None
    assert 0.75 == pytest.approx(less.omega / usual.omega)
    assert (True, False) == (usual.calcium_measured, none.calcium_measured)
    assert 421.7 / 425 == pytest.approx(none.omega / usual.omega, rel=5e-3)


@pytest.mark.parametrize("missing", ["alkalinity", "ph", "salinity", "temperature"])
def test_without_one_input_there_is_none(missing: str) -> None:
    """Nothing is computed from a guess."""
    assert None is carbonate_state(picture({missing: None}))
    old = stands(missing, 8.2, word="too old")
    assert None is carbonate_state(picture(standings=[old]))


@pytest.mark.parametrize(
    "levels", [{"ph": 9.4}, {"salinity": 12.0}, {"alkalinity": 23 * DKH}]
)
def test_outside_the_range_of_the_formulas_there_is_none(
    levels: dict[str, float],
) -> None:
    """They were not made for it."""
    assert None is carbonate_state(picture(levels))
