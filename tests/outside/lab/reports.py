"""Invented reports, written to a file and read."""

from collections.abc import Mapping
from pathlib import Path

import pytest

from slackwater.errors import Finding, InputError
from slackwater.outside.lab import LabReport, LabValue, Wishes, read_report

SAMPLES = Path(__file__).parent / "samples"


def written(folder: Path, content: str | bytes, name: str = "report.csv") -> Path:
    """A file with this content."""
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def read(
    folder: Path,
    content: str | bytes,
    *,
    name: str = "report.csv",
    mapping: str = "",
    skip: tuple[str, ...] = (),
    confirm: tuple[str, ...] = (),
    sample: str = "",
) -> LabReport:
    """The report that a file with this content holds."""
    taught = written(folder, mapping, "mapping.toml") if mapping else None
    wishes = Wishes(mapping=taught, skip=skip, confirm=confirm, sample=sample)
    return read_report(written(folder, content, name), wishes)


def refusals(
    folder: Path,
    content: str | bytes,
    *,
    name: str = "report.csv",
    mapping: str = "",
    skip: tuple[str, ...] = (),
    confirm: tuple[str, ...] = (),
) -> tuple[Finding, ...]:
    """Everything that is told about a file that is refused."""
    with pytest.raises(InputError) as caught:
        read(folder, content, name=name, mapping=mapping, skip=skip, confirm=confirm)
    return caught.value.findings


def by_parameter(report: LabReport) -> Mapping[str, LabValue]:
    """The values by what they are of; what is kept apart has its reason behind it."""
    return {f"{one.parameter} {one.kept_apart}".strip(): one for one in report.values}


def levels(report: LabReport) -> dict[str, float]:
    """The levels by what they are of."""
    return {key: float(one.level) for key, one in by_parameter(report).items()}
