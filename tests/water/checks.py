"""Worked examples from outside the project, read from `check_values.json`.

Every example carries its source; a test computes what it expects and hands both to
`agree`.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import pytest

HERE = Path(__file__).parent
Value = float | str | bool | Sequence["Value"] | Mapping[str, "Value"]
Computed = float | Fraction | bool | Sequence["Computed"] | Mapping[str, "Computed"]
# A share of what is expected, "rel", or an absolute figure, "abs"; nested by key.
Tolerance = float | Mapping[str, "Tolerance"]

# The ids of all examples that a test has asked for.
USED: set[str] = set()


@dataclass(frozen=True, slots=True, kw_only=True)
class Example:
    """One worked example; `tolerance` is absolute or relative by key."""

    id: str
    topic: str
    inputs: Mapping[str, Value]
    expected: Mapping[str, Value]
    tolerance: Mapping[str, Tolerance]
    source: str

    def text(self, key: str) -> str:
        """An input as text."""
        return str(self.inputs[key])

    def exact(self, key: str) -> Fraction:
        """An input as an exact number."""
        return Fraction(str(self.inputs[key]))

    def number(self, key: str) -> float:
        """An input as a number."""
        return float(str(self.inputs[key]))

    def numbers(self, key: str) -> list[float]:
        """A list of the inputs."""
        found = self.inputs[key]
        assert isinstance(found, list)
        return [float(str(item)) for item in found]

    def rows(self, key: str) -> list[Mapping[str, Value]]:
        """A table of the inputs."""
        found = self.inputs[key]
        assert isinstance(found, list)
        return found


def _examples() -> list[Example]:
    text = (HERE / "check_values.json").read_text(encoding="utf-8")
    return [
        Example(
            id=entry["id"],
            topic=entry["topic"],
            inputs=entry["inputs"],
            expected=entry["expected"],
            tolerance=entry["tolerance"],
            source=entry["source"],
        )
        for entry in json.loads(text)["values"]
    ]


EXAMPLES = _examples()


def params(*beginnings: str) -> list[object]:
    """The examples whose id begins so, each under its id and source."""
    found = [item for item in EXAMPLES if item.id.startswith(beginnings)]
    USED.update(item.id for item in found)
    return [pytest.param(item, id=f"{item.id} ({item.source[:60]})") for item in found]


def agree(example: Example, computed: Mapping[str, Computed]) -> None:
    """Assert that every expected figure was computed within its tolerance."""
    _agree(example.expected, computed, example.tolerance, example.id)


def _agree(
    expected: Value, computed: Computed, tolerance: Tolerance, where: str
) -> None:
    if isinstance(expected, Mapping):
        assert isinstance(computed, Mapping), where
        assert set(expected) == set(computed), where
        for key, value in expected.items():
            _agree(value, computed[key], _of(tolerance, key), f"{where} {key}")
    elif isinstance(expected, list):
        assert isinstance(computed, Sequence), where
        assert len(expected) == len(computed), where
        for value, one in zip(expected, computed, strict=True):
            _agree(value, one, tolerance, where)
    elif isinstance(expected, bool):
        assert expected is computed, where
    else:
        assert isinstance(computed, int | float | Fraction), where
        assert _near(float(str(expected)), tolerance) == float(computed), where


def _of(tolerance: Tolerance, key: str) -> Tolerance:
    """The tolerance of one key; of a whole group where none is of its own."""
    assert isinstance(tolerance, Mapping)
    if set(tolerance) <= {"rel", "abs"}:
        return tolerance
    return tolerance.get(key, {})


def _near(expected: float, tolerance: Tolerance) -> object:
    """Exact where no tolerance is stated, but for the last digits of a double."""
    assert isinstance(tolerance, Mapping)
    rel, absolute = tolerance.get("rel", 1e-12), tolerance.get("abs", 0.0)
    assert isinstance(rel, int | float)
    assert isinstance(absolute, int | float)
    return pytest.approx(expected, rel=rel, abs=absolute)
