"""What a refused text is advised to be: that is accepted where it is advised."""

import re
from collections.abc import Callable
from typing import Any

import pytest

from slackwater.errors import InputError
from slackwater.water.levels import (
    parse_difference,
    parse_level,
    parse_rate,
    parse_strength,
)
from slackwater.water.salinities import parse_salinity

PARSED: dict[str, Callable[..., Any]] = {
    "level": parse_level,
    "difference": parse_difference,
    "rate": parse_rate,
    "strength": parse_strength,
}


def advised(read: Callable[..., Any], *words: object) -> str:
    """What is to be done about a text that is refused."""
    with pytest.raises(InputError) as refused:
        read(*words, where="x")
    (finding,) = refused.value.findings
    return finding.do


@pytest.mark.parametrize(
    ("kind", "text", "name"),
    [
        ("level", "0,05 mg/L", "phosphate"),
        ("level", "7,6 dKH", "alkalinity"),
        ("level", "7,6 ppm CaCO3", "alkalinity"),
        ("level", 8, "alkalinity"),
        ("level", 8.2, "ph"),
        ("difference", "0,3 dKH", "alkalinity"),
        ("difference", 0.3, "alkalinity"),
        ("rate", "1,5 dKH/day", "alkalinity"),
        ("rate", "1,5 dKH/d", "alkalinity"),
        ("rate", 15, "calcium"),
        ("strength", "1,9 meq/mL", "alkalinity"),
        ("strength", "0,05 dKH per mL in 100 L", "alkalinity"),
        ("strength", 18, "calcium"),
    ],
)
def test_what_is_advised_is_accepted(kind: str, text: object, name: str) -> None:
    """With its point, its unit and whatever stands behind it."""
    read = PARSED[kind]
    advice = advised(read, text, name)
    shown = re.findall('"(.+?)"', advice)
    assert shown, advice
    if "CaCO3" in str(text):
        shown = [one.replace("7.6", "143") for one in shown]
    for one in shown:
        read(one, name, where="x")


@pytest.mark.parametrize(
    ("kind", "text", "name"),
    [
        ("level", "0,05 ppm", "iron"),
        ("level", "0,05 ppm", "phosphate"),
        ("level", "8,0 ppm", "alkalinity"),
        ("level", "8,0 dKH", "calcium"),
        ("rate", "1,5 ppm/day", "calcium"),
        ("rate", "1,5 dKH", "alkalinity"),
        ("strength", "18,5 ppm", "calcium"),
        ("strength", "0,05 ppm per mL in 100 L", "calcium"),
        ("level", True, "alkalinity"),
        ("level", [8], "alkalinity"),
        ("level", float("inf"), "alkalinity"),
    ],
)
def test_a_text_that_would_be_refused_next_is_not_advised(
    kind: str, text: object, name: str
) -> None:
    """No figure is written out; a comma and a unit are both told at once."""
    advice = advised(PARSED[kind], text, name)
    assert not re.search(r'"[\d.]+ ?\S*"', advice), advice
    assert ("," not in str(text)) == ("decimal point" not in advice)


def test_a_salinity_with_a_comma_is_advised_in_its_own_unit() -> None:
    """Practical salinity and a gravity are; parts per thousand are asked about."""
    for text in ("35,2 PSU", "1,0264 SG 25/25"):
        (one, *others) = re.findall('"(.+?)"', advised(parse_salinity, text))
        assert parse_salinity(one, where="x") == pytest.approx(35.1, abs=0.2)
        assert len(others) <= 1
    ppt = advised(parse_salinity, "35,2 ppt")
    assert ppt.startswith('Did you mean "PSU"?')
    assert "35.2" not in ppt
