"""Readings become levels.

Floor 6. One subject: the level of each result. Laws here: "not detected" is kept as the
limit it is below, and refused where nobody says the limit; by mass means by the density
of the sample; what is outside its window is refused or was confirmed by name.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from slackwater.outside.lab.cells import Cell, Faults
from slackwater.outside.lab.columns import Role
from slackwater.outside.lab.figures import Amount, FigureReader
from slackwater.outside.lab.mapping import GAP, line_for
from slackwater.outside.lab.names import Analyte, plain
from slackwater.outside.lab.numbers import Word, meanings
from slackwater.outside.lab.scales import Scale, Scales
from slackwater.outside.lab.sheet import Reading
from slackwater.outside.lab.units import level_of
from slackwater.outside.lab.vocabulary import Vocabulary
from slackwater.outside.lab.windows import Claim, Windows
from slackwater.water.parameters import PARAMETERS
from slackwater.water.texts import shown

# Where the limit for a word is looked for, the nearest meaning first.
_LIMITS: Mapping[Word, tuple[Role, ...]] = {
    Word.BELOW_DETECTION: (Role.DETECTION, Role.LIMIT, Role.QUANTIFICATION),
    Word.BELOW_QUANTIFICATION: (Role.QUANTIFICATION, Role.LIMIT),
}
_QUANTIFICATION = (Role.QUANTIFICATION, Role.LIMIT)
_NO_LIMIT = frozenset({"", "-", "--", "n/a", "na", "none"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """One result as a canonical level; `below` says that the level is a limit.

    `typed` is the result as the report writes it; `limit` the quantification limit and
    `sd` the standard deviation beside it, canonical.
    """

    reading: Reading
    cell: Cell
    level: Fraction
    typed: str
    below: bool
    by_mass: bool
    confirmed: bool
    limit: Fraction | None
    sd: Fraction | None

    @property
    def analyte(self) -> Analyte:
        """What was measured."""
        return self.reading.analyte


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Turns readings into levels; what is wrong is noted.

    `kg_per_litre` is the density of the sample.
    """

    words: Vocabulary
    figures: FigureReader
    scales: Scales
    windows: Windows
    faults: Faults
    kg_per_litre: Fraction

    def at(self, kg_per_litre: Fraction) -> "Levels":
        """The same for a sample of another density."""
        return replace(self, kg_per_litre=kg_per_litre)

    def results(self, reading: Reading) -> list[Result]:
        """The results of a reading, one for each replicate that can be read."""
        found = (self._result(reading, cell) for cell in reading.values)
        return [one for one in found if one is not None]

    def _result(self, reading: Reading, cell: Cell) -> Result | None:
        found = self.figures.amount(cell, reading.name.text)
        if isinstance(found, Word):
            amount, scale = self._limit_for(reading, cell, found)
        else:
            amount = found
            scale = self.scales.of(reading, cell, found.unit) if found else None
        if amount is None or scale is None:
            return None
        return self._made(reading, cell, amount, scale)

    def _made(
        self, reading: Reading, cell: Cell, amount: Amount, scale: Scale
    ) -> Result | None:
        level = self._level(reading, cell, amount.number, scale)
        if level is None:
            return None
        claim = Claim(
            cell=cell,
            name=reading.name.text,
            analyte=reading.analyte,
            number=amount.number,
            unit="" if amount.unit else scale.text,
            level=level,
        )
        if self.windows.refuse(claim):
            return None
        return Result(
            reading=reading,
            cell=cell,
            level=level,
            typed=f"{cell.text} {claim.unit}".strip(),
            below=amount.below,
            by_mass=scale.unit.by_mass,
            confirmed=self.windows.confirms(claim),
            limit=self._limit(reading),
            sd=self._sd(reading, amount.number),
        )

    def _level(
        self, reading: Reading, cell: Cell, number: Fraction, scale: Scale
    ) -> Fraction | None:
        return self.faults.attempt(
            cell,
            lambda: level_of(number, scale.unit, reading.analyte, self.kg_per_litre),
        )

    def _limit_for(
        self, reading: Reading, cell: Cell, word: Word
    ) -> tuple[Amount | None, Scale | None]:
        """The limit a word stands for: beside it, or as a mapping says."""
        for role in _LIMITS[word]:
            stated = self._beside(reading, role)
            if stated is not None:
                amount, scale = stated
                return _as_limit(amount), scale
        for key, figure in self.words.taught.limits.items():
            if plain(reading.name.text) == key or (
                self.words.analyte(key) == reading.analyte
            ):
                unit = Cell(text=figure.unit, line=cell.line, column=cell.column)
                number = meanings(figure.number)["point"]
                # Its unit is told with the number, whatever the column says.
                amount = Amount(number=number, unit=figure.unit, below=True)
                return amount, self.scales.read(unit)
        self._note_no_limit(reading, cell, word)
        return None, None

    def _beside(self, reading: Reading, role: Role) -> tuple[Amount, Scale] | None:
        """A limit or deviation beside a result, None when there is none."""
        stated = reading.beside.get(role)
        if stated is None or plain(stated.cell.text) in _NO_LIMIT:
            return None
        amount = self.figures.amount(stated.cell, reading.name.text)
        if not isinstance(amount, Amount):
            return None
        cell = stated.cell
        if amount.unit:
            cell = Cell(text=amount.unit, line=cell.line, column=cell.column)
            scale = self.scales.read(cell)
        elif stated.unit is not None:
            scale = self.scales.read(stated.unit)
        else:
            scale = self.scales.of(reading, cell, "")
        return None if scale is None else (amount, scale)

    def _limit(self, reading: Reading) -> Fraction | None:
        for role in _QUANTIFICATION:
            stated = self._beside(reading, role)
            if stated is not None:
                amount, own = stated
                return self._level(
                    reading, reading.beside[role].cell, amount.number, own
                )
        return None

    def _sd(self, reading: Reading, number: Fraction) -> Fraction | None:
        for role, share in ((Role.SD, Fraction(1)), (Role.TWICE_SD, Fraction(1, 2))):
            stated = self._beside(reading, role)
            if stated is not None:
                amount, own = stated
                cell = reading.beside[role].cell
                # As a difference of two levels: a unit may have its zero elsewhere.
                high = self._level(reading, cell, number + amount.number * share, own)
                low = self._level(reading, cell, number, own)
                return None if high is None or low is None else high - low
        return None

    def _note_no_limit(self, reading: Reading, cell: Cell, word: Word) -> None:
        unit = PARAMETERS[reading.analyte.parameter].display_unit
        line = line_for("limits", reading.name.text, f"{GAP} {unit}")
        self.faults.add(
            cell,
            f"{shown(cell.text)} is {word}, and nothing says what that limit is",
            "a column with the limit, or < and the limit in place of the word",
            f"Ask the laboratory, and add the line  {line}  with it to the mapping.",
        )


def _as_limit(amount: Amount) -> Amount:
    return Amount(number=amount.number, unit=amount.unit, below=True)
