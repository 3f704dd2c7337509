"""When what a pump gives counts as another strength."""

import pytest

from slackwater.facts.strengths import is_same

KNOWN = {"alkalinity": 1_000, "calcium": 2_000}


@pytest.mark.parametrize(
    ("effects", "expected"),
    [
        (KNOWN, True),
        # Five percent to either side of one of them, and one part more.
        ({"alkalinity": 1_050, "calcium": 1_900}, True),
        ({"alkalinity": 1_051, "calcium": 2_000}, False),
        ({"alkalinity": 1_000, "calcium": 1_899}, False),
        # Whatever joins or leaves is another solution, however little of it there is.
        ({**KNOWN, "magnesium": 1}, False),
        ({"alkalinity": 1_000}, False),
        ({}, False),
    ],
)
def test_a_few_percent_are_the_same_strength(
    effects: dict[str, int], *, expected: bool
) -> None:
    """Of each parameter by itself; and of as many microlitres as are told."""
    ten = {name: amount * 10 for name, amount in effects.items()}
    assert (expected, expected) == (is_same(KNOWN, effects), is_same(KNOWN, ten, 10))
