"""Salinity in the forms that instruments show."""

import pytest

from slackwater.errors import InputError, OutOfRangeError
from slackwater.water.salinities import parse_salinity


# Source: TEOS-10 (library gsw) for the specific gravity, PSS-78 for the conductivity.
@pytest.mark.parametrize(
    ("text", "expected", "within"),
    [
        ("35 PSU", 35.0, 0.0),
        ("1.0264 SG 25/25", 35.0345, 0.05),
        ("1.025 SG 20/20", 32.8956, 0.05),
        ("1.026862 SG 60F/60F", 35.0, 0.05),
        ("1.024792 SG 20/4", 35.0, 0.05),
        ("53.0 mS/cm at 25 degC", 34.9473, 0.0005),
        ("53000 µS/cm at 77 degF", 34.9473, 0.0005),
    ],
)
def test_each_form_becomes_practical_salinity(
    text: str, expected: float, within: float
) -> None:
    """Whatever the instrument, one number comes out."""
    assert pytest.approx(expected, abs=within) == parse_salinity(text, where="")


@pytest.mark.parametrize(
    "text",
    [
        "1.0264 SG",
        "1.0264",
        "1.0264 SG 25",
        "1.0264 sg 25/25",
        "53 mS/cm",
        "53 mS/cm at 25",
        "53 mS/cm at",
        "53 at 25 degC",
        "35 ppt",
        35,
        "NaN PSU",
    ],
)
def test_an_open_question_is_refused(text: object) -> None:
    """No pair, no temperature or no unit: never guessed."""
    with pytest.raises(InputError):
        parse_salinity(text, where="")


@pytest.mark.parametrize(
    "text",
    [
        "1.041 SG 25/25",
        "0.999 SG 25/25",
        "1.0001 SG 25/25",
        "80 mS/cm at 25 degC",
        "4 mS/cm at 25 degC",
        "53 mS/cm at 36 degC",
        "1.026 PSU",
        "43 PSU",
        "1.010 SG 25/25",
    ],
)
def test_a_reading_out_of_range_is_refused_with_its_place(text: str) -> None:
    """A range of a formula or of a reef; the finding says where."""
    with pytest.raises(OutOfRangeError) as refused:
        parse_salinity(text, where="test of Monday")
    assert "test of Monday" == refused.value.findings[0].where


@pytest.mark.parametrize(
    ("text", "meant"),
    [("1.026 PSU", "1.026 SG 25/25"), ("35 SG 20/20", "35 PSU")],
)
def test_gravity_and_salinity_in_the_place_of_each_other(text: str, meant: str) -> None:
    """1.026 is no salinity and 35 no gravity: what was probably meant is asked."""
    with pytest.raises(OutOfRangeError, match=f'Did you mean "{meant}"'):
        parse_salinity(text, where="", confirmed=True)


def test_thin_water_may_be_confirmed() -> None:
    """Below 20 a person confirms; the scale itself ends at 2."""
    found = parse_salinity("1.010 SG 25/25", where="", confirmed=True)
    assert 12.0 < found < 15.0
