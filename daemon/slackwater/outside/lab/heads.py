"""Finds the row that names the columns, and reads what stands above it.

Floor 6. One subject: where the table of a report begins. Laws here: a head is found by
names that are known or were taught, never by its place; what stands above is read as
pairs of name and text, and an unknown pair is refused like an unknown column.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NoReturn

from slackwater.outside.lab.cells import Cell, Faults, Row, listed, refuse
from slackwater.outside.lab.columns import Role, looks_like_figure
from slackwater.outside.lab.guesses import parts_in
from slackwater.outside.lab.mapping import line_for
from slackwater.outside.lab.sheet import Reading
from slackwater.outside.lab.vocabulary import (
    Column,
    Vocabulary,
    note_unknown_column,
)
from slackwater.water.texts import shown

Shape = Literal["long", "wide"]

# A head stands near the top; further down it would be found in the results.
ROWS_ABOVE_AT_MOST = 40
# Name and text, or name, figure and unit.
_PAIR, _WITH_UNIT = 2, 3
_ABOVE = frozenset(
    {
        *(Role.SAMPLE, Role.SAMPLED, Role.RECEIVED, Role.LABORATORY),
        *(Role.METHOD, Role.NOTE, Role.UNIT),
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """The row that names the columns, by its place, and what it makes of the table."""

    place: int
    shape: Shape
    columns: tuple[Column, ...]

    @property
    def known(self) -> int:
        """How many of the columns mean something."""
        return sum(bool(one.role or one.analyte) for one in self.columns)


def head_in(rows: Sequence[Row], words: Vocabulary) -> Head | None:
    """The first row that names columns, None when there is none near the top."""
    for place, row in enumerate(rows[:ROWS_ABOVE_AT_MOST]):
        columns = tuple(words.column(cell) for cell in row)
        roles = {one.role for one in columns}
        if {Role.ELEMENT, Role.VALUE} <= roles:
            return Head(place=place, shape="long", columns=columns)
        if _is_wide(columns):
            return Head(place=place, shape="wide", columns=columns)
    return None


def refuse_no_head(rows: Sequence[Row], file: str) -> NoReturn:
    """Refuse a report in which no row names the columns.

    Raises: InputError, always.
    """
    # Lines about the sample often stand above: most words are the likeliest head.
    row = max(rows[:ROWS_ABOVE_AT_MOST], key=_words_in, default=())
    below = rows[rows.index(row) + 1 :] if row else ()
    cell = row[0] if row else Cell(text="", line=1, column=1)
    names = [one.text for one in row if not one.is_empty]
    teach = "Add a row that names the columns."
    if len(names) > 1 and not any(map(looks_like_figure, names)):
        lines = [
            line_for("columns", name.text, part) for name, part in parts_in(row, below)
        ]
        teach = "Say what the columns are in a mapping: lines like  "
        teach += "  and  ".join(lines)
    refuse(
        f"no row names the columns; the likeliest reads {shown(listed(names))}",
        f"{file} line {cell.line}, column {cell.column}",
        "a head with Element and Value, or with the elements themselves",
        teach,
    )


def _words_in(row: Row) -> int:
    """Words in a row; figures are no names of columns."""
    return sum(not one.is_empty and not looks_like_figure(one.text) for one in row)


def read_above(
    rows: Sequence[Row], words: Vocabulary, faults: Faults
) -> tuple[dict[Role, Cell], list[Reading]]:
    """What stands above the table: texts by role, and results such as the salinity."""
    told: dict[Role, Cell] = {}
    readings: list[Reading] = []
    for row in rows:
        cells = _pair_in(row)
        column = words.column(cells[0])
        if words.is_skipped(*column.names):
            continue
        if column.role in _ABOVE and len(cells) == _PAIR:
            _keep(told, column.role, cells[1], faults)
        elif column.analyte and _PAIR <= len(cells) <= _WITH_UNIT:
            readings.append(_result_above(column, cells))
        else:
            note_unknown_column(column, faults)
    return told, readings


def _is_wide(columns: tuple[Column, ...]) -> bool:
    """Elements side by side: two different ones, or one that is surely a head."""
    filled = [one for one in columns if not one.cell.is_empty]
    named = [one for one in filled if one.analyte]
    others = [one for one in filled if not one.analyte]
    if any(looks_like_figure(one.cell.text) for one in others):
        return False
    if len({one.analyte.key for one in named if one.analyte}) > 1:
        return True
    # "Sample; Ca [mg/L]" is a head; "Sample; Tin" may be a sample of that name.
    return bool(named) and (not others or any(one.unit for one in named))


def _pair_in(row: Row) -> list[Cell]:
    """The filled cells of a row; a single "name: text" is taken apart."""
    cells = [cell for cell in row if not cell.is_empty]
    name, colon, text = cells[0].text.partition(":")
    if len(cells) == 1 and colon and text.strip():
        here = cells[0]
        return [
            Cell(text=name.strip(), line=here.line, column=here.column),
            Cell(text=text.strip(), line=here.line, column=here.column),
        ]
    return cells


def _keep(told: dict[Role, Cell], role: Role, cell: Cell, faults: Faults) -> None:
    if role in told:
        faults.add(
            cell,
            f'"{role}" is said twice, also in line {told[role].line}',
            "each once",
            "Remove one of the two.",
        )
    told[role] = cell


def _result_above(column: Column, cells: Sequence[Cell]) -> Reading:
    units = [cells[2]] if len(cells) == _WITH_UNIT else []
    if column.unit:
        units.append(column.unit)
    if column.analyte is None:
        raise AssertionError
    return Reading(
        name=column.title,
        analyte=column.analyte,
        values=(cells[1],),
        units=tuple(units),
    )
