"""What the names of one report mean: known, taught by a mapping, or left out.

Floor 6. One subject: looking names up. Laws here: a mapping comes before what is known;
what is left out on purpose is remembered by the name it has in the file; a name to
leave out that the report does not have is an error.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from slackwater.errors import Finding
from slackwater.outside.lab.cells import Cell, Faults, listed
from slackwater.outside.lab.columns import (
    Header,
    Role,
    header_in,
    near_role,
    role_named,
)
from slackwater.outside.lab.mapping import GAP, SKIP, Taught, line_for
from slackwater.outside.lab.names import Analyte, analyte_named, near_name, plain
from slackwater.outside.lab.units import parse_unit
from slackwater.water.texts import shown


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One head of a table: its cell, name and unit, and what it means.

    A column with neither role nor analyte is not known.
    """

    cell: Cell
    header: Header
    role: Role | None = None
    analyte: Analyte | None = None

    @property
    def names(self) -> tuple[str, str]:
        """The name, and the whole text of the head."""
        return self.header.name, self.cell.text

    @property
    def title(self) -> Cell:
        """The name at the place of the head."""
        return Cell(text=self.header.name, line=self.cell.line, column=self.cell.column)

    @property
    def unit(self) -> Cell | None:
        """The unit the head states, at the place of the head."""
        if not self.header.unit:
            return None
        return Cell(text=self.header.unit, line=self.cell.line, column=self.cell.column)


class Vocabulary:
    """Looks names up for one report."""

    def __init__(self, taught: Taught, skip: Sequence[str]) -> None:
        """Take what a mapping taught and what is left out by option."""
        self.taught = taught
        self._skip = (*skip, *taught.skip)
        self._asked = tuple(skip)
        self._hit: set[str] = set()
        self._left_out: set[str] = set()

    @property
    def left_out(self) -> tuple[str, ...]:
        """The names of the file that were left out, sorted."""
        return tuple(sorted(self._left_out))

    def role(self, name: str) -> Role | None:
        """The part a name plays."""
        return self.taught.columns.get(plain(name)) or role_named(name)

    def analyte(self, name: str) -> Analyte | None:
        """The analyte a name means."""
        return self.taught.elements.get(plain(name)) or analyte_named(name)

    def is_skipped(self, *names: str) -> bool:
        """Whether one of the names of a thing is left out; the first is remembered."""
        for wanted in self._skip:
            if any(self._is_same(wanted, name) for name in names):
                self._hit.add(wanted)
                self._left_out.add(names[0])
                return True
        if any(
            plain(name) in self.taught.columns
            and self.taught.columns[plain(name)] is None
            for name in names
        ):
            self._left_out.add(names[0])
            return True
        return False

    def column(self, cell: Cell) -> Column:
        """What the head of a column means."""
        header = header_in(cell.text)
        names = header.name, cell.text
        role = next(filter(None, map(self.role, names)), None)
        analyte = next(filter(None, map(self.analyte, names)), None)
        if not role and not analyte and parse_unit(cell.text):
            # A head that is nothing but a unit stands above figures.
            role, header = Role.VALUE, Header(name=cell.text, unit=cell.text)
        return Column(cell=cell, header=header, role=role, analyte=analyte)

    def not_left_out(self) -> list[Finding]:
        """One finding for each name to leave out by option that nothing has."""
        return [
            Finding(
                what=f"nothing in the report is called {shown(name)}",
                where="--skip",
                expected="a column or an element of the report",
                do="Write it as the report does, or take the option out.",
            )
            for name in self._asked
            if name not in self._hit
        ]

    def _is_same(self, wanted: str, name: str) -> bool:
        if plain(wanted) == plain(name):
            return True
        analyte = self.analyte(wanted)
        return analyte is not None and analyte == self.analyte(name)


def note_unknown_column(
    column: Column, faults: Faults, likely: Role | None = None, *, beside: bool = False
) -> None:
    """Say that nobody knows a column, and how to teach or leave it out.

    `likely` is what its cells look like, `beside` whether another column is that.
    """
    name = column.header.name
    faults.add(
        column.cell,
        f"nobody knows the column {shown(name)}",
        f"a column that plays one of the parts {listed(Role)}",
        _beside_words(name) if likely and beside else _column_words(name, likely),
    )


def _column_words(name: str, likely: Role | None) -> str:
    part = near_role(name) or likely
    line = line_for("columns", name, part or SKIP)
    if likely:
        # Left out, the report would have no figures, or figures without a unit.
        return f"Add the line  {line}  to the mapping."
    return (
        f"Add the line  {line}  to the mapping, or leave the column out with  --skip "
        f"{shown(name)}"
    )


def _beside_words(name: str) -> str:
    """Of what stands beside the results nobody can tell what it is."""
    near = near_role(name)
    return (
        f"Say what it holds: a line  {line_for('columns', name, near or GAP)}  in the "
        "mapping with its part. Only if it is no part of the results, leave it out "
        f"with  --skip {shown(name)}"
    )


def note_unknown_element(cell: Cell, faults: Faults) -> None:
    """Say that nobody knows an element, and how to teach or leave it out."""
    near = near_name(cell.text)
    # A guess is only offered where a name is near: copied blindly, it must not turn
    # gold into calcium.
    line = line_for("elements", cell.text, near or GAP)
    teach = (
        f'Did you mean "{near}"? Then add the line  {line}  to the mapping, or leave'
        if near
        else f"If it has another name, add a line  {line}  to the mapping; or leave"
    )
    faults.add(
        cell,
        f"nobody knows the element {shown(cell.text)}",
        "a symbol or an English name of something that is kept",
        f"{teach} it out with  --skip {shown(cell.text)}  or the line  "
        f"skip = [{shown(cell.text)}]",
    )
