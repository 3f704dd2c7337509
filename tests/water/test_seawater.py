"""Sea water against the reference library of TEOS-10, and its ranges."""

from collections.abc import Callable

import gsw
import pytest

from slackwater.errors import OutOfRangeError
from slackwater.water.seawater import (
    conductivity_from_salinity,
    density_eos1980,
    normalised,
    per_kg,
    per_litre,
    reference_salinity_millero2008,
    salinity_from_conductivity,
    salinity_from_specific_gravity,
    salinity_pss1978,
    specific_gravity,
)

SALINITIES = [5.0, 20.0, 30.0, 33.0, 35.0, 37.0, 41.0]
TEMPERATURES = [5.0, 15.0, 20.0, 25.0, 28.0, 32.0]
PAIRS = ["25/25", "20/20", "60F/60F", "20/4"]


@pytest.mark.parametrize("salinity", SALINITIES)
@pytest.mark.parametrize("celsius", TEMPERATURES)
def test_density_agrees_with_the_library(salinity: float, celsius: float) -> None:
    """The equations of 1980 and 2010 differ by 6 parts in a million at most here."""
    reference = reference_salinity_millero2008(salinity)
    library = float(gsw.rho_t_exact(reference, celsius, 0))
    assert pytest.approx(library, rel=6e-6) == density_eos1980(salinity, celsius)


@pytest.mark.parametrize("milli", [20.0, 36.0, 42.914, 48.0, 50.0, 53.0])
@pytest.mark.parametrize("celsius", [18.0, 25.0, 30.0, 34.0])
def test_salinity_agrees_with_the_library(milli: float, celsius: float) -> None:
    """Both implement the practical salinity scale of 1978."""
    library = float(gsw.SP_from_C(milli, celsius, 0))
    found = salinity_from_conductivity(milli, celsius)
    assert pytest.approx(library, abs=2e-6) == found


@pytest.mark.parametrize("salinity", SALINITIES)
@pytest.mark.parametrize("celsius", TEMPERATURES)
def test_conductivity_comes_back(salinity: float, celsius: float) -> None:
    """Salinity to conductivity to salinity; the library agrees on the way."""
    milli = conductivity_from_salinity(salinity, celsius)
    library = float(gsw.C_from_SP(salinity, celsius, 0))
    assert pytest.approx(library, abs=1e-4) == milli
    if 5.0 <= milli <= 75.0:
        back = salinity_from_conductivity(milli, celsius)
        assert pytest.approx(salinity, abs=1e-6) == back


@pytest.mark.parametrize("pair", PAIRS)
@pytest.mark.parametrize("salinity", [20.0, 30.0, 35.0, 40.0])
def test_specific_gravity_comes_back(pair: str, salinity: float) -> None:
    """Salinity to specific gravity to salinity."""
    gravity = specific_gravity(salinity, pair)
    back = salinity_from_specific_gravity(gravity, pair)
    assert pytest.approx(salinity, abs=1e-6) == back


def test_litres_and_kilograms_come_back() -> None:
    """A content per kilogram to one per litre and back."""
    assert pytest.approx(412.0) == per_kg(per_litre(412.0, 35.0, 25.0), 35.0, 25.0)


@pytest.mark.parametrize("number", [float("nan"), float("inf"), -float("inf"), -5.0])
def test_no_formula_takes_what_is_no_reading(number: float) -> None:
    """NaN, infinity and negative numbers are outside every range."""
    calls: list[Callable[[], float]] = [
        lambda: salinity_pss1978(number, 25.0),
        lambda: salinity_pss1978(1.0, number),
        lambda: salinity_from_conductivity(number, 25.0),
        lambda: conductivity_from_salinity(number, 25.0),
        lambda: conductivity_from_salinity(35.0, number),
        lambda: density_eos1980(number, 25.0),
        lambda: density_eos1980(35.0, number),
        lambda: salinity_from_specific_gravity(number, "25/25"),
        lambda: normalised(400.0, number),
        lambda: reference_salinity_millero2008(number),
    ]
    for call in calls:
        with pytest.raises(OutOfRangeError):
            call()


@pytest.mark.parametrize(("ratio", "celsius"), [(0.01, 25.0), (1.5, 15.0), (1.0, 35.1)])
def test_a_salinity_off_the_scale_is_refused(ratio: float, celsius: float) -> None:
    """The scale of 1978 holds from 2 to 42 and from -2 to 35 degC."""
    with pytest.raises(OutOfRangeError):
        salinity_pss1978(ratio, celsius)


@pytest.mark.parametrize("pair", ["", "25", "25/20", "60/60"])
def test_an_unknown_reference_pair_is_refused(pair: str) -> None:
    """The pair is read off the instrument."""
    with pytest.raises(OutOfRangeError, match="reference pair"):
        specific_gravity(35.0, pair)
