"""Levels, rates and strengths of one parameter."""

import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.errors import InputError, OutOfRangeError
from slackwater.water.levels import (
    Linear,
    linear,
    parse_difference,
    parse_level,
    parse_rate,
    parse_strength,
)
from slackwater.water.parameters import PARAMETERS
from slackwater.water.spellings import strengths_of, units_of

UNITS = [(item.id, unit) for item in PARAMETERS.values() for unit in units_of(item)]
DOSED = [item.id for item in PARAMETERS.values() if item.is_dosed]
DKH = Fraction(20_000, 56_077)


@pytest.mark.parametrize(
    ("text", "identity", "expected"),
    [
        ("8 dKH", "alkalinity", 8 * DKH),
        ("2.853 meq/L", "alkalinity", Fraction("2.853")),
        ("420 mg/L", "calcium", Fraction(420)),
        ("0.42 mg/L", "iodine", Fraction(420)),
        ("61.4 ug/L", "iodine", Fraction("61.4")),
        ("25 degC", "temperature", Fraction(25)),
        ("77 °F", "temperature", Fraction(25)),
        ("8.2 pH", "ph", Fraction("8.2")),
        ("35 PSU", "salinity", Fraction(35)),
        ("0.05 mmol C/L", "carbon", Fraction("0.05")),
        ("30 ug/L", "phosphate", Fraction("0.03")),
    ],
)
def test_a_level_arrives_in_its_canonical_unit(
    text: str, identity: str, expected: Fraction
) -> None:
    """Exact, whatever unit it was written in."""
    assert expected == parse_level(text, identity, where="")


@pytest.mark.parametrize("identity", PARAMETERS)
def test_no_parameter_takes_the_unit_of_another(identity: str) -> None:
    """Degrees of hardness for calcium, milligrams for pH, and all such pairs."""
    own = set(units_of(PARAMETERS[identity]))
    for unit in sorted({unit for _, unit in UNITS} - own):
        with pytest.raises(InputError, match="unknown unit"):
            parse_level(f"8 {unit}", identity, where="")


@pytest.mark.parametrize(("identity", "unit"), UNITS)
@pytest.mark.parametrize("number", ["NaN", "inf", "1e400", "1,000", "", "-1e3"])
def test_a_level_that_is_no_number_is_refused(
    number: str, identity: str, unit: str
) -> None:
    """H42 for every parameter and unit."""
    with pytest.raises(InputError):
        parse_level(f"{number} {unit}", identity, where="")


@pytest.mark.parametrize(("identity", "unit"), UNITS)
def test_every_slip_of_a_unit_is_refused(identity: str, unit: str) -> None:
    """H43: each wrong case and prefix, unless it is a spelling itself."""
    slips = {f"{unit[:at]}{unit[at].swapcase()}{unit[at + 1 :]}" for at in range(2)}
    slips |= {f"{prefix}{unit}" for prefix in ("k", "M", "m", "n")}
    for slip in sorted(slips - set(units_of(PARAMETERS[identity]))):
        with pytest.raises(InputError):
            parse_level(f"8 {slip}", identity, where="", confirmed=True)


@pytest.mark.parametrize("identity", PARAMETERS)
def test_the_ends_of_the_window_are_plausible(identity: str) -> None:
    """Bounds are inclusive; just beyond, a confirmation is needed."""
    item = PARAMETERS[identity]
    unit = next(unit for unit, factor in units_of(item).items() if factor == 1)
    assert Fraction(item.high) == Fraction(
        float(parse_level(f"{item.high:f} {unit}", identity, where=""))
    )
    with pytest.raises(OutOfRangeError, match="not a plausible"):
        parse_level(f"{item.high + 0.001:f} {unit}", identity, where="")


def test_outside_the_window_a_person_may_confirm() -> None:
    """Twice the usual calcium is doubted, then believed."""
    with pytest.raises(OutOfRangeError, match="If it is right, confirm it"):
        parse_level("900 mg/L", "calcium", where="")
    assert 900 == parse_level("900 mg/L", "calcium", where="", confirmed=True)


def test_where_nobody_can_be_asked_nothing_is_asked() -> None:
    """A file cannot answer, so the finding does not mention confirming."""
    with pytest.raises(OutOfRangeError) as refused:
        parse_level("900 mg/L", "calcium", where="", confirmed=None)
    expected = "Check the figure, its unit and its field."
    assert expected == refused.value.findings[0].do


