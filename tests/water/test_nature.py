"""Natural sea water, row by row against the compilation and by arithmetic."""

import csv
import re
from math import nan

import gsw
import pytest
from molmass import Formula

from slackwater.errors import InputError, OutOfRangeError
from slackwater.water.nature import NATURAL, NORMALISED, level_to_judge, times_nature
from slackwater.water.parameters import PARAMETERS
from tests.water.checks import HERE

DENSITY = float(gsw.rho_t_exact(35.16504, 25, 0)) / 1000


def rows() -> list[dict[str, str]]:
    """The compiled values, each with its source."""
    with (HERE / "natural_seawater.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", rows(), ids=lambda row: row["symbol"])
def test_every_row_of_the_compilation_is_there(row: dict[str, str]) -> None:
    """Value, unit, whether from memory and whether conservative, row by row."""
    found = NATURAL[row["symbol"]]
    assert float(row["value"]) == found.value
    assert row["unit"] == found.unit
    assert (row["from_memory"] == "yes") == found.from_memory
    assert (row["conservative"] == "yes") == found.conservative
    author = row["source"].replace("&", "and").split(" 19")[0].split(" 20")[0]
    assert found.source.startswith(author.split(",")[0])


def test_no_row_is_invented() -> None:
    """The table holds the compilation and nothing else."""
    assert {row["symbol"] for row in rows()} == set(NATURAL)


def test_every_natural_level_of_a_parameter_has_its_row() -> None:
    """Salinity has its own definition and is no row."""
    having = {item.id for item in PARAMETERS.values() if item.natural is not None}
    assert having - {"salinity"} == {row.parameter for row in NATURAL.values()} - {""}


def weighed(row: str) -> float | None:
    """The printed figure in the unit of the row, by molar mass and density."""
    found = NATURAL[row]
    match = re.match(
        r"([0-9.]+)(?: \([^)]*\))? ([munp]?)(g|mol)/(kg|L|g)", found.printed
    )
    assert match, found.printed
    parts = {"m": 1e-3, "u": 1e-6, "n": 1e-9, "p": 1e-12, "": 1.0}
    figure = float(match[1]) * parts[match[2]]
    if match[3] == "mol":
        symbol = row.removesuffix("_reef")
        mass = Formula(symbol).mass
        figure *= mass
    litres = {"kg": DENSITY, "L": 1.0, "g": DENSITY * 1000}[match[4]]
    return figure * litres / {"mg/L": 1e-3, "ug/L": 1e-6}[found.unit]


@pytest.mark.parametrize(
    "row", [symbol for symbol in NATURAL if not symbol.startswith("Alk")]
)
def test_a_level_is_its_printed_figure(row: str) -> None:
    """Oracles: molmass for the mole, gsw for the litre; to the digits printed."""
    assert pytest.approx(weighed(row), rel=0.02) == NATURAL[row].value


def test_alkalinity_is_one_quantity_in_three_units() -> None:
    """2304 umol/kg; 1 dKH is 10 mg/L of CaO, two equivalents a mole."""
    per_litre = 2304.0 * DENSITY / 1000
    degree = 20 / Formula("CaO").mass
    assert pytest.approx(per_litre, rel=1e-3) == NATURAL["Alk_meq"].value
    assert pytest.approx(per_litre / degree, rel=1e-3) == NATURAL["Alk_dKH"].value


def test_alkalinity_is_the_sum_of_its_bases() -> None:
    """Millero et al. 2008, table 4: umol/kg of HCO3, CO3, B(OH)4, OH (from memory)."""
    bases = 1717.7 + 2 * 238.9 + 100.8 + 7.9
    assert pytest.approx(bases, rel=1e-3) == NATURAL["Alk"].value


@pytest.mark.parametrize(
    ("identity", "level", "factor"),
    [("calcium", 421.7, 1.0), ("calcium", 843.4, 2.0), ("copper", 2.6, 10.0)],
)
def test_a_level_is_a_multiple_of_nature(
    identity: str, level: float, factor: float
) -> None:
    """What practice prints beside its bands."""
    assert pytest.approx(factor) == times_nature(identity, level)


def test_what_nature_does_not_have_has_no_multiple() -> None:
    """Organic carbon and pH."""
    assert times_nature("carbon", 1.0) is None
    assert times_nature("ph", 8.2) is None


@pytest.mark.parametrize("identity", PARAMETERS)
def test_only_what_keeps_its_proportion_is_normalised(identity: str) -> None:
    """At S = 33 a conservative level counts 6 percent more."""
    expected = 400.0 * 35 / 33 if identity in NORMALISED else 400.0
    assert pytest.approx(expected) == level_to_judge(identity, 400.0, 33.0)


def test_everything_normalised_is_conservative() -> None:
    """The ocean's word for keeping its proportion."""
    conservative = {row.parameter for row in NATURAL.values() if row.conservative}
    assert NORMALISED <= conservative


def test_an_unknown_parameter_or_no_number_is_refused() -> None:
    """As everywhere."""
    with pytest.raises(InputError):
        times_nature("gold", 1.0)
    with pytest.raises(OutOfRangeError):
        times_nature("calcium", nan)
    with pytest.raises(InputError):
        level_to_judge("gold", 1.0, 35.0)
    with pytest.raises(OutOfRangeError):
        level_to_judge("calcium", 400.0, 43.0)
    with pytest.raises(OutOfRangeError):
        level_to_judge("nitrate", nan, 35.0)
