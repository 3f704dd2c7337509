"""Reasons for people: figures stand in the units people use."""

import pytest

from slackwater.cli.wording import figure_words, reason_words
from slackwater.facts.reasons import Code, Figure, because

# 1 meq/L is 2.80385 dKH: 10 mg/L CaO a degree, 56.077 g/mol, two equivalents.
MEQ_PER_DKH = 20 / 56.077


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("ceiling_meq_per_l", 9.5 * MEQ_PER_DKH, "ceiling 9.50 dKH"),
        ("cap_ul", 2400, "cap 2.4 mL"),
        ("asked_ul", 850, "asked 850 µL"),
        ("beat_age_s", 31.5, "beat age 31.5 s"),
        ("limit_ms", 20000, "limit 20000 ms"),
        ("age_min", 90, "age 90 min"),
        ("share_percent", 50, "share 50 %"),
        ("free_bytes", 1048576, "free 1048576 bytes"),
        ("times", 3, "times 3"),
        ("node", "shelf", "node shelf"),
        ("observe", True, "observe yes"),
        ("actuate", False, "actuate no"),
        ("beat_age_s", None, "beat age unknown"),
    ],
)
def test_a_figure_has_the_unit_of_its_name(
    name: str, value: Figure, words: str
) -> None:
    """The end of the name is the unit; a level is shown in German degrees."""
    assert words == figure_words(name, value)


def test_figures_stand_inside_the_sentence() -> None:
    """The full stop comes behind the bracket."""
    reason = because(Code.CAP_DOSE, asked_ul=5000, cap_ul=4000)
    assert "More than the pump's cap for one dose (asked 5 mL, cap 4 mL)." == (
        reason_words(reason)
    )
    assert "A person asked for a hold." == reason_words(because(Code.MANUAL_HOLD))
