"""Texts whose unit depends on a parameter, turned into numbers.

Floor 6. One subject: amounts of one parameter. Laws here: a unit that the parameter
does not have is refused with the ones it has; a cap never grows by rounding, and what
a solution adds never shrinks; a figure outside what the parameter can be is refused.
Units: levels in the parameter's canonical unit; amounts in pico-units.
"""

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from fractions import Fraction

from slackwater.outside.settings import levels
from slackwater.outside.settings.quantities import VOLUMES_UL, number_of, refuse
from slackwater.outside.settings.tables import Findings, listed, shown, suggestion

# One more and not every reader of JSON would hold it exactly.
LARGEST_PICO = 2**53 - 1

# What one millilitre can hold, in pico-units per microlitre: caustic soda dissolves to
# about 25 meq/mL, and no solution carries more than its own weight. Spellings by the
# millilitre only: "5 mg/L" would pass for a content where a level was meant.
_CONTENTS: Mapping[str, tuple[Mapping[str, Fraction], int]] = {
    "eq": ({"meq/mL": Fraction(10**6)}, 25 * 10**6),
    "mol": ({"mmol/mL": Fraction(10**6)}, 25 * 10**6),
    "g": (
        {
            "mg/mL": Fraction(10**6),
            "ug/mL": Fraction(10**3),
            "µg/mL": Fraction(10**3),
            "μg/mL": Fraction(10**3),
        },
        10**9,
    ),
}

_A_DAY = re.compile(r"(.+)/(?:day|d)")
_PER_ML_IN = re.compile(r"(.+) per mL in (.+)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Amounts:
    """Reads amounts of one parameter and notes what is wrong with them.

    Every reader gives None after it has noted something at the place named.
    """

    parameter: str
    findings: Findings

    def is_known(self, place: str) -> bool:
        """Whether there is such a parameter; noted when not."""
        return self._is_one_of(levels.names(), place, "that can be measured")

    def is_dosed(self, place: str) -> bool:
        """Whether a solution can add it; noted when not."""
        return self._is_one_of(levels.dosed(), place, "that can be dosed")

    def plausible(self) -> tuple[float, float]:
        """The lowest and highest level to believe, both inclusive."""
        item = levels.PARAMETERS[self.parameter]
        return item.low, item.high

    def level(self, place: str, text: object) -> float | None:
        """A level, inside what the parameter can be."""
        return self.findings.attempt(
            place, lambda: levels.level_of(self.parameter, text)
        )

    def span(self, place: str, text: object) -> float | None:
        """A difference of two levels, 0 or more."""
        return self.findings.attempt(place, lambda: float(self._span(text)))

    def linear(self, place: str, unit: str) -> tuple[float, float] | None:
        """Scale and offset that turn bare numbers of a unit into levels."""
        return self.findings.attempt(place, lambda: levels.linear(self.parameter, unit))

    def daily(self, place: str, text: object, net_ul: int) -> Fraction | None:
        """Pico-units a day for the whole tank, from a level a day, 0 or more."""
        return self.findings.attempt(place, lambda: self._daily(text, net_ul))

    def content(self, place: str, text: object) -> Fraction | None:
        """Pico-units per microlitre of a solution, above 0."""
        return self.findings.attempt(place, lambda: self._content(text))

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

    def _span(self, text: object) -> Fraction:
        spellings = levels.PARAMETERS[self.parameter].units
        expected = f"an amount of {self.parameter} in one of {listed(spellings)}"
        return _not_negative(number_of(text, spellings, expected), text, expected)

    def _daily(self, text: object, net_ul: int) -> Fraction:
        spellings = levels.PARAMETERS[self.parameter].units
        expected = (
            f"an amount of {self.parameter} a day in one of "
            f"{listed(f'{unit}/day' for unit in spellings)}"
        )
        match = _A_DAY.fullmatch(text) if isinstance(text, str) else None
        if match is None:
            refuse(f"found {shown(text)}", expected, 'Write it like "0.5 dKH/day".')
        number = number_of(match[1], spellings, expected)
        item = levels.PARAMETERS[self.parameter]
        pico = number * item.pico * net_ul / 10**6
        if number > Fraction(item.high) or pico > LARGEST_PICO:
            refuse(
                f"{shown(text)} is more than a tank can hold",
                expected,
                "Check the figure and its unit.",
            )
        return _not_negative(pico, text, expected)

    def _content(self, text: object) -> Fraction:
        item = levels.PARAMETERS[self.parameter]
        contents, most = _CONTENTS[item.kind]
        spellings = levels.PARAMETERS[self.parameter].units
        expected = (
            f"what one millilitre adds: an amount in one of {listed(contents)}, or "
            f"in one of {listed(spellings)} followed by  per mL in 100 L"
        )
        match = _PER_ML_IN.fullmatch(text) if isinstance(text, str) else None
        if match is None:
            pico = number_of(text, contents, expected)
        else:
            litres = number_of(match[2], VOLUMES_UL, expected) / 10**6
            number = number_of(match[1], spellings, expected)
            pico = number * litres * item.pico / 1_000
        if not 0 < pico <= most:
            refuse(
                f"{shown(text)} is not what a millilitre can hold",
                expected,
                "Check the figure and its unit.",
            )
        return pico


def _not_negative(number: Fraction, text: object, expected: str) -> Fraction:
    if number < 0:
        refuse(f"{shown(text)} is negative", expected, "Take the sign out.")
    return number
