"""Refuses numbers that a formula was not made for.

Floor 1. One subject: ranges of numbers. Laws here: NaN and infinity are in no range; a
finding names the noun, the figure, the bounds and what to do.
"""

from collections.abc import Sequence
from itertools import pairwise
from math import inf, isfinite

from slackwater.errors import Finding, OutOfRangeError

_ADVICE = "Check the figure and its unit."


def within(
    noun: str,
    number: float,
    bounds: tuple[float, float],
    unit: str = "",
    *,
    advice: str = _ADVICE,
) -> float:
    """The number, when it is finite and lies in the bounds, both included.

    Raises: OutOfRangeError otherwise.
    """
    low, high = bounds
    if isfinite(number) and low <= number <= high:
        return number
    if high == inf:
        expected = "any finite number" if low == -inf else f"{low:g} or more"
    else:
        expected = f"{low:g} to {high:g}"
    raise refused(
        what=f"{noun} is {number:g} {unit}",
        expected=f"{expected} {unit}",
        advice=advice,
    )


def above_zero(noun: str, number: float, unit: str = "") -> float:
    """The number, when it is finite and above 0.

    Raises: OutOfRangeError otherwise.
    """
    if isfinite(number) and number > 0:
        return number
    raise refused(
        what=f"{noun} is {number:g} {unit}", expected=f"a number above 0 {unit}"
    )


def finite(noun: str, number: float, unit: str = "") -> float:
    """The number, when it is finite.

    Raises: OutOfRangeError otherwise.
    """
    return within(noun, number, (-inf, inf), unit)


def all_finite(noun: str, numbers: Sequence[float], *, least: int = 1) -> int:
    """How many numbers there are.

    Raises: OutOfRangeError for fewer than the least count, or one that is not finite.
    """
    # Asked hundreds of thousands of times in one assessment: no call for each number.
    if not all(map(isfinite, numbers)):
        odd = next(number for number in numbers if not isfinite(number))
        finite(f"one of {noun}", odd)
    if len(numbers) < least:
        raise refused(
            what=f"{noun} are {len(numbers)}",
            expected=f"{least} or more",
            advice="Take more tests.",
        )
    return len(numbers)


def ascending(noun: str, numbers: Sequence[float]) -> None:
    """Nothing, when every number is above the one before it.

    Raises: OutOfRangeError otherwise.
    """
    for before, after in pairwise(numbers):
        if not after > before:
            raise refused(
                what=f"{noun} go from {before:g} to {after:g}",
                expected="each later than the one before",
                advice="Sort the tests and take repeats out.",
            )


def refused(*, what: str, expected: str, advice: str = _ADVICE) -> OutOfRangeError:
    """The error for a number, to be raised where it was met."""
    finding = Finding(
        what=what.rstrip(), where="", expected=expected.rstrip(), do=advice
    )
    return OutOfRangeError(finding)
