"""Worked examples of what must be refused, and that no example is left over."""

from fractions import Fraction
from importlib import import_module

import pytest

from slackwater.errors import InputError, OutOfRangeError
from slackwater.water.levels import parse_level
from slackwater.water.salinities import parse_salinity
from slackwater.water.solutions import Portion, stock_from_recipe
from slackwater.water.units import parse_volume_ul
from slackwater.water.uptake_belief import Reading
from slackwater.water.uptake_filter import alkalinity_tuning, estimated
from slackwater.water.water_changes import after_change, changes_to_reach
from tests.water.checks import EXAMPLES, HERE, USED, Example, params


def _accepted(example: Example) -> None:
    """Put the input of a guard example where it belongs."""
    match example.id:
        case "guard-nan":
            parse_level(f"{example.text('alkalinity_dKH')} dKH", "alkalinity", where="")
        case "guard-negative":
            parse_level(f"{example.text('Ca_mg_per_L')} mg/L", "calcium", where="")
        case "guard-zero-volume":
            parse_volume_ul(f"{example.text('net_volume_L')} L", where="")
        case "guard-solubility-nahco3":
            portion = Portion(
                formula=example.text("salt"),
                grams_per_litre=example.exact("grams_per_litre"),
                purity=Fraction(1),
            )
            stock_from_recipe([portion], coldest_celsius=Fraction(20), where="")
        case "guard-future-test":
            later = [Reading(day=1.0, level=2.85, sd=0.04)]
            estimated(later, (), alkalinity_tuning(1.0), now_day=0.9)
        case "guard-fraction":
            after_change(30.0, 2.0, example.number("water_change_fraction"))
        case _:
            parameter = {"Ca": "calcium"}.get(
                example.text("field"), example.text("field")
            )
            text = f"{example.text('value')} {example.text('unit')}"
            if parameter == "salinity":
                parse_salinity(text, where="")
            parse_level(text, parameter, where="")


# What the refusal must say of the reason that the example states, in our words.
SAID = {
    "guard-nan": "does not begin with a plain number",
    "guard-negative": "is negative",
    "guard-dkh-as-ca": "is not a plausible calcium",
    "guard-caco3-as-dkh": 'Did you mean "143 mg/L CaCO3"',
    "guard-sg-as-salinity": 'Did you mean "1.026 SG 25/25"',
    "guard-salinity-high": "from 20.00 PSU to 42.00 PSU",
    "guard-solubility-nahco3": "at most 90 % of what dissolves",
    "guard-zero-volume": "a volume from 1 µL",
    "guard-future-test": "no test from the future",
    "guard-fraction": "at most all of it",
}


@pytest.mark.parametrize("example", params("guard-"))
def test_a_slip_of_the_hand_is_refused(example: Example) -> None:
    """Each mistake of the example is refused with one finding, which says why."""
    with pytest.raises(InputError) as refused:
        _accepted(example)
    (finding,) = refused.value.findings
    assert SAID[example.id] in str(finding)
    assert example.expected["accept"] is False


@pytest.mark.parametrize("example", params("wc-unreachable"))
def test_changes_that_lead_nowhere_are_refused(example: Example) -> None:
    """New water above the limit."""
    assert example.expected["accept"] is False
    with pytest.raises(OutOfRangeError, match="No number of changes"):
        changes_to_reach(
            example.number("C0_ug_per_L"),
            example.number("limit_ug_per_L"),
            example.number("C_new_ug_per_L"),
            example.number("fraction"),
        )


def test_no_example_is_forgotten() -> None:
    """Every one of the 126 is asked for by a test of this folder."""
    for path in sorted(HERE.glob("test_check_*.py")):
        import_module(f"tests.water.{path.stem}")
    assert {item.id for item in EXAMPLES} == USED
    assert 126 == len(EXAMPLES)
