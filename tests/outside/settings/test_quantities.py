"""Texts with a unit (hazards H42 and H43)."""

import math
from decimal import Decimal
from fractions import Fraction
from itertools import product

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic_core import PydanticCustomError

from slackwater.outside.settings.quantities import (
    FLOWS_NL_PER_S,
    TIMES_MS,
    VOLUMES_UL,
    Duration,
    Flow,
    Milliseconds,
    Purity,
    Quantity,
    Share,
    Size,
    Strength,
    Volume,
    plain_number,
)

KINDS: list[Quantity] = [
    Volume("0 uL", "100000 L"),
    Flow("0 uL/d", "100000 L/s"),
    Duration("0 s", "100000 d"),
    Milliseconds("0 s", "100000 d"),
    Share("0 %", "100000 %"),
    Purity("0 %", "100 %"),
    Strength("0 g/L", "1000 g/L"),
    Size("0 kB", "1000 GB"),
]
REGISTRY: pint.UnitRegistry[float] = pint.UnitRegistry()
PREFIXES = ("", "k", "K", "h", "da", "d", "c", "m", "M", "u", "µ", "μ", "n", "p", "G")
ROOTS = ("L", "l", "gal", "US gal", "s", "min", "h", "d", "B", "g/L", "%", "g", "m")
CONFUSED = sorted(
    {
        spelled
        for prefix, root in product(PREFIXES, ROOTS)
        for unit in (prefix + root,)
        for spelled in (unit, unit.upper(), unit.lower(), unit.swapcase())
    }
)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: type(kind).__name__)
def test_takes_its_own_spellings_and_no_other(kind: Quantity) -> None:
    """Every unit in every prefix and case is in the list, or refused (H43)."""
    taken = set()
    for unit in CONFUSED:
        try:
            kind.read(f"1 {unit}")
            taken.add(unit)
        except PydanticCustomError:
            continue
    assert set(CONFUSED) & set(kind.spellings) == taken


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: type(kind).__name__)
@pytest.mark.parametrize(
    "text",
    [
        *("", " ", "5", "mL", "5 ", "5e3 mL", "1e400 mL", "nan mL", "NaN", "inf L"),
        *("-inf L", "0x5 mL", "5.. mL", ".5 mL", "5. mL", "5,0 mL", "5 000 mL"),
        *("\u00bd L", "5 mL 3", "\u0665 mL", "+-5 mL", "--5 mL", "5 m L", "5\nmL"),
        *("5 mL\n", "5 mL\0", "1" * 13 + " mL"),
    ],
)
def test_refuses_what_is_no_quantity(kind: Quantity, text: str) -> None:
    """Nothing but a plain number and one spelling is read (H42)."""
    with pytest.raises(PydanticCustomError):
        kind.read(text)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: type(kind).__name__)
@pytest.mark.parametrize(
    "value", [5, 5.0, math.nan, math.inf, True, None, [], {}, b"5 mL", Decimal(5)]
)
def test_refuses_bare_values(kind: Quantity, value: object) -> None:
    """A number without its unit is never a quantity."""
    with pytest.raises(PydanticCustomError):
        kind.read(value)


def test_agrees_with_pint_on_every_volume() -> None:
    """The factors are those of pint's own definition file (oracle)."""
    registry = REGISTRY
    names = {"US gal": "gallon", "l": "liter", "ml": "mL"}
    for unit, factor in VOLUMES_UL.items():
        expected = registry.Quantity(1, names.get(unit, unit)).to("microliter").m
        assert pytest.approx(expected, rel=1e-12) == float(factor), unit


def test_agrees_with_pint_on_every_flow_and_time() -> None:
    """A flow is its volume over its time (oracle: pint)."""
    registry = REGISTRY
    names = {"US gal": "gallon", "l": "liter", "ml": "mL"}
    for unit, factor in FLOWS_NL_PER_S.items():
        volume, time = unit.split("/")
        flow = registry.Quantity(1, names.get(volume, volume)) / registry.Quantity(
            1, {"d": "day", "h": "hour"}.get(time, time)
        )
        expected = flow.to("nanoliter / second").m
        assert pytest.approx(expected, rel=1e-12) == float(factor), unit
    for unit, factor in TIMES_MS.items():
        name = {"d": "day", "h": "hour"}.get(unit, unit)
        expected = registry.Quantity(1, name).to("ms").m
        assert pytest.approx(expected, rel=1e-12) == float(factor), unit


WRITTEN = st.decimals(min_value=0, max_value=1000, places=6)
ANY_VOLUME = given(number=WRITTEN, unit=st.sampled_from(sorted(VOLUMES_UL)))
ANYTHING = given(number=st.one_of(st.floats(), st.text(max_size=12), st.integers()))
# How many examples every run has time for, and how many a long one.
SOME = settings(max_examples=500, deadline=None)
MANY = settings(max_examples=5000, deadline=None)


def is_exact(number: Decimal, unit: str) -> None:
    """The whole microlitres are the exact product, less than one rounded away."""
    exact = Fraction(number) * VOLUMES_UL[unit]
    read = Volume("0 uL", "100000 L").read(f"{number:f} {unit}")
    assert math.floor(exact) == read


def is_bounded(number: object) -> None:
    """What is read is inside the bounds."""
    kind = Volume("1 mL", "2 L")
    try:
        read = kind.read(f"{number} mL")
    except PydanticCustomError:
        return
    assert isinstance(read, int)
    assert 1_000 <= read <= 2_000_000


@SOME
@ANY_VOLUME
def test_rounds_volumes_down_and_never_off(number: Decimal, unit: str) -> None:
    """Whatever the number and the unit."""
    is_exact(number, unit)


@SOME
@ANYTHING
def test_reads_in_bounds_or_refuses(number: object) -> None:
    """Whatever stands before the unit (H42)."""
    is_bounded(number)


@pytest.mark.long
@MANY
@ANY_VOLUME
def test_rounds_thousands_of_volumes_down(number: Decimal, unit: str) -> None:
    """The same at length."""
    is_exact(number, unit)


@pytest.mark.long
@MANY
@ANYTHING
def test_reads_thousands_in_bounds_or_refuses(number: object) -> None:
    """The same at length (H42)."""
    is_bounded(number)


@pytest.mark.parametrize(
    ("text", "inside"),
    [("1 mL", True), ("0.999999 mL", False), ("2 L", True), ("2000.001 mL", False)],
)
def test_takes_both_bounds_and_nothing_beyond(text: str, inside: bool) -> None:
    """Bounds are inclusive and exact."""
    try:
        Volume("1 mL", "2 L").read(text)
        taken = True
    except PydanticCustomError:
        taken = False
    assert inside == taken


def test_rounds_the_smallest_dose_up() -> None:
    """A pump is never asked for less than it gives reliably."""
    assert Volume("10 uL", "100 mL", up=True).read("0.3001 mL") == 301


@pytest.mark.parametrize(
    ("text", "expected"), [("1", 1), ("1.5", Fraction(3, 2)), ("007", 7)]
)
def test_reads_plain_numbers(text: str, expected: Fraction) -> None:
    """Shares of a ratio are plain numbers as text."""
    assert expected == plain_number(text)


@pytest.mark.parametrize("value", ["0", "-1", "1 mL", "", "nan", "1/2", 1, 1.5, None])
def test_refuses_shares_that_are_none(value: object) -> None:
    """A share is positive, has no unit, and stands in quotes."""
    with pytest.raises(PydanticCustomError):
        plain_number(value)
