"""Cells of a report with their place in the file, and everything found wrong there.

Floor 6. One subject: where a text stands. Laws here: a finding names file, line and
column; all findings of a report come out at once, in the order of the file, and at most
so many that a person can read them.
"""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import NoReturn, TypeVar

from slackwater.errors import Finding, InputError

# More than these nobody mends one by one: the layout is wrong as a whole.
FINDINGS_AT_MOST = 100
# Beyond these a file is no report, and reading it would only take time.
ROWS_AT_MOST = 2000
CELLS_AT_MOST = 500
LETTERS_AT_MOST = 1000

_BREAKS = re.compile(r"[\r\n\t]+")

ValueT = TypeVar("ValueT")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One text of a report.

    `line` and `column` count from 1: in CSV the cell of its row, in JSON the character
    of its line. `exact` says that it was a bare number of JSON, whose decimal mark is
    a point.
    """

    text: str
    line: int
    column: int
    exact: bool = False

    @property
    def is_empty(self) -> bool:
        """Whether nothing stands there."""
        return not self.text.strip()


Row = tuple[Cell, ...]


class Faults:
    """Collects what is wrong with one file."""

    def __init__(self, file: str) -> None:
        """Start with nothing wrong in `file`."""
        self.file = file
        self._found: dict[tuple[tuple[int, int], Finding], None] = {}

    def place(self, cell: Cell | None) -> str:
        """File, line and column of a cell; the file alone for None."""
        if cell is None:
            return self.file
        return f"{self.file} line {cell.line}, column {cell.column}"

    def add(self, cell: Cell | None, what: str, expected: str, do: str) -> None:
        """Note one thing about a cell, or about the file as a whole."""
        where = self.place(cell)
        self._keep(cell, Finding(what=what, where=where, expected=expected, do=do))

    def adopt(self, cell: Cell | None, error: InputError) -> None:
        """Take over what a lower floor found, told with our place."""
        for found in error.findings:
            self.add(cell, found.what, found.expected, found.do)

    def attempt(self, cell: Cell | None, read: Callable[[], ValueT]) -> ValueT | None:
        """What `read` gives, or None after noting why it refused."""
        try:
            return read()
        except InputError as error:
            self.adopt(cell, error)
            return None

    @property
    def findings(self) -> list[Finding]:
        """What is wrong, in the order of the file, the file as a whole last."""
        told = [finding for _, finding in sorted(self._found, key=lambda one: one[0])]
        if len(told) <= FINDINGS_AT_MOST:
            return told
        more = Finding(
            what=f"{len(told) - FINDINGS_AT_MOST} more lines are wrong",
            where=self.file,
            expected="a report in a layout that is known",
            do="Mend what is told above; most of the rest has the same cause.",
        )
        return [*told[:FINDINGS_AT_MOST], more]

    def _keep(self, cell: Cell | None, finding: Finding) -> None:
        rank = (1_000_000_000, 0) if cell is None else (cell.line, cell.column)
        self._found[rank, finding] = None


def refuse(what: str, where: str, expected: str, do: str) -> NoReturn:
    """End the reading at once.

    Raises: InputError, always.
    """
    raise InputError(Finding(what=what, where=where, expected=expected, do=do))


def one_line(text: str) -> str:
    """A text without breaks and tabs inside, as the cells of a table are."""
    return _BREAKS.sub(" ", text).strip()


def refuse_size(rows: int, row: Row, file: str) -> None:
    """Refuse a row that makes a table too long, too wide or a text too long.

    Raises: InputError with the line.
    """
    line = f"{file} line {row[0].line}" if row else file
    longest = max((len(cell.text) for cell in row), default=0)
    for found, most, noun in (
        (rows, ROWS_AT_MOST, "rows"),
        (len(row), CELLS_AT_MOST, "cells in a row"),
        (longest, LETTERS_AT_MOST, "letters in a cell"),
    ):
        if found > most:
            refuse(
                f"there are {found} {noun}",
                line,
                f"at most {most}",
                "Check that this is a report, and cut out what does not belong to it.",
            )


def listed(words: Iterable[str]) -> str:
    """Words joined by commas, or "none"."""
    return ", ".join(words) or "none"
