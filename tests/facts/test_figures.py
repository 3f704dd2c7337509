"""How the figures of a reason read, by the end of their names."""

import pytest

from slackwater.facts.figures import figure_words
from slackwater.facts.reasons import Figure


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("asked_ul", 850, "asked 850 µL"),
        ("pulse_ms", 250, "pulse 0.25 s"),
        ("left_s", 900, "left 15 min"),
        ("age_min", 90, "age 90 min"),
        ("share_percent", 12.5, "share 12.5 %"),
        # 20/56.077 meq/L a degree: 10 mg/L of CaO.
        ("ceiling_meq_per_l", 10 * 20 / 56.077, "ceiling 10.00 dKH"),
        ("chance", 1 / 4000, "by chance once in 4000 times"),
        ("chance", 1e-6, "by chance once in 1000000 times"),
        ("chance", 9.9e-7, "by chance less than once in a million times"),
        ("chance", "none", "chance none"),
        ("said_by", "two_nodes", "said by two nodes"),
        ("age_min", None, "age unknown"),
        ("up", True, "up yes"),
        ("up", False, "up no"),
    ],
)
def test_a_figure_reads_in_the_unit_of_its_name(
    name: str, value: Figure, words: str
) -> None:
    """What has no unit, or no value, is said as it is."""
    assert words == figure_words(name, value)
