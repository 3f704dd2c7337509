"""Worked examples from outside the project, read from `check_values.json`.

Every example carries its source; a test computes what it expects and hands both to
`agree`.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import pytest

HERE = Path(__file__).parent
Value = float | str | bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Example:
    """One worked example; `tolerance` is absolute or relative by key."""

    id: str
    topic: str
    inputs: Mapping[str, Value]
    expected: Mapping[str, Value]
    tolerance: Mapping[str, Mapping[str, float]]
    source: str

    def text(self, key: str) -> str:
        """An input as text."""
        return str(self.inputs[key])

    def exact(self, key: str) -> Fraction:
        """An input as an exact number."""
        return Fraction(str(self.inputs[key]))

    def number(self, key: str) -> float:
        """An input as a number."""
        return float(self.inputs[key])


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
    return [pytest.param(item, id=f"{item.id} ({item.source[:60]})") for item in found]


def agree(example: Example, computed: Mapping[str, float | Fraction]) -> None:
    """Assert that every expected number was computed within its tolerance."""
    assert set(example.expected) == set(computed)
    for key, expected in example.expected.items():
        bounds = example.tolerance[key]
        near = pytest.approx(
            float(expected), rel=bounds.get("rel", 0.0), abs=bounds.get("abs", 0.0)
        )
        assert near == float(computed[key]), key
