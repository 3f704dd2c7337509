"""Reads a mapping: the file that teaches the import a laboratory's layout.

Floor 6. One subject: one TOML file of our own form. Laws here: read strictly, every
error told at once with its table and key; a key nobody reads is an error; a mapping
says how a file is to be understood and holds no values.

    decimals = "comma"            # or "point"
    skip = ["Lab code", "Au"]     # columns and elements to leave out
    below = ["under range"]       # further words for "below the detection limit"
    samples = ["A", "B"]          # labels of the rows that are this one sample
    [columns]
    "Found" = "value"             # the part a column plays, see `Role`; or "skip"
    [elements]
    "Lime metal" = "calcium"      # another name for an element
    [units]
    "Ca" = "mg/L"                 # where the file states none
    "parts" = "mg/kg"             # what a spelling of the file means
    [limits]
    "Pb" = "0.05 ug/L"            # what "not detected" means
"""

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from typing import Literal, NoReturn

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails

from slackwater.errors import Finding, InputError
from slackwater.outside.lab.cells import listed, refuse
from slackwater.outside.lab.columns import Role
from slackwater.outside.lab.decoding import bytes_of, utf8_of
from slackwater.outside.lab.names import Analyte, analyte_named, near_name, plain
from slackwater.outside.lab.numbers import Figure, Mark, figure_in, meanings
from slackwater.outside.lab.units import parse_unit
from slackwater.water.texts import shown

MAPPING_BYTES_AT_MOST = 65_536
SKIP = "skip"
# Stands in a line to copy where only a person knows the word; it is refused as it is.
GAP = "..."
_REPEATED = re.compile(r"overwrite|twice|Duplicate|immutable")

_EXPECTED: Mapping[str, str] = {
    "decimals": '"point" or "comma"',
    "skip": "a list of names in quotes",
    "below": "a list of words in quotes",
    "samples": "a list of sample labels in quotes",
    "columns": 'lines like  "Found" = "value"',
    "elements": 'lines like  "Lime metal" = "calcium"',
    "units": 'lines like  "Ca" = "mg/L"',
    "limits": 'lines like  "Pb" = "0.05 ug/L"',
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Taught:
    """What a mapping teaches; all keys are names in one way of writing (`plain`).

    `columns` gives None for a column to skip. `limits` are figures with a decimal
    point and a unit.
    """

    decimals: Mark | None = None
    skip: tuple[str, ...] = ()
    below: tuple[str, ...] = ()
    samples: frozenset[str] = frozenset()
    columns: Mapping[str, Role | None] = field(default_factory=dict)
    elements: Mapping[str, Analyte] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    limits: Mapping[str, Figure] = field(default_factory=dict)


class _Document(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)

    decimals: Literal["point", "comma"] | None = None
    skip: list[str] = []
    below: list[str] = []
    samples: list[str] = []
    columns: dict[str, str] = {}
    elements: dict[str, str] = {}
    units: dict[str, str] = {}
    limits: dict[str, str] = {}


def read_mapping(path: Path) -> Taught:
    """What a mapping file teaches.

    Raises: InputError with everything that is wrong in it.
    """
    document = _document_in(path)
    findings = list(_wrong(document, path.name))
    if findings:
        raise InputError(findings)
    return Taught(
        decimals=document.decimals,
        skip=tuple(document.skip),
        below=tuple(document.below),
        samples=frozenset(plain(label) for label in document.samples),
        columns={
            plain(name): None if part == SKIP else Role(part)
            for name, part in document.columns.items()
        },
        elements={
            plain(name): found
            for name, text in document.elements.items()
            if (found := analyte_named(text)) is not None
        },
        units={plain(name): unit for name, unit in document.units.items()},
        limits={
            plain(name): limit
            for name, text in document.limits.items()
            if isinstance(limit := figure_in(text), Figure)
        },
    )


def line_for(table: str, name: str, meaning: str) -> str:
    """The exact line that teaches one name, for a person to copy."""
    escaped = name.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}" = "{meaning}"  under [{table}]'


