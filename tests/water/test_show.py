"""Numbers as people read them."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from slackwater.errors import InputError, OutOfRangeError
from slackwater.water.show import (
    show_count,
    show_days,
    show_effect,
    show_level,
    show_volume,
)
from slackwater.water.units import parse_volume_ul


@pytest.mark.parametrize(
    ("volume_ul", "expected"),
    [
        (0, "0 µL"),
        (850, "850 µL"),
        (-850, "-850 µL"),
        (1_000, "1 mL"),
        (2_400, "2.4 mL"),
        (2_401, "2.401 mL"),
        (-2_400, "-2.4 mL"),
        (999_999, "999.999 mL"),
        (1_000_000, "1 L"),
        (1_500_000, "1.5 L"),
        (1_234_567, "1234.567 mL"),
        (300_000_000, "300 L"),
    ],
)
def test_a_volume_is_written_in_the_unit_it_fills(
    volume_ul: int, expected: str
) -> None:
    """Exact, without zeros behind."""
    assert expected == show_volume(volume_ul)


@given(volume_ul=st.integers(1, 10**12))
@settings(deadline=None)
def test_a_written_volume_reads_back(volume_ul: int) -> None:
    """What is shown can be typed again and is the same."""
    assert volume_ul == parse_volume_ul(show_volume(volume_ul), where="")


@pytest.mark.parametrize(
    ("identity", "amount", "expected"),
    [
        # One degree in 100 L is 35.665 meq.
        ("alkalinity", 14_979_403_320, "0.42 dKH"),
        ("alkalinity", -14_979_403_320, "-0.42 dKH"),
        ("calcium", 300 * 10**9, "3.0 mg/L"),
        ("alkalinity", 1, "<0.01 dKH"),
        ("alkalinity", -1, "-<0.01 dKH"),
        ("alkalinity", 0, "0.00 dKH"),
        ("iodine", 150 * 10**6, "1.5 ug/L"),
        ("phosphate", 2 * 10**9, "0.020 mg/L"),
    ],
)
def test_an_effect_is_a_level_in_the_unit_people_use(
    identity: str, amount: int, expected: str
) -> None:
    """What is not 0 is never shown as 0."""
    assert expected == show_effect(identity, amount, 100)


@pytest.mark.parametrize(
    ("identity", "level", "expected"),
    [
        ("alkalinity", 2.85322, "8.00 dKH"),
        ("calcium", 421.7, "422 mg/L"),
        ("temperature", 25.04, "25.0 degC"),
        ("temperature", -1.5, "-1.5 degC"),
        ("salinity", 35, "35.00 PSU"),
        ("ph", 8.2, "8.20 pH"),
    ],
)
def test_a_level_has_the_decimals_of_its_parameter(
    identity: str, level: float, expected: str
) -> None:
    """Canonical in, display unit out."""
    assert expected == show_level(identity, level)


@pytest.mark.parametrize(
    ("count", "words"),
    [(0, "0 doses"), (1, "1 dose"), (2, "2 doses"), (11, "11 doses")],
)
def test_one_is_no_plural(count: int, words: str) -> None:
    """None and many take the plural, one does not."""
    assert words == show_count(count, "dose")


def test_an_effect_needs_water_and_a_dosed_parameter() -> None:
    """No tank, no effect; nobody doses a temperature."""
    with pytest.raises(OutOfRangeError):
        show_effect("calcium", 1, 0)
    with pytest.raises(InputError):
        show_effect("temperature", 1, 100)


@pytest.mark.parametrize(
    ("days", "expected"),
    [(3.99, "3.9"), (4.0, "4"), (0.04, "0"), (9.99, "9.9"), (10.0, "10"), (59.6, "60")],
)
def test_a_span_never_reads_longer_than_a_short_one_is(
    days: float, expected: str
) -> None:
    """Tenths below ten days, rounded down."""
    assert expected == show_days(days)
