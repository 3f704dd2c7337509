"""Uptakes and caps as lines for the machine's file."""

import tomllib

import pytest

from slackwater.assessment.stating import CapToState, UptakeToState
from slackwater.cli.pasting import paste_lines, paste_words
from slackwater.water.levels import parse_rate

# One German degree, 10 mg/L CaO at 56.077 g/mol with two equivalents.
MEQ_PER_DKH = 20 / 56.077


def uptake(estimate: float, half_width: float, **other: object) -> UptakeToState:
    """An uptake of alkalinity in dKH a day."""
    given: dict[str, object] = {
        "parameter": "alkalinity",
        "estimate": estimate * MEQ_PER_DKH,
        "half_width": half_width * MEQ_PER_DKH,
        "low": max(estimate - half_width, 0.0) * MEQ_PER_DKH,
        "stated": None,
        "tests": 9,
        "span_days": 13.2,
    }
    return UptakeToState(**{**given, **other})  # type: ignore[arg-type]  # any field


@pytest.mark.parametrize(
    ("estimate", "half_width", "shown"),
    [
        (0.00113, 0.0268, ("0.001 dKH/day", "0 dKH/day")),
        (0.72349, 0.0614, ("0.723 dKH/day", "0.66 dKH/day")),
        (2.4051, 0.21, ("2.41 dKH/day", "2.1 dKH/day")),
        (0.0, 0.05, ("0 dKH/day", "0 dKH/day")),
    ],
)
def test_an_uptake_is_written_as_far_as_it_is_known(
    estimate: float, half_width: float, shown: tuple[str, str]
) -> None:
    """The estimate to the second digit of its interval, its lower end never up."""
    lines = paste_lines("reef", [uptake(estimate, half_width)], [])
    written = tomllib.loads("\n".join(lines))["tank"]["reef"]["uptake"]["alkalinity"]

    assert shown == (written["estimate"], written["low"])
    assert "# stated: nothing; found by 9 tests in 13 days" in lines
    for text in written.values():
        parse_rate(text, "alkalinity", where="")


def test_a_cap_stands_below_its_arithmetic() -> None:
    """1.3 x 1.2 + 0.5 = 2.06 dKH a day."""
    cap = CapToState(
        parameter="alkalinity",
        gross=2.06 * MEQ_PER_DKH,
        net_rise=0.5 * MEQ_PER_DKH,
        uptake=1.2 * MEQ_PER_DKH,
        stated=1.4 * MEQ_PER_DKH,
        hours_to_ceiling=17.48,
    )
    _why, head, arithmetic, hours, line = paste_lines("reef", [], [cap])

    assert "[tank.reef.caps]" == head
    assert (
        "# 1.3 x 1.2 dKH/day used up + 0.5 dKH/day of climb; stated: 1.4 dKH/day"
        == arithmetic
    )
    assert "# 17 h from target to ceiling at that, if uptake stopped" == hours
    assert 'alkalinity = { gross = "2.06 dKH/day", net_rise = "0.5 dKH/day" }' == line


def test_nothing_to_say_is_no_line() -> None:
    """No head, no table, no sentence."""
    assert [] == paste_lines("reef", [], []) == list(paste_words([]))
