"""Constants of the carbonate system against the reference program and print."""

from collections.abc import Callable, Mapping
from math import log, log10, nan

import pytest

from slackwater.errors import OutOfRangeError
from slackwater.water import carbonate
from tests.water.reference import Known, answers

SALINITIES = [19.0, 33.0, 35.0, 43.0]
TEMPERATURES = [2.0, 20.0, 25.0, 35.0]
GRID = [
    Known(salinity=salinity, celsius=celsius)
    for salinity in SALINITIES
    for celsius in TEMPERATURES
]

BY_BOTH: Mapping[str, Callable[[float, float], float]] = {
    "k_CO2": carbonate.co2_solubility_weiss1974,
    "k_carbonic_1": carbonate.first_dissociation_lueker2000,
    "k_carbonic_2": carbonate.second_dissociation_lueker2000,
    "k_borate": carbonate.borate_dissociation_dickson1990,
    "k_water": carbonate.water_dissociation_millero1995,
    "k_bisulfate": carbonate.sulfate_dissociation_dickson1990,
    "k_fluoride": carbonate.fluoride_dissociation_dickson1979,
    "k_aragonite": carbonate.aragonite_solubility_mucci1983,
    "k_calcite": carbonate.calcite_solubility_mucci1983,
}
BY_SALINITY: Mapping[str, Callable[[float], float]] = {
    "total_borate": carbonate.total_borate_uppstrom1974,
    "total_calcium": carbonate.total_calcium_riley1967,
    "total_sulfate": carbonate.total_sulfate_morris1966,
    "total_fluoride": carbonate.total_fluoride_riley1965,
}


def program(salinity: float, celsius: float) -> Mapping[str, float]:
    """What the reference program says of a water."""
    return answers(GRID)[Known(salinity=salinity, celsius=celsius)]


@pytest.mark.parametrize("salinity", SALINITIES)
@pytest.mark.parametrize("celsius", TEMPERATURES)
@pytest.mark.parametrize("name", BY_BOTH)
def test_a_constant_is_that_of_the_program(
    name: str, celsius: float, salinity: float
) -> None:
    """Over the whole range, on the total scale; sulfate and fluoride on the free."""
    library = program(salinity, celsius)[name]
    # The program holds KW and KF on the total scale by way of another; 2 parts in 1000.
    near = 2e-3 if name in ("k_water", "k_fluoride") else 2e-4
    assert pytest.approx(library, rel=near) == BY_BOTH[name](salinity, celsius)


@pytest.mark.parametrize("salinity", SALINITIES)
@pytest.mark.parametrize("name", BY_SALINITY)
def test_a_total_is_that_of_the_program(name: str, salinity: float) -> None:
    """The program gives totals in µmol per kg."""
    library = program(salinity, 25.0)[name] * 1e-6
    assert pytest.approx(library, rel=1e-6) == BY_SALINITY[name](salinity)


@pytest.mark.parametrize("celsius", TEMPERATURES)
def test_the_fugacity_is_that_of_the_program(celsius: float) -> None:
    """Carbon dioxide is not quite an ideal gas."""
    library = program(35.0, celsius)["fugacity_factor"]
    found = carbonate.fugacity_coefficient_weiss1974(celsius)
    assert pytest.approx(library, rel=1e-6) == found


# Dickson, Sabine and Christian 2007, chapter 5: check values at S = 35 and 25 degC.
@pytest.mark.parametrize(
    ("found", "printed", "near"),
    [
        (log(carbonate.co2_solubility_weiss1974(35.0, 25.0)), -3.5617, 5e-5),
        (-log10(carbonate.first_dissociation_lueker2000(35.0, 25.0)), 5.8472, 5e-5),
        (-log10(carbonate.second_dissociation_lueker2000(35.0, 25.0)), 8.9660, 5e-5),
        (log(carbonate.borate_dissociation_dickson1990(35.0, 25.0)), -19.7964, 5e-5),
        (log(carbonate.water_dissociation_millero1995(35.0, 25.0)), -30.434, 5e-4),
        (log(carbonate.sulfate_dissociation_dickson1990(35.0, 25.0)), -2.2996, 5e-5),
    ],
)
def test_a_constant_is_the_printed_one(
    found: float, printed: float, near: float
) -> None:
    """To the last digit of the guide."""
    assert pytest.approx(printed, abs=near) == found


def test_lee_finds_four_percent_more_boron() -> None:
    """432.6 µmol/kg at S = 35, Lee et al. 2010."""
    found = carbonate.total_borate_lee2010(35.0)
    assert pytest.approx(432.6e-6) == found
    assert pytest.approx(1.0407, abs=1e-4) == found / (
        carbonate.total_borate_uppstrom1974(35.0)
    )


OUTSIDE = [(18.9, 25.0), (43.1, 25.0), (35.0, 1.9), (35.0, 35.1), (nan, 25.0)]


@pytest.mark.parametrize(("salinity", "celsius"), OUTSIDE)
@pytest.mark.parametrize(
    "formula",
    [*BY_BOTH.values(), carbonate.activity_factor_takahashi1982],
    ids=lambda formula: formula.__name__,
)
def test_no_constant_outside_its_range(
    formula: Callable[[float, float], float], salinity: float, celsius: float
) -> None:
    """Where Lueker et al. did not measure, nothing is said."""
    with pytest.raises(OutOfRangeError):
        formula(salinity, celsius)


@pytest.mark.parametrize("salinity", [18.9, 43.1, nan])
@pytest.mark.parametrize(
    "formula",
    [
        *BY_SALINITY.values(),
        carbonate.total_borate_lee2010,
        carbonate.ionic_strength_dickson2007,
    ],
    ids=lambda formula: formula.__name__,
)
def test_no_total_outside_its_range(
    formula: Callable[[float], float], salinity: float
) -> None:
    """The same bounds for all."""
    with pytest.raises(OutOfRangeError):
        formula(salinity)


@pytest.mark.parametrize("celsius", [1.9, 35.1, nan])
def test_no_fugacity_outside_its_range(celsius: float) -> None:
    """A tank is neither ice nor soup."""
    with pytest.raises(OutOfRangeError):
        carbonate.fugacity_coefficient_weiss1974(celsius)
