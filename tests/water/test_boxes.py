"""Volumes of water from inside measures."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.errors import InputError, OutOfRangeError
from slackwater.water.boxes import parse_boxes_ul


# Source: an inch is 25.4 mm and a foot 12 inches exactly (NIST SP 811, B.8), so a
# thousand cubic inches are 16.387064 L.
@pytest.mark.parametrize(
    ("text", "litres"),
    [
        ("1 m x 1 m x 1 m less 0 %", Fraction(1000)),
        ("120 cm x 60 cm x 50 cm less 10 %", Fraction(324)),
        ("10 in x 10 in x 10 in less 0 %", Fraction("16.387064")),
        ("4 ft x 2 ft x 20 in less 12.5 %", Fraction("16.387064") * Fraction("20.16")),
        ("1 m x 1 m x 1 m less 20 % + 50 cm x 40 cm x 30 cm less 0 %", Fraction(860)),
        ("1 m x 1 m x 1 m less 100 %", Fraction(0)),
    ],
)
def test_a_box_holds_its_product(text: str, litres: Fraction) -> None:
    """Length, width and height, less what is not water, in whole microlitres."""
    assert int(litres * 10**6) == parse_boxes_ul(text, where="")


@given(sides=st.tuples(*[st.integers(1, 1000)] * 3), percent=st.integers(0, 100))
def test_a_box_is_rounded_down(sides: tuple[int, int, int], percent: int) -> None:
    """Never more water than was measured, less than a microlitre rounded away."""
    length, width, height = sides
    text = f"{length} mm x {width} mm x {height} mm less {percent} %"
    assert length * width * height * (100 - percent) // 100 == parse_boxes_ul(
        text, where=""
    )


@pytest.mark.parametrize(
    "text",
    [
        "48 in x 24 in x 20 in",
        "48 x 24 x 20 in less 0 %",
        "48in x 24in less 0 %",
        "48 in X 24 in X 20 in less 0 %",
        "48 in x 24 in x 20 in less 0",
        "48 in x 24 in x 20 in x 2 in less 0 %",
        "48 in x 24 in x 20 in less 0 % +",
        "48 in x 24 in x 20 inch less 0 %",
        "-48 in x 24 in x 20 in less 0 %",
        "nan in x 24 in x 20 in less 0 %",
        "1e3 in x 24 in x 20 in less 0 %",
        "",
        300,
        None,
    ],
)
def test_what_is_no_box_is_refused(text: object) -> None:
    """Every length has its unit, and what rock and sand take is never left open."""
    with pytest.raises(InputError) as refused:
        parse_boxes_ul(text, where="here")
    assert ["here"] == [finding.where for finding in refused.value.findings]


@pytest.mark.parametrize(
    "text", ["0 in x 24 in x 20 in less 0 %", "48 in x 24 in x 20 in less 101 %"]
)
def test_what_cannot_be_measured_is_refused(text: str) -> None:
    """A length of nothing, and more rock than room."""
    with pytest.raises(OutOfRangeError):
        parse_boxes_ul(text, where="")