def test_far_outside_the_window_nobody_may_confirm() -> None:
    """Of a major ion twice the window, of alkalinity 30 dKH, of a trace ten times."""
    for text, name in (
        ("1401 mg/L", "calcium"),
        ("124 mg/L", "calcium"),
        ("30.1 dKH", "alkalinity"),
        ("0.9 dKH", "alkalinity"),
        ("11.1 pH", "ph"),
    ):
        with pytest.raises(OutOfRangeError, match="cannot be confirmed"):
            parse_level(text, name, where="", confirmed=True)
    assert 1400 == parse_level("1400 mg/L", "calcium", where="", confirmed=True)


def test_a_figure_of_another_unit_is_asked_about() -> None:
    """143 is 8 degrees in mg/L of calcium carbonate; it is never converted silently."""
    with pytest.raises(OutOfRangeError, match='Did you mean "143 mg/L CaCO3"'):
        parse_level("143 dKH", "alkalinity", where="")


@pytest.mark.parametrize(
    ("text", "name", "meant"),
    [
        ("76 dKH", "alkalinity", ["7.6 dKH", "76 mg/L CaCO3", "76 ppm CaCO3"]),
        ("143 dKH", "alkalinity", ["143 mg/L CaCO3", "143 ppm CaCO3", "14.3 dKH"]),
        ("0.76 dKH", "alkalinity", ["7.6 dKH"]),
        ("4200 mg/L", "calcium", ["420 mg/L"]),
        ("3.52 PSU", "salinity", ["35.2 PSU"]),
        ("900 mg/L", "calcium", []),
    ],
)
def test_a_point_that_slipped_is_asked_about(
    text: str, name: str, meant: list[str]
) -> None:
    """What is nearest to the sea comes first, and each is read where it is advised."""
    with pytest.raises(OutOfRangeError) as refused:
        parse_level(text, name, where="")
    told = re.findall('"(.+?)"', refused.value.findings[0].do)
    assert meant == told
    for one in told:
        parse_level(one, name, where="")


def test_a_temperature_may_be_below_zero_and_nothing_else() -> None:
    """The sign of a temperature is read, then its range is looked at."""
    assert -1 == parse_level("-1 degC", "temperature", where="", confirmed=True)
    with pytest.raises(InputError, match="negative"):
        parse_level("-1 mg/L", "nitrate", where="", confirmed=True)


def test_a_difference_has_no_zero() -> None:
    """Nine degrees Fahrenheit are five degrees Celsius."""
    assert 5 == parse_difference("9 degF", "temperature", where="")


def test_a_difference_may_be_small_or_nothing() -> None:
    """A difference knows no window."""
    found = [
        parse_difference(text, "alkalinity", where="") for text in ("0 dKH", "1 dKH")
    ]
    assert [0, DKH] == found


@pytest.mark.parametrize(
    ("text", "identity", "expected"),
    [
        ("1.5 dKH/day", "alkalinity", DKH * 3 / 2),
        ("1.5 dKH/d", "alkalinity", DKH * 3 / 2),
        ("0.3 ug/L/day", "manganese", Fraction("0.3")),
        ("5 mg/L NO3-N/day", "nitrate", None),
        ("0 mg/L/day", "calcium", Fraction(0)),
        ("700 mg/L/day", "calcium", Fraction(700)),
    ],
)
def test_a_rate_is_a_level_a_day(
    text: str, identity: str, expected: Fraction | None
) -> None:
    """The same units with /day behind them."""
    if expected is None:
        expected = 5 * units_of(PARAMETERS[identity])["mg/L NO3-N"]
    assert expected == parse_rate(text, identity, where="")


@pytest.mark.parametrize(
    "text",
    ["1.5 dKH", "1.5", "1.5 dKH/week", "1.5 dKH/Day", "dKH/day", "1.5 dKH/day/day", 3],
)
def test_what_is_no_rate_is_refused(text: object) -> None:
    """A dose a day and a level are never mixed up."""
    with pytest.raises(InputError) as refused:
        parse_rate(text, "alkalinity", where="here")
    assert "dKH/day" in refused.value.findings[0].expected


def test_a_rate_beyond_the_window_is_refused() -> None:
    """No tank takes its whole calcium in a day."""
    with pytest.raises(OutOfRangeError, match="more than a tank can hold"):
        parse_rate("700.1 mg/L/day", "calcium", where="")


@pytest.mark.parametrize(
    ("text", "identity", "expected"),
    [
        ("1.887 meq/mL", "alkalinity", 1_887_000),
        ("0.05 dKH per mL in 100 L", "alkalinity", 1_783_263),
        ("0.05 dKH per ml in 26.4172052 US gallon", "alkalinity", 1_783_263),
        ("1.2 mg/L per mL in 100 L", "calcium", 120_000_000),
        ("5 ug/mL", "iodine", 5_000),
        ("10 ug/L per mL in 100 L", "iodine", 1_000_000),
        ("34 mmol/mL", "carbon", 34_000_000),
    ],
)
def test_a_strength_is_pico_units_per_microlitre(
    text: str, identity: str, expected: int
) -> None:
    """Content and effect give the same whole number, rounded up."""
    assert expected == parse_strength(text, identity, where="")