def _document_in(path: Path) -> _Document:
    text = utf8_of(bytes_of(path, MAPPING_BYTES_AT_MOST, "a mapping"), path.name)
    try:
        tables = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        _refuse_grammar(path.name, error)
    try:
        return _Document.model_validate(tables)
    except ValidationError as error:
        details = error.errors(include_url=False)
        raise InputError(_misfit(detail, path.name) for detail in details) from error


def _misfit(detail: ErrorDetails, file: str) -> Finding:
    place = [str(part) for part in detail["loc"]]
    key = place[0] if place else ""
    where = f"{file} {'.'.join(place)}".rstrip()
    if detail["type"] == "extra_forbidden":
        near = get_close_matches(key, _EXPECTED, n=1)
        hint = f'Did you mean "{near[0]}"? ' if near else ""
        return Finding(
            what=f"nobody reads the key {shown(key)}",
            where=where,
            expected=f"one of {listed(_EXPECTED)}",
            do=f"{hint}Remove it or mend its spelling.",
        )
    return Finding(
        what=f"found {shown(detail['input'])}",
        where=where,
        expected=_EXPECTED.get(key, "a table"),
        do="Write it like that.",
    )


def _wrong(document: _Document, file: str) -> Iterator[Finding]:
    for name, part in document.columns.items():
        if part not in {*Role, SKIP}:
            near = get_close_matches(part, [*Role, SKIP], n=1)
            hint = f'Did you mean "{near[0]}"? ' if near else ""
            yield Finding(
                what=f"no column plays the part {shown(part)}",
                where=f"{file} [columns] {shown(name)}",
                expected=f"one of {listed([*Role, SKIP])}",
                do=f"{hint}Use one of these words.",
            )
    for name, text in document.elements.items():
        if analyte_named(text) is None:
            yield _unknown_element(text, f"{file} [elements] {shown(name)}")
    for name, text in document.units.items():
        if parse_unit(text) is None:
            yield Finding(
                what=f"the unit {shown(text)} is unknown",
                where=f"{file} [units] {shown(name)}",
                expected='a unit such as "mg/L", "ug/L", "mg/kg", "dKH" or "PSU"',
                do="Use one of these spellings.",
            )
    yield from _wrong_limits(document, file)


def _wrong_limits(document: _Document, file: str) -> Iterator[Finding]:
    own = {plain(name) for name in document.elements}
    for name, text in document.limits.items():
        where = f"{file} [limits] {shown(name)}"
        if analyte_named(name) is None and plain(name) not in own:
            yield _unknown_element(name, where)
        found = figure_in(text)
        if not (
            isinstance(found, Figure)
            and not found.below
            and meanings(found.number).get("point")
            and parse_unit(found.unit)
        ):
            yield Finding(
                what=f"{shown(text)} is not a limit",
                where=where,
                expected="a number above 0 with a decimal point and a unit, like "
                '"0.05 ug/L"',
                do="Write the laboratory's limit like that.",
            )


def _unknown_element(text: str, where: str) -> Finding:
    near = near_name(text)
    hint = f'Did you mean "{near}"? ' if near else ""
    return Finding(
        what=f"nothing measured is called {shown(text)}",
        where=where,
        expected='an element such as "Ca", "calcium", "NO3-N"',
        do=f"{hint}Use a symbol or an English name.",
    )


def _refuse_grammar(file: str, error: Exception) -> NoReturn:
    why = "brackets nest too deeply" if isinstance(error, RecursionError) else error
    if _REPEATED.search(str(why)):
        refuse(
            f"a key or table stands there twice ({why})",
            file,
            "each key and each table once",
            "Remove one of the two.",
        )
    refuse(
        f"the text is not TOML ({why})",
        file,
        'lines like  "Found" = "value"  under a [table]',
        "Mend the line named, or the one before it.",
    )
