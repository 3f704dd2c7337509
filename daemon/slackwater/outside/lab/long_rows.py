"""Reads a table with a row for each element.

Floor 6. One subject: the long layout. Laws here: every row names one element; two names
in one row must mean the same; a cell nobody has a head for is refused.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import zip_longest

from slackwater.outside.lab.cells import Cell, Faults, Row
from slackwater.outside.lab.columns import Role
from slackwater.outside.lab.guesses import column as column_of
from slackwater.outside.lab.guesses import part_of
from slackwater.outside.lab.heads import Head
from slackwater.outside.lab.names import Analyte
from slackwater.outside.lab.sheet import Reading, Stated
from slackwater.outside.lab.vocabulary import (
    Column,
    Vocabulary,
    note_unknown_column,
    note_unknown_element,
)
from slackwater.water.texts import shown

BESIDE = (Role.LIMIT, Role.DETECTION, Role.QUANTIFICATION, Role.SD, Role.TWICE_SD)
ABOUT = (
    *(Role.METHOD, Role.NOTE, Role.SAMPLE, Role.REPLICATE),
    *(Role.SAMPLED, Role.RECEIVED, Role.LABORATORY),
)
# Of these there may be one column each.
_ONCE = frozenset({*BESIDE, *ABOUT, Role.UNIT})


def read_long(
    head: Head, rows: Sequence[Row], words: Vocabulary, faults: Faults
) -> Iterator[Reading]:
    """The readings of the rows below a head; what is wrong is noted."""
    columns = _columns(head, rows, words, faults)
    titles = tuple(one.cell.text for one in head.columns)
    for row in rows:
        # A head repeated on every page of a report says nothing new.
        if tuple(cell.text for cell in row) == titles:
            continue
        filled = _Filled.of(row, head.columns, columns, faults)
        reading = _reading(filled, words, faults)
        if reading is not None:
            yield reading


def agreed(names: Sequence[Cell], words: Vocabulary, faults: Faults) -> Analyte | None:
    """The analyte that all names mean; None after noting what is wrong."""
    found = [(cell, words.analyte(cell.text)) for cell in names]
    known = {analyte for _, analyte in found if analyte}
    if not known:
        note_unknown_element(names[0], faults)
        return None
    if len(known) > 1:
        told = " and ".join(shown(cell.text) for cell in names)
        faults.add(
            names[0],
            f"{told} are not the same",
            "two names of one element in one row",
            "Mend the one that is wrong.",
        )
        return None
    return known.pop()


def note_surplus(cell: Cell, faults: Faults) -> None:
    """Say that a cell stands where no head is."""
    faults.add(
        cell,
        f"{shown(cell.text)} stands in a column without a head",
        "as many cells as the head has",
        "Put figures with a comma in quotes, or separate by semicolons; give every "
        "column a head.",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Filled:
    """The cells of one row that are not empty, each with its column."""

    line: Cell
    cells: tuple[tuple[Column, Cell], ...]
    values: tuple[tuple[Column, Cell], ...]

    @classmethod
    def of(
        cls,
        row: Row,
        heads: Sequence[Column],
        columns: frozenset[int],
        faults: Faults,
    ) -> "_Filled":
        cells, values = [], []
        for place, (column, cell) in enumerate(zip_longest(heads, row)):
            if cell is None:
                continue
            if column is None or column.cell.is_empty:
                if not cell.is_empty:
                    note_surplus(cell, faults)
            elif place in columns and column.role is Role.VALUE:
                values.append((column, cell))
            elif place in columns and not cell.is_empty:
                cells.append((column, cell))
        return cls(line=row[0], cells=tuple(cells), values=tuple(values))

    def all(self, role: Role) -> list[Cell]:
        return [cell for column, cell in self.cells if column.role is role]


def _columns(
    head: Head, rows: Sequence[Row], words: Vocabulary, faults: Faults
) -> frozenset[int]:
    """The places of the columns that are read; unknown ones are noted."""
    read: dict[int, Column] = {}
    # A column that is called so and holds no figures is not what another one would be.
    told = {
        one.role
        for place, one in enumerate(head.columns)
        if one.role is part_of(column_of(rows, place))
    }
    for place, column in enumerate(head.columns):
        if words.is_skipped(*column.names):
            continue
        if column.role is None and not column.cell.is_empty:
            likely = part_of(column_of(rows, place))
            note_unknown_column(column, faults, likely, beside=likely in told)
        elif column.role in _ONCE and column.role in {c.role for c in read.values()}:
            faults.add(
                column.cell,
                f'a second column is "{column.role}"',
                "one such column",
                f"Leave one out with  --skip {shown(column.header.name)}",
            )
        else:
            read[place] = column
    return frozenset(read)


def _reading(filled: _Filled, words: Vocabulary, faults: Faults) -> Reading | None:
    names = filled.all(Role.ELEMENT)
    if not names:
        faults.add(
            filled.line,
            "the row names no element",
            "an element in every row",
            "Name it, or take the row out of the file.",
        )
        return None
    if words.is_skipped(*(cell.text for cell in names)):
        return None
    analyte = agreed(names, words, faults)
    if analyte is None:
        return None
    return Reading(
        name=names[0],
        analyte=analyte,
        values=_values(filled),
        units=_units(filled),
        beside={
            column.role: Stated(cell=cell, unit=column.unit)
            for column, cell in filled.cells
            if column.role in BESIDE
        },
        about={
            column.role: cell for column, cell in filled.cells if column.role in ABOUT
        },
    )


def _values(filled: _Filled) -> tuple[Cell, ...]:
    """The cells of the value columns; empty ones only where all of them are."""
    cells = [cell for _, cell in filled.values]
    told = [cell for cell in cells if not cell.is_empty]
    nothing = Cell(text="", line=filled.line.line, column=filled.line.column)
    return tuple(told or cells[:1] or [nothing])


def _units(filled: _Filled) -> tuple[Cell, ...]:
    heads = [column.unit for column, _ in filled.values if column.unit]
    return (*filled.all(Role.UNIT), *heads)
