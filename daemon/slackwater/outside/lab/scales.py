"""The unit of each result.

Floor 6. One subject: where a report says a unit. Laws here: every place that says one
must say the same; where none does the mapping may, else the result is refused; pH alone
has no unit to state.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from slackwater.outside.lab.cells import Cell, Faults
from slackwater.outside.lab.mapping import GAP, Taught, line_for
from slackwater.outside.lab.names import plain
from slackwater.outside.lab.sheet import Reading
from slackwater.outside.lab.units import Unit, parse_unit, units_for
from slackwater.outside.lab.vocabulary import Vocabulary
from slackwater.water.parameters import PARAMETERS
from slackwater.water.texts import shown

_PH = "pH"
# What some write behind a unit that has no litre, as in "dKH/L".
_BY_LITRE = re.compile(
    r"(?P<unit>.+?)\s*(?:/|\bper\b)?\s*(?:l|litre|liter)(?:\^?-1)?", re.IGNORECASE
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """A unit and the text it was written as."""

    unit: Unit
    text: str


class Scales:
    """Finds the units of one report; `above` is what is said for all of it."""

    def __init__(self, words: Vocabulary, above: Cell | None, faults: Faults) -> None:
        """Take the words, the unit above the table if any, and where faults go."""
        self._words = words
        self._taught: Taught = words.taught
        self._above = above
        self._faults = faults

    def of(self, reading: Reading, cell: Cell, inside: str) -> Scale | None:
        """The unit of one result; `inside` stands in its own cell. None when noted."""
        own = [self._at(cell, inside)] if inside else []
        stated = [*own, *(one for one in reading.units if _says(one))]
        if not stated and self._above is not None:
            stated = [self._above]
        taught = self._taught_unit(reading)
        if not stated and taught is None:
            return self._without(reading, cell)
        scales = [self.read(one) for one in stated]
        if taught is not None:
            scales.append(self.read(self._at(cell, taught)))
        known = [one for one in scales if one is not None]
        if len(known) < len(scales):
            return None
        return self._agreed(known, stated or [cell])

    def read(self, cell: Cell) -> Scale | None:
        """The unit in a cell, None after noting that it is not known."""
        text = self._taught.units.get(plain(cell.text), cell.text)
        unit = parse_unit(text)
        if unit is None:
            self._faults.add(
                cell,
                f"nobody knows the unit {shown(cell.text)}",
                'a unit such as "mg/L", "ug/L", "mg/kg", "ppm", "dKH" or "PSU"',
                f"{_without_litre(cell.text)}Mend it, or add "
                f"the line  {line_for('units', cell.text, GAP)}  with what it means to "
                "the mapping.",
            )
            return None
        return Scale(unit=unit, text=cell.text)

    def _agreed(self, known: Sequence[Scale], cells: Sequence[Cell]) -> Scale | None:
        for other in known[1:]:
            if other.unit != known[0].unit:
                self._faults.add(
                    cells[0],
                    f"the unit is said to be {shown(known[0].text)} and "
                    f"{shown(other.text)}",
                    "one unit for one result",
                    "Mend the one that is wrong.",
                )
                return None
        return known[0]

    def _without(self, reading: Reading, cell: Cell) -> Scale | None:
        if reading.analyte.parameter == "ph":
            return Scale(unit=Unit(kind="own", spelling=_PH), text="")
        item = PARAMETERS[reading.analyte.parameter]
        line = line_for("units", reading.name.text, GAP)
        self._faults.add(
            cell,
            f"nothing says the unit of {shown(reading.name.text)}",
            f"{item.name} in one of {', '.join(units_for(item))}",
            f"Ask the laboratory, and add the line  {line}  with it to the mapping.",
        )
        return None

    def _taught_unit(self, reading: Reading) -> str | None:
        """The unit a mapping gives an element that the file gives none."""
        name = plain(reading.name.text)
        for key, unit in self._taught.units.items():
            if key == name or self._words.analyte(key) == reading.analyte:
                return unit
        return None

    def _at(self, cell: Cell, text: str) -> Cell:
        return Cell(text=text, line=cell.line, column=cell.column)


def _says(cell: Cell) -> bool:
    """Whether a unit cell says anything: a dash says that there is none."""
    return plain(cell.text) not in {"", "-", "--", "n/a", "none"}


def _without_litre(text: str) -> str:
    """A question where a unit is one without the litre behind it, else nothing."""
    match = _BY_LITRE.fullmatch(text.strip())
    unit = parse_unit(match["unit"]) if match else None
    if unit is None or unit.kind != "own":
        return ""
    return f"Did you mean {shown(unit.spelling)}? It has no litre behind it. "
