"""Texts whose unit depends on a parameter, turned into numbers.

Floor 6. One subject: amounts of one parameter. Laws here: the water reads, this file
only notes what it refuses at the place in the file; a cap never grows by rounding, and
what a solution adds never shrinks.
Units: levels in the parameter's canonical unit; amounts in pico-units.
"""

import re
from collections.abc import Collection
from dataclasses import dataclass
from fractions import Fraction

from slackwater.outside.settings.quantities import refuse
from slackwater.outside.settings.tables import Findings, listed, shown, suggestion
from slackwater.water.levels import (
    linear,
    parse_difference,
    parse_level,
    parse_rate,
    parse_strength,
)
from slackwater.water.parameters import PARAMETERS, TRACE_KINDS
from slackwater.water.salinities import parse_salinity
from slackwater.water.salts import SALTS

# One more and not every reader of JSON would hold it exactly.
LARGEST_PICO = 2**53 - 1

_UL_IN_LITRE = 10**6
_SALINITY = "salinity"
_SALTS = frozenset(formula.casefold() for formula in SALTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Amounts:
    """Reads amounts of one parameter and notes what is wrong with them.

    Every reader gives None after it has noted something at the place named.
    """

    parameter: str
    findings: Findings

    def is_known(self, place: str) -> bool:
        """Whether there is such a parameter to measure; noted when not."""
        measured = [item.id for item in PARAMETERS.values() if item.is_measured]
        return self._is_one_of(measured, place, "that can be measured")

    def is_dosed(self, place: str) -> bool:
        """Whether a solution can add it; noted when not."""
        dosed = [item.id for item in PARAMETERS.values() if item.is_dosed]
        # Crystal water is written behind a point or a star.
        if re.split("[.*·]", self.parameter)[0].casefold() in _SALTS:
            self.findings.add(
                place,
                f"{shown(self.parameter)} is a salt, not a parameter",
                "a label with parameter and figure, or a recipe: formula, crystal "
                'water or anhydrous, strength, purity, as in "Na2CO3, anhydrous, 80 '
                'g/L, 99 %"',
                "Tell a recipe by these four, in a file by formula, hydrate, strength "
                "and purity.",
            )
            return False
        return self._is_one_of(dosed, place, "that can be dosed")

    def is_trace(self, place: str) -> bool:
        """Whether it is judged as a trace or contaminant; noted when not."""
        traces = [item.id for item in PARAMETERS.values() if item.kind in TRACE_KINDS]
        return self._is_one_of(traces, place, "of the traces and contaminants")

    def plausible(self) -> tuple[float, float]:
        """The lowest and highest level to believe, both inclusive."""
        item = PARAMETERS[self.parameter]
        return item.low, item.high

    def level(self, place: str, text: object) -> float | None:
        """A level, inside what the parameter can be; salinity in any of its forms."""
        return self.findings.attempt(place, lambda: self._level(text))

    def span(self, place: str, text: object) -> float | None:
        """A difference of two levels, 0 or more."""
        return self.findings.attempt(
            place, lambda: float(parse_difference(text, self.parameter, where=""))
        )

    def linear(self, place: str, unit: str) -> tuple[float, float] | None:
        """Scale and offset that turn bare numbers of a unit into levels."""
        return self.findings.attempt(place, lambda: self._linear(unit))

    def daily(self, place: str, text: object, net_ul: int) -> Fraction | None:
        """Pico-units a day for the whole tank, from a level a day, 0 or more."""
        return self.findings.attempt(place, lambda: self._daily(text, net_ul))

    def content(self, place: str, text: object) -> int | None:
        """Pico-units per microlitre of a solution, above 0, rounded up."""
        return self.findings.attempt(
            place, lambda: parse_strength(text, self.parameter, where="")
        )

    def _is_one_of(self, names: Collection[str], place: str, which: str) -> bool:
        if self.parameter in names:
            return True
        self.findings.add(
            place,
            f"{shown(self.parameter)} is not a parameter {which}",
            f"one of {listed(names)}",
            f"{suggestion(self.parameter, names)}Use one of these names.",
        )
        return False

    def _level(self, text: object) -> float:
        # A file cannot answer a question, so nothing in it is ever confirmed.
        if self.parameter == _SALINITY:
            return parse_salinity(text, where="", confirmed=None)
        return float(parse_level(text, self.parameter, where="", confirmed=None))

    def _linear(self, unit: str) -> tuple[float, float]:
        line = linear(self.parameter, unit, where="")
        return float(line.scale), float(line.offset)

    def _daily(self, text: object, net_ul: int) -> Fraction:
        rate = parse_rate(text, self.parameter, where="")
        pico = rate * PARAMETERS[self.parameter].pico_per_unit * net_ul / _UL_IN_LITRE
        if pico > LARGEST_PICO:
            refuse(
                f"{shown(text)} is more than a tank can hold",
                f"at most {LARGEST_PICO} pico-units a day in the whole tank",
                "Check the figure and its unit.",
            )
        return pico