@given(
    identity=st.sampled_from(DOSED),
    thousandths=st.integers(1, 10**5),
    litres=st.integers(1, 2000),
)
def test_an_effect_and_a_content_agree(
    identity: str, thousandths: int, litres: int
) -> None:
    """What one millilitre does in a volume is what it holds."""
    item = PARAMETERS[identity]
    unit = next(unit for unit, factor in units_of(item).items() if factor == 1)
    effect = Fraction(thousandths, 1000)
    held = effect * litres * item.pico_per_unit / 1000
    text = f"{float(effect):.3f} {unit} per mL in {litres} L"
    try:
        assert -(-held.numerator // held.denominator) == parse_strength(
            text, identity, where=""
        )
    except OutOfRangeError:
        assert held > 25 * 10**6


@pytest.mark.parametrize(
    ("text", "identity"),
    [
        ("0 meq/mL", "alkalinity"),
        ("25.1 meq/mL", "alkalinity"),
        ("36 mmol/mL", "carbon"),
        ("1001 mg/mL", "calcium"),
        ("1 dKH per mL in 1000000 L", "alkalinity"),
    ],
)
def test_more_than_a_liquid_holds_is_refused(text: str, identity: str) -> None:
    """Nothing, or more than dissolves."""
    with pytest.raises(OutOfRangeError, match="not what a millilitre can hold"):
        parse_strength(text, identity, where="")


@pytest.mark.parametrize(
    "text",
    [
        "5 mg/L",
        "5 meq/ML",
        "0.05 dKH per mL",
        "0.05 dKH per mL in 100",
        "0.05 dKH per L in 100 L",
        "0.05 mg/L per mL in 100 L",
        "0.05 dKH per mL in 0 L",
        "NaN meq/mL",
        7,
    ],
)
def test_what_is_no_strength_is_refused(text: object) -> None:
    """A level is no content, and an effect names the water it was seen in."""
    with pytest.raises(InputError):
        parse_strength(text, "alkalinity", where="")


def test_what_is_only_measured_has_no_strength() -> None:
    """Nobody doses a temperature."""
    with pytest.raises(InputError, match="measured, not dosed"):
        parse_strength("5 mg/mL", "temperature", where="")


@pytest.mark.parametrize(
    ("identity", "unit", "scale", "offset"),
    [
        ("alkalinity", "dKH", DKH, 0),
        ("temperature", "degF", Fraction(5, 9), Fraction(-160, 9)),
        ("iodine", "mg/L", 1000, 0),
    ],
)
def test_bare_numbers_of_a_probe_become_levels(
    identity: str, unit: str, scale: Fraction, offset: Fraction
) -> None:
    """Scale first, then offset."""
    expected = Linear(scale=Fraction(scale), offset=Fraction(offset))
    assert expected == linear(identity, unit, where="")


@pytest.mark.parametrize("unit", ["", "DKH", "mg/L", " dKH", "1 dKH"])
def test_a_probe_without_a_unit_of_its_parameter_is_refused(unit: str) -> None:
    """The unit is spelled exactly."""
    with pytest.raises(InputError):
        linear("alkalinity", unit, where="")


@pytest.mark.parametrize("identity", DOSED)
def test_strength_spellings_are_by_the_millilitre(identity: str) -> None:
    """A level can never pass for a content."""
    spellings = set(strengths_of(PARAMETERS[identity]))
    assert spellings
    assert all(unit.endswith("/mL") for unit in spellings)
    assert not spellings & set(units_of(PARAMETERS[identity]))


@pytest.mark.parametrize("unit", ["mg/L", "ppm"])
def test_a_unit_that_does_not_say_of_what_is_not_guessed(unit: str) -> None:
    """8 mg/L of alkalinity may be anything: each that it can be is offered."""
    with pytest.raises(InputError) as refused:
        parse_level(f"8 {unit}", "alkalinity", where="x")
    advice = refused.value.findings[0].do
    assert advice.startswith(
        f'"{unit}" does not say of what: write "{unit} CaCO3" if it means that, else '
    )
    assert '"dKH" or "meq/L"' in advice
    assert "Did you mean" not in advice


def test_a_slip_of_a_unit_that_says_of_what_is_still_named() -> None:
    """Upper and lower case are a slip, and name the one that is near."""
    with pytest.raises(InputError, match='Did you mean "dKH"'):
        parse_level("8 DKH", "alkalinity", where="x")
