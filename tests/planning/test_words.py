"""Amounts as people read them."""

import pytest

from slackwater.planning.words import amount_words, pico_word
from tests.planning.plans import machine


@pytest.mark.parametrize(
    ("amount", "parameter", "expected"),
    # By hand, for 250 L.
    [
        (1_234, "", "1234 µL"),
        (25 * 10**9, "alkalinity", "0.1 meq/L (25000000000 peq)"),
        (25 * 10**9, "calcium", "0.1 mg/L (25000000000 pg)"),
        (25 * 10**9, "carbon", "0.1 mmol/L (25000000000 pmol)"),
        (750_000_000, "iodine", "0.003 mg/L (750000000 pg)"),
    ],
)
def test_amounts_show_level_and_exact_figure(
    amount: int, parameter: str, expected: str
) -> None:
    """The rounded level is for people, the whole number is what was compared."""
    assert expected == amount_words(amount, parameter, machine().tanks["reef"])


def test_pico_units_follow_the_parameter() -> None:
    """Equivalents, moles or grams."""
    assert [
        pico_word(parameter) for parameter in ("alkalinity", "carbon", "strontium")
    ] == ["peq", "pmol", "pg"]
