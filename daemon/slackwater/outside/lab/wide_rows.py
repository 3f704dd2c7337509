"""Reads a table with a column for each element.

Floor 6. One subject: the wide layout. Laws here: a row is one sample or says something
about its columns (units, limits); a row's label decides which, a row of nothing but
units needs none; a label that is not known names a sample.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from slackwater.outside.lab.cells import Cell, Faults, Row
from slackwater.outside.lab.columns import Role, is_numbered
from slackwater.outside.lab.heads import Head
from slackwater.outside.lab.long_rows import ABOUT, BESIDE, note_surplus
from slackwater.outside.lab.sheet import Reading, Stated
from slackwater.outside.lab.units import parse_unit
from slackwater.outside.lab.vocabulary import (
    Column,
    Vocabulary,
    note_unknown_column,
)
from slackwater.water.texts import shown

# What a row may say about its columns.
_OF_COLUMNS = frozenset({*BESIDE, Role.UNIT, Role.METHOD, Role.NOTE})
# What a column may say about its rows.
_OF_ROWS = frozenset({*ABOUT, Role.UNIT, Role.ELEMENT})


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    """The columns that are read, by their place."""

    elements: Mapping[int, Column]
    others: Mapping[int, Column]
    width: int


@dataclass(slots=True, kw_only=True)
class _OfColumns:
    """What rows said about columns: by role, then by the place of the column."""

    told: dict[Role, dict[int, Cell]] = field(default_factory=dict)

    def of(self, role: Role, place: int) -> Cell | None:
        return self.told.get(role, {}).get(place)


def read_wide(
    head: Head, rows: Sequence[Row], words: Vocabulary, faults: Faults
) -> list[Reading]:
    """The readings of the rows below a head; what is wrong is noted."""
    table = _table(head, words, faults)
    columns, samples = _OfColumns(), []
    for row in rows:
        label = _label(row, table)
        _refuse_surplus(row, label, table, faults)
        if label is not None and words.is_skipped(label.text):
            continue
        role = words.role(label.text) if label is not None else None
        if role is None and _is_all_units(row, table):
            role = Role.UNIT
        if role in _OF_COLUMNS:
            _keep(columns.told.setdefault(role, {}), row, table, faults)
        else:
            samples.append((row, label))
    return [
        reading
        for row, label in samples
        for reading in _readings(row, label, table, columns, words)
    ]


def _table(head: Head, words: Vocabulary, faults: Faults) -> _Table:
    elements, others = {}, {}
    for place, column in enumerate(head.columns):
        if words.is_skipped(*column.names):
            continue
        if column.analyte is not None:
            elements[place] = column
        elif column.role in _OF_ROWS or column.cell.is_empty:
            others[place] = column
        else:
            note_unknown_column(column, faults)
    return _Table(elements=elements, others=others, width=len(head.columns))


def _label(row: Row, table: _Table) -> Cell | None:
    """The text that says what a row is, None when it has none."""
    for place, column in sorted(table.others.items()):
        is_label = column.cell.is_empty or column.role in {
            *(Role.ELEMENT, Role.SAMPLE, Role.REPLICATE)
        }
        if is_label and place < len(row) and not row[place].is_empty:
            return row[place]
    return None


def _is_all_units(row: Row, table: _Table) -> bool:
    cells = [row[place] for place in table.elements if place < len(row)]
    filled = [cell for cell in cells if not cell.is_empty]
    return bool(filled) and all(parse_unit(cell.text) for cell in filled)


def _keep(told: dict[int, Cell], row: Row, table: _Table, faults: Faults) -> None:
    for place in table.elements:
        if place >= len(row) or row[place].is_empty:
            continue
        first = told.setdefault(place, row[place])
        if first.text != row[place].text:
            faults.add(
                row[place],
                f"{shown(row[place].text)} here is {shown(first.text)} in line "
                f"{first.line}",
                "each unit, limit, method and note of a column once",
                "Remove the row that is wrong, or leave it out with --skip.",
            )


def _readings(
    row: Row,
    label: Cell | None,
    table: _Table,
    columns: _OfColumns,
    words: Vocabulary,
) -> Iterator[Reading]:
    about = _about(row, label, table, words)
    unit = about.pop(Role.UNIT, None)
    for place, column in table.elements.items():
        if column.analyte is None:
            continue
        units = (unit, column.unit, columns.of(Role.UNIT, place))
        said = {
            role: cell
            for role in (Role.METHOD, Role.NOTE)
            if (cell := columns.of(role, place)) is not None
        }
        nothing = Cell(text="", line=row[0].line, column=place + 1)
        yield Reading(
            name=column.title,
            analyte=column.analyte,
            values=(row[place] if place < len(row) else nothing,),
            units=tuple(one for one in units if one is not None),
            beside={
                role: Stated(cell=cell)
                for role in BESIDE
                if (cell := columns.of(role, place)) is not None
            },
            about={**about, **said},
        )


def _about(
    row: Row, label: Cell | None, table: _Table, words: Vocabulary
) -> dict[Role, Cell]:
    """What the other columns say of a row; its label names a sample or a replicate."""
    found: dict[Role, Cell] = {}
    for place, column in table.others.items():
        if place < len(row) and not row[place].is_empty and column.role in _OF_ROWS:
            found[column.role] = row[place]
    found.pop(Role.ELEMENT, None)
    if label is None or label in found.values():
        return found
    if is_numbered(label.text):
        found[Role.REPLICATE] = label
    elif words.role(label.text) is not Role.VALUE:
        found[Role.SAMPLE] = label
    return found


def _refuse_surplus(
    row: Row, label: Cell | None, table: _Table, faults: Faults
) -> None:
    nameless = [
        row[place]
        for place, column in table.others.items()
        if place < len(row) and column.cell.is_empty and row[place] is not label
    ]
    for cell in (*nameless, *row[table.width :]):
        if not cell.is_empty:
            note_surplus(cell, faults)
