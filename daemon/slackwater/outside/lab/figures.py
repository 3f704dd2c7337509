"""Figures of a report, exact, once its decimal mark is known.

Floor 6. One subject: from cells to numbers. Laws here: one decimal mark for the whole
file; it is proven by figures that can be read in one way only, by commas that separate
cells, or stated in a mapping; where nothing proves it, every figure that can be read in
two ways is refused. Bare numbers of JSON have a point and prove nothing about texts.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from slackwater.outside.lab.cells import Cell, Faults
from slackwater.outside.lab.mapping import Taught
from slackwater.outside.lab.numbers import (
    Figure,
    Mark,
    Word,
    figure_in,
    is_ambiguous,
    meanings,
    proof_in,
)
from slackwater.water.texts import shown

_EXPECTED = "a number, or < and a limit"
_DECIMALS = 'Say  decimals = "point"  or  decimals = "comma"  in a mapping.'

_ADVICE = {
    Word.NOTHING: ("no result stands there", "Leave it out with  --skip {name}"),
    Word.NOT_FINITE: ("{text} is not a finite number", "Ask the laboratory."),
    Word.NEGATIVE: (
        "{text} is negative",
        "It means that nothing was seen: write < and the laboratory's limit.",
    ),
    Word.ABOVE: (
        "{text} is above what the laboratory could measure",
        "There is no value to keep: leave it out with  --skip {name}",
    ),
    Word.UNREADABLE: (
        "{text} is no number",
        "Mend it; a word for below the limit goes into `below` of a mapping.",
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """A number, exact, the unit in its own cell if any, and whether it is a limit."""

    number: Fraction
    unit: str = ""
    below: bool = False


class FigureReader:
    """Reads the figures of one report with one decimal mark."""

    def __init__(self, mark: Mark | None, taught: Taught, faults: Faults) -> None:
        """Take the mark; None when it is unknown, which was noted if it matters."""
        self._mark = mark
        self._taught = taught
        self._faults = faults

    def amount(self, cell: Cell, name: str) -> Amount | Word | None:
        """The amount in a cell, a word for below a limit, or None after noting why not.

        `name` is what the report calls the element.
        """
        found = figure_in(cell.text, self._taught.below)
        if isinstance(found, Figure):
            return self._read(found, cell)
        if found in {Word.BELOW_DETECTION, Word.BELOW_QUANTIFICATION}:
            return found
        what, advice = _ADVICE[found]
        self._faults.add(
            cell,
            what.format(text=shown(cell.text)),
            _EXPECTED,
            advice.format(name=shown(name)),
        )
        return None

    def _read(self, found: Figure, cell: Cell) -> Amount | None:
        number = self._number(found, cell)
        if number is None:
            return None
        if found.below and not number:
            self._faults.add(
                cell,
                f"{shown(cell.text)} says nothing",
                "a limit above 0",
                "Ask the laboratory for its limit.",
            )
            return None
        return Amount(number=number, unit=found.unit, below=found.below)

    def _number(self, found: Figure, cell: Cell) -> Fraction | None:
        known = meanings(found.number)
        mark: Mark | None = "point" if cell.exact else self._mark
        if mark is None and len(set(known.values())) > 1:
            # That it can be read in two ways was noted already.
            return None
        number = next(iter(known.values()), None) if mark is None else known.get(mark)
        if number is None:
            self._faults.add(
                cell,
                f"{shown(found.number)} is no number with a decimal {mark or 'mark'}",
                _EXPECTED,
                "Mend it; groups of three may be parted by spaces.",
            )
        return number


def mark_of(
    cells: Sequence[Cell], taught: Taught, faults: Faults, *, commas_separate: bool
) -> Mark | None:
    """The decimal mark of a report; None when it does not matter or is not known.

    Ambiguity and contradiction are noted.
    """
    if taught.decimals:
        return taught.decimals
    figures = [
        (cell, found.number)
        for cell in cells
        if not cell.exact and isinstance(found := figure_in(cell.text), Figure)
    ]
    proof = proof_in(number for _, number in figures)
    if proof.points and proof.commas:
        _note_both(figures[proof.points[0]][0], figures[proof.commas[0]][0], faults)
        return None
    if proof.mark:
        return proof.mark
    if commas_separate and not any("," in number for _, number in figures):
        return "point"
    _note_open((cell for cell, number in figures if is_ambiguous(number)), faults)
    return None


def _note_both(point: Cell, comma: Cell, faults: Faults) -> None:
    first, second = sorted((point, comma), key=lambda cell: (cell.line, cell.column))
    faults.add(
        second,
        f"{shown(second.text)} here and {shown(first.text)} in line {first.line} have "
        "different decimal marks",
        "one decimal mark in the whole report",
        "Mend one of them; nothing was guessed.",
    )


def _note_open(cells: Iterable[Cell], faults: Faults) -> None:
    for cell in cells:
        digits = "".join(letter for letter in cell.text if letter in "0123456789.,")
        readings = " or ".join(
            f"{float(value):g}" for value in meanings(digits).values()
        )
        faults.add(
            cell,
            f"{shown(cell.text)} can be read in two ways ({readings})",
            "a figure that says which mark is the decimal one",
            _DECIMALS,
        )
