"""Reads a laboratory's report from a file.

Floor 6. One subject: one file to one report. Laws here: everything that is wrong comes
out at once and nothing is handed on; the same report has the same digest in whatever
form, order or unit it is written; what had to be assumed is said.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from slackwater.errors import InputError
from slackwater.outside.lab import csv_rows, json_rows
from slackwater.outside.lab.cells import Cell, Faults, Row
from slackwater.outside.lab.columns import Role
from slackwater.outside.lab.dates import day_in
from slackwater.outside.lab.decoding import (
    REPORT_BYTES_AT_MOST,
    bytes_of,
    report_text,
)
from slackwater.outside.lab.figures import FigureReader, mark_of
from slackwater.outside.lab.heads import Head, head_in, read_above, refuse_no_head
from slackwater.outside.lab.long_rows import read_long
from slackwater.outside.lab.mapping import Taught, read_mapping
from slackwater.outside.lab.names import plain
from slackwater.outside.lab.replicates import (
    LabValue,
    combined,
    grouped,
    refuse_duplicates,
)
from slackwater.outside.lab.scales import Scales
from slackwater.outside.lab.sheet import Reading, Sheet, of_samples
from slackwater.outside.lab.units import LABORATORY_CELSIUS, density_kg_per_litre
from slackwater.outside.lab.values import Levels
from slackwater.outside.lab.vocabulary import Vocabulary
from slackwater.outside.lab.wide_rows import read_wide
from slackwater.outside.lab.windows import Windows
from slackwater.water.seawater import STANDARD_SALINITY
from slackwater.water.texts import shown

_SALINITY = "salinity"


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """How a person wants a file to be read.

    `skip` leaves out columns or elements by name, `confirm` takes values outside their
    windows; `sample` is a label that rows of the file may have.
    """

    mapping: Path | None = None
    skip: tuple[str, ...] = ()
    confirm: tuple[str, ...] = ()
    sample: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LabReport:
    """A report that was understood as a whole.

    `digest` is the SHA-256 of its values in hex; `limits` canonical by parameter;
    `label`, `sampled_on`, `received_on` and `laboratory` as the file says them, empty
    or None when it does not; `assumed` one sentence each.
    """

    file: str
    digest: str
    values: tuple[LabValue, ...]
    skipped: tuple[str, ...]
    limits: Mapping[str, float]
    assumed: tuple[str, ...]
    label: str
    sampled_on: date | None
    received_on: date | None
    laboratory: str


def read_report(path: Path, wishes: Wishes) -> LabReport:
    """The report in a CSV or JSON file.

    Raises: InputError with everything that is wrong in the mapping, or in the file.
    """
    taught = read_mapping(wishes.mapping) if wishes.mapping else Taught()
    text = report_text(bytes_of(path, REPORT_BYTES_AT_MOST, "a report"), path.name)
    reader = _ReportReader(path.name, Vocabulary(taught, wishes.skip), wishes)
    return reader.report(text)


class _ReportReader:
    """Reads one file; keeps what is wrong with it."""

    def __init__(self, file: str, words: Vocabulary, wishes: Wishes) -> None:
        self._file = file
        self._words = words
        self._wishes = wishes
        self._faults = Faults(file)
        self._commas_separate = False

    def report(self, text: str) -> LabReport:
        sheet = self._sheet(text)
        windows = Windows(
            wanted=self._wishes.confirm, words=self._words, faults=self._faults
        )
        refuse_duplicates(sheet.readings, self._faults)
        values, assumed = self._values(sheet, windows)
        told = {
            role: sheet.said(role, self._faults)
            for role in (Role.SAMPLED, Role.RECEIVED, Role.LABORATORY)
        }
        sampled = self._day(told[Role.SAMPLED])
        received = self._day(told[Role.RECEIVED])
        if not (values or self._faults.findings):
            self._faults.add(
                None, "the report holds no result", "a result", "Check the file."
            )
        self._settle(windows)
        return LabReport(
            file=self._file,
            digest=digest_of(values),
            values=values,
            skipped=self._words.left_out,
            limits={
                one.parameter: float(one.limit)
                for one in values
                if one.limit is not None and not one.kept_apart
            },
            assumed=assumed,
            label=sheet.label,
            sampled_on=sampled,
            received_on=received,
            laboratory=_text(told[Role.LABORATORY]),
        )

    def _settle(self, windows: Windows) -> None:
        options = [*self._words.not_left_out(), *windows.unused()]
        found = [*self._faults.findings, *options]
        if found:
            raise InputError(found)

    def _sheet(self, text: str) -> Sheet:
        rows, head = self._table(text)
        above, first = read_above(rows[: head.place], self._words, self._faults)
        below = rows[head.place + 1 :]
        read = read_long if head.shape == "long" else read_wide
        readings = [*first, *read(head, below, self._words, self._faults)]
        wanted = self._words.taught.samples or frozenset({plain(self._wishes.sample)})
        own = [one for one in readings if one not in first]
        chosen = of_samples(own, wanted - {""}, self._faults)
        return Sheet(readings=(*first, *chosen), above=above)

    def _table(self, text: str) -> tuple[list[Row], Head]:
        """The rows and their head, by the separator that makes most of the head."""
        if text.lstrip()[:1] in {"{", "["}:
            rows = json_rows.rows_of(text, self._file)
            head = head_in(rows, self._words)
            if head is None:
                refuse_no_head(rows, self._file)
            return rows, head
        return self._separated(text)

    def _separated(self, text: str) -> tuple[list[Row], Head]:
        tables: list[tuple[list[Row], str]] = []
        broken: list[InputError] = []
        for mark in csv_rows.separators_in(text):
            # A quote that is closed for one separator is open for another.
            try:
                tables.append((csv_rows.rows_of(text, mark, self._file), mark))
            except InputError as error:
                broken.append(error)
        if not tables:
            raise broken[0]
        best: tuple[int, list[Row], Head, str] | None = None
        for rows, mark in tables:
            head = head_in(rows, self._words)
            if head is not None and (best is None or head.known > best[0]):
                best = head.known, rows, head, mark
        if best is None:
            widest = max(
                (rows for rows, _ in tables), key=lambda one: sum(map(len, one))
            )
            # What parts its rows well is the file; a quote is open for others only.
            if broken and not _is_parted(widest):
                raise broken[0]
            refuse_no_head(widest, self._file)
        self._commas_separate = best[3] == ","
        return best[1], best[2]

    def _values(
        self, sheet: Sheet, windows: Windows
    ) -> tuple[tuple[LabValue, ...], tuple[str, ...]]:
        mark = mark_of(
            _figure_cells(sheet.readings),
            self._words.taught,
            self._faults,
            commas_separate=self._commas_separate,
        )
        levels = Levels(
            words=self._words,
            figures=FigureReader(mark, self._words.taught, self._faults),
            scales=Scales(self._words, sheet.above.get(Role.UNIT), self._faults),
            windows=windows,
            faults=self._faults,
            kg_per_litre=density_kg_per_litre(STANDARD_SALINITY),
        )
        groups = grouped(sheet.readings)
        own = _combined(levels, groups.get((_SALINITY, ""), []))
        salinity = float(own[0].level) if own else STANDARD_SALINITY
        at = levels.at(density_kg_per_litre(salinity))
        values = tuple(
            value for group in groups.values() for value in _combined(at, group)
        )
        if not any(one.by_mass for one in values):
            return values, ()
        return values, (_by_mass(salinity, is_stated=bool(own)),)

    def _day(self, cell: Cell | None) -> date | None:
        if cell is None:
            return None
        found = day_in(cell.text)
        if found is None:
            self._faults.add(
                cell,
                f"{shown(cell.text)} is no date that can be read in one way only",
                "a date like 2026-05-03 or 3 May 2026",
                "Mend it, or leave its column out with --skip.",
            )
        return found


def digest_of(values: Sequence[LabValue]) -> str:
    """The SHA-256, in hex, of what was understood.

    Levels go in exactly as fractions, so that unit, order and form of the file do not
    matter; names, remarks and methods do not go in.
    """
    rows = sorted(
        [one.parameter, one.kept_apart, str(one.level), one.censored, one.replicates]
        for one in values
    )
    return hashlib.sha256(json.dumps(rows).encode()).hexdigest()


def _combined(levels: Levels, readings: Sequence[Reading]) -> list[LabValue]:
    """The one value of an element, none when no result of it can be read."""
    results = [result for one in readings for result in levels.results(one)]
    return [combined(results)] if results else []


def _figure_cells(readings: Sequence[Reading]) -> list[Cell]:
    return [
        cell
        for one in readings
        for cell in (*one.values, *(stated.cell for stated in one.beside.values()))
    ]


def _by_mass(salinity: float, *, is_stated: bool) -> str:
    source = "as the report says" if is_stated else "assumed, the report states none"
    density = float(density_kg_per_litre(salinity))
    return (
        f"Results by mass are taken at salinity {salinity:.2f} ({source}) and "
        f"{LABORATORY_CELSIUS:.0f} degC: {density:.4f} kg/L."
    )


def _is_parted(rows: Sequence[Row]) -> bool:
    """Whether most rows have more than one cell."""
    return 2 * sum(len(row) > 1 for row in rows) > len(rows)


def _text(cell: Cell | None) -> str:
    return "" if cell is None else cell.text
