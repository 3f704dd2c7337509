"""What a column is likely to be, by what stands in it.

Floor 6. One subject: advice to a person who teaches a report. Laws here: pure; nothing
is read by a guess, it is only offered as a line to copy; a column that holds figures or
units is never offered to be left out as a matter of course.
"""

from collections.abc import Callable, Iterator, Sequence

from slackwater.outside.lab.cells import Cell, Row
from slackwater.outside.lab.columns import Role, looks_like_figure
from slackwater.outside.lab.names import analyte_named
from slackwater.outside.lab.units import parse_unit


def part_of(cells: Sequence[Cell]) -> Role | None:
    """Value for a column of figures, unit for one of units, None for any other.

    Shape: the cells below the head; empty ones tell nothing. More than half must agree.
    """
    # Dimensionless figures are no units, and "%" may stand in either.
    for role, fits in ((Role.VALUE, looks_like_figure), (Role.UNIT, _is_unit)):
        if _most(cells, fits):
            return role
    return None


def parts_in(head: Row, below: Sequence[Row]) -> Iterator[tuple[Cell, Role]]:
    """The columns to teach of a table whose head nobody knows, one for each part.

    Shape: element, value and unit, as far as the columns show them.
    """
    columns = [(one, column(below, at)) for at, one in enumerate(head) if one.text]
    parts = {name: part_of(cells) for name, cells in columns}
    words = [(name, cells) for name, cells in columns if parts[name] is None]
    known = [name for name, cells in words if _most(cells, _is_analyte)]
    yield from ((name, Role.ELEMENT) for name in (*known, *(n for n, _ in words))[:1])
    for role in (Role.VALUE, Role.UNIT):
        yield from [(name, role) for name, _ in columns if parts[name] is role][:1]


def column(rows: Sequence[Row], place: int) -> list[Cell]:
    """The cells of one column, as far as the rows reach."""
    return [row[place] for row in rows if place < len(row)]


def _most(cells: Sequence[Cell], fits: Callable[[str], bool]) -> bool:
    filled = [cell.text for cell in cells if not cell.is_empty]
    return sum(map(fits, filled)) * 2 > len(filled)


def _is_unit(text: str) -> bool:
    return parse_unit(text) is not None


def _is_analyte(text: str) -> bool:
    return analyte_named(text) is not None
