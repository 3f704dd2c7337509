"""Whether a level can be what it says it is.

Floor 6. One subject: plausible windows. Laws here: outside its window a level needs a
confirmation by name, far outside none is taken; nothing is corrected, a unit that would
fit is only asked about.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from slackwater.errors import Finding, InputError
from slackwater.outside.lab.cells import Cell, Faults
from slackwater.outside.lab.names import Analyte
from slackwater.outside.lab.units import level_of, parse_unit, units_for
from slackwater.outside.lab.vocabulary import Vocabulary
from slackwater.water.parameters import PARAMETERS, Parameter
from slackwater.water.show import show_level
from slackwater.water.texts import shown

_HINTS_AT_MOST = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """A level with what it was made of: the number and the unit as it was written."""

    cell: Cell
    name: str
    analyte: Analyte
    number: Fraction
    unit: str
    level: Fraction


@dataclass(slots=True, kw_only=True)
class Windows:
    """Judges levels; `wanted` are the names a person confirmed by option."""

    wanted: Sequence[str]
    words: Vocabulary
    faults: Faults
    used: set[str] = field(default_factory=set)

    def confirms(self, claim: Claim) -> bool:
        """Whether a level outside its window was confirmed."""
        item = PARAMETERS[claim.analyte.parameter]
        if item.low <= float(claim.level) <= item.high:
            return False
        for name in self.wanted:
            found = self.words.analyte(name)
            if found is not None and found.parameter == claim.analyte.parameter:
                self.used.add(name)
                return True
        return False

    def refuse(self, claim: Claim) -> bool:
        """Note a level that is outside what is taken; whether it was."""
        item = PARAMETERS[claim.analyte.parameter]
        level = float(claim.level)
        is_confirmed = self.confirms(claim)
        if not item.never_below <= level <= item.never_above:
            self._note(claim, item, "This cannot be confirmed.")
            return True
        if item.low <= level <= item.high or is_confirmed:
            return False
        self._note(claim, item, f"If it is right:  --confirm {shown(claim.name)}")
        return True

    def unused(self) -> list[Finding]:
        """One finding for each confirmation that nothing needed."""
        return [
            Finding(
                what=f"{shown(name)} needs no confirmation, or is not in the report",
                where="--confirm",
                expected="an element of the report whose value is outside its window",
                do="Take the option out.",
            )
            for name in self.wanted
            if name not in self.used
        ]

    def _note(self, claim: Claim, item: Parameter, closing: str) -> None:
        fitting = list(_fitting(claim, item))[:_HINTS_AT_MOST]
        hint = f"Is the unit {' or '.join(fitting)}? " if fitting else ""
        low, high = show_level(item.id, item.low), show_level(item.id, item.high)
        written = f"{claim.cell.text} {claim.unit}".strip()
        self.faults.add(
            claim.cell,
            f"{shown(written)} is not a plausible {item.name}",
            f"{item.name} from {low} to {high}",
            f"{hint}Check the figure, its unit and its element. {closing}",
        )


def _fitting(claim: Claim, item: Parameter) -> list[str]:
    """The units in which the same number would be plausible."""
    found = []
    for text in units_for(item):
        unit = parse_unit(text)
        if unit is None or unit.by_mass:
            continue
        try:
            level = level_of(claim.number, unit, claim.analyte, Fraction(1))
        except InputError:
            continue
        if item.low <= float(level) <= item.high and float(level) > 0:
            found.append(text)
    return found
