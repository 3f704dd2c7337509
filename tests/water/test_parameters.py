"""The table of parameters and exact amounts."""

import csv
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.errors import InputError, OutOfRangeError
from slackwater.water.parameters import (
    PARAMETERS,
    amount_in_litres,
    concentration,
    parameter_named,
)
from slackwater.water.spellings import units_of
from tests.water.checks import HERE

# Rows that say the same in another unit or form, or are not measured in a tank.
OTHER_FORMS = {"S", "B(OH)3", "C", "Alk", "Alk_dKH", "N", "NO3", "P", "PO4"}
SYMBOLS = {"Alk_meq": "KH", "NO3_reef": "NO3", "PO4_reef": "PO4"}
DOSED = [item.id for item in PARAMETERS.values() if item.is_dosed]


def natural_rows() -> list[dict[str, str]]:
    """The compiled natural values, each with its source."""
    with (HERE / "natural_seawater.csv").open(encoding="utf-8", newline="") as file:
        return [row for row in csv.DictReader(file) if row["symbol"] not in OTHER_FORMS]


@pytest.mark.parametrize("row", natural_rows(), ids=lambda row: row["symbol"])
def test_natural_values_are_those_of_the_compilation(row: dict[str, str]) -> None:
    """Symbol, unit, figure, and whether it is from memory, row by row."""
    symbol = SYMBOLS.get(row["symbol"], row["symbol"])
    found = next(item for item in PARAMETERS.values() if item.symbol == symbol)
    assert (float(row["value"]), row["unit"], row["from_memory"] == "yes") == (
        found.natural,
        found.canonical_unit,
        found.from_memory,
    )


@pytest.mark.parametrize("identity", PARAMETERS)
def test_a_row_makes_sense(identity: str) -> None:
    """Windows are ordered, ids are plain words, the display unit is a unit."""
    item = PARAMETERS[identity]
    assert item.never_below <= item.low < item.high <= item.never_above
    assert identity == item.id
    assert identity.isascii()
    assert identity.islower()
    assert identity.isalpha()
    assert item.display_unit in units_of(item)
    assert item.source


@pytest.mark.parametrize(
    ("identity", "unit", "pico"),
    [
        ("alkalinity", "meq/L", 10**9),
        ("calcium", "mg/L", 10**9),
        ("nitrate", "mg/L", 10**9),
        ("iodine", "ug/L", 10**6),
        ("carbon", "mmol/L", 10**9),
        ("temperature", "degC", 0),
        ("lead", "ug/L", 0),
    ],
)
def test_pico_units_follow_the_kind(identity: str, unit: str, pico: int) -> None:
    """A milli-unit is 10**9 pico-units, a micro-unit 10**6."""
    item = PARAMETERS[identity]
    assert (unit, pico) == (item.canonical_unit, item.pico_per_unit)


def test_an_amount_is_concentration_times_volume() -> None:
    """One meq/L in 250 L is 250 meq."""
    assert 250 * 10**9 == amount_in_litres("alkalinity", 1, 250)


@pytest.mark.parametrize(("tenths", "whole"), [(5, 0), (15, 2), (25, 2), (-5, 0)])
def test_amounts_round_half_to_even(tenths: int, whole: int) -> None:
    """Half a pico-unit goes to the even neighbour."""
    tiny = Decimal(tenths) / 10 / 10**9
    assert whole == amount_in_litres("calcium", tiny, 1)


@given(
    identity=st.sampled_from(DOSED),
    amount=st.integers(-(10**15), 10**15),
    litres=st.fractions(Fraction(1, 1000), 10**6),
)
def test_amounts_come_back(identity: str, amount: int, litres: Fraction) -> None:
    """Amount to concentration to amount is exact."""
    level = concentration(identity, amount, litres)
    assert amount == amount_in_litres(identity, level, litres)


@pytest.mark.parametrize("litres", [0, -1, float("nan"), float("inf")])
def test_a_tank_without_water_is_refused(litres: float) -> None:
    """Zero, negative and endless volumes have no concentration."""
    with pytest.raises(OutOfRangeError):
        concentration("calcium", 1, litres)


@pytest.mark.parametrize("level", [float("nan"), float("inf"), Decimal("NaN")])
def test_a_level_that_is_no_number_is_refused(level: float | Decimal) -> None:
    """Neither NaN nor infinity becomes an amount."""
    with pytest.raises(OutOfRangeError, match="finite"):
        amount_in_litres("calcium", level, 100)


@pytest.mark.parametrize("identity", ["temperature", "ph", "salinity", "lead"])
def test_what_is_only_measured_has_no_amount(identity: str) -> None:
    """States and contaminants are never dosed."""
    with pytest.raises(InputError, match="not dosed"):
        amount_in_litres(identity, 1, 1)


def test_only_carbon_is_never_measured() -> None:
    """No test shows organic carbon; it is dosed by the day."""
    unmeasured = [item.id for item in PARAMETERS.values() if not item.is_measured]
    assert ["carbon"] == unmeasured


def test_an_unknown_name_gets_a_hint() -> None:
    """The nearest name is asked about, the place is named."""
    with pytest.raises(InputError, match=r'x: .*Did you mean "calcium"'):
        parameter_named("Calcum", where="x")


@pytest.mark.parametrize(
    ("word", "meant"),
    [
        ("KH", "alkalinity"),
        ("Ca", "calcium"),
        ("pH", "ph"),
        ("K", "potassium"),
        ("Kalium", "potassium"),
        ("NO3", "nitrate"),
        ("Organic carbon", "carbon"),
        ("phosphat", "phosphate"),
    ],
)
def test_a_symbol_or_another_name_is_asked_about(word: str, meant: str) -> None:
    """It is never taken for it: the id is what stands in files and ledgers."""
    with pytest.raises(InputError, match=f'Did you mean "{meant}"'):
        parameter_named(word, where="")


def test_no_hint_leads_to_another_element() -> None:
    """Natrium is 0.67 like barium, and is not asked to be it; nor is anything else."""
    with pytest.raises(InputError) as refused:
        parameter_named("rubidum", where="")
    assert '"rubidium"' in refused.value.findings[0].do
    with pytest.raises(InputError) as refused:
        parameter_named("qalcium", where="")
    assert "Did you mean" not in refused.value.findings[0].do


@pytest.mark.parametrize("word", ["nitrite", "Nitrite", "sulfide", "silicate"])
def test_another_substance_is_no_slip_of_a_name(word: str) -> None:
    """A kit for nitrite measures no nitrate: nothing is offered in its place."""
    with pytest.raises(InputError) as refused:
        parameter_named(word, where="")
    assert "Did you mean" not in refused.value.findings[0].do


def test_an_unknown_name_without_neighbours_gets_the_list() -> None:
    """Far from every name there is no guess."""
    with pytest.raises(InputError) as refused:
        parameter_named("zzzz", where="")
    assert "Use one of these names." == refused.value.findings[0].do
