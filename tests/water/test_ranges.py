"""What a number outside its range is told."""

from math import inf, nan

import pytest

from slackwater.errors import OutOfRangeError
from slackwater.water.ranges import above_zero, all_finite, ascending, finite, within


@pytest.mark.parametrize("number", [0.0, 1.0, 0.5])
def test_both_bounds_are_inside(number: float) -> None:
    """What is inside comes back as it is."""
    assert number == within("the share", number, (0.0, 1.0))


@pytest.mark.parametrize("number", [-0.001, 1.001, nan, inf, -inf])
def test_what_is_outside_is_refused(number: float) -> None:
    """NaN and infinity are in no range."""
    with pytest.raises(OutOfRangeError, match=r"the share is .*expected 0 to 1"):
        within("the share", number, (0.0, 1.0))


@pytest.mark.parametrize(
    ("low", "expected"), [(0.0, "0 or more L"), (-inf, "any finite number L")]
)
def test_an_open_range_says_so(low: float, expected: str) -> None:
    """No bound is written as infinity."""
    with pytest.raises(OutOfRangeError, match=expected):
        within("the volume", nan, (low, inf), "L")


@pytest.mark.parametrize("number", [0.0, -1.0, nan, inf])
def test_nothing_is_not_above_zero(number: float) -> None:
    """Neither 0 nor what is no number."""
    with pytest.raises(OutOfRangeError, match="expected a number above 0 days"):
        above_zero("the span", number, "days")


def test_a_number_above_zero_comes_back() -> None:
    """The same number, to be used on."""
    assert 2.5 == above_zero("the span", 2.5)
    assert -2.5 == finite("the change", -2.5)


def test_a_series_is_counted() -> None:
    """An empty one counts where nothing is needed."""
    assert 2 == all_finite("the tests", [1.0, 2.0], least=2)
    assert 0 == all_finite("the tests", [], least=0)


def test_a_series_too_short_or_not_finite_is_refused() -> None:
    """Both say what was found."""
    with pytest.raises(OutOfRangeError, match="the tests are 1; expected 2 or more"):
        all_finite("the tests", [1.0], least=2)
    with pytest.raises(OutOfRangeError, match="one of the tests is nan"):
        all_finite("the tests", [1.0, nan], least=2)


@pytest.mark.parametrize("days", [[0.0, 0.0], [0.0, 2.0, 1.0]])
def test_times_that_do_not_ascend_are_refused(days: list[float]) -> None:
    """Twice the same time is as bad as going back."""
    with pytest.raises(OutOfRangeError, match="each later than the one before"):
        ascending("the times", days)


@pytest.mark.parametrize("days", [[], [1.0], [0.0, 0.5, 7.0]])
def test_times_that_ascend_pass(days: list[float]) -> None:
    """One time and none are in order."""
    ascending("the times", days)
