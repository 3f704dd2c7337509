"""Numbers and words as laboratories write them in the place of a value.

Floor 6. One subject: the text of a figure. Laws here: pure; a number is exact from the
first moment; which mark is the decimal mark is proven by the file as a whole or asked
for, never guessed; a text that is no figure is told apart by kind, not dropped.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import Literal

Mark = Literal["point", "comma"]
_SIGNS: Mapping[Mark, str] = {"point": ".", "comma": ","}

# A longer number is not a measurement; an exponent beyond this is a slip.
DIGITS_AT_MOST = 15
EXPONENT_AT_MOST = 12

# What separates groups of three and is never a decimal mark: space, no-break space,
# thin spaces, apostrophes.
_GROUP_SPACES = " \u00a0\u202f\u2009'\u2019"
_SPACED = re.compile(
    rf"[1-9][0-9]{{0,2}}(?:([{_GROUP_SPACES}])[0-9]{{3}})(?:\1[0-9]{{3}})*(?:[.,][0-9]+)?"
)
_EXPONENT = re.compile(r"(.+?)[eE]([+-]?[0-9]{1,3})")
_FIGURE = re.compile(
    r"(?P<mark><=|>=|[<>\u2264\u2265~\u2248+\u00b1-]|\u2212)?[ \t\u00a0]*"
    rf"(?P<number>[.,]?[0-9](?:[0-9.,{_GROUP_SPACES}]*[0-9])?(?:[eE][+-]?[0-9]{{1,3}})?)"
    r"[ \t\u00a0]*(?P<unit>[^0-9].*)?",
    re.DOTALL,
)
_BELOW = frozenset({"<", "<=", "\u2264"})
_ABOVE = frozenset({">", ">=", "\u2265"})
_MINUS = frozenset({"-", "\u2212"})
_PUNCTUATION = re.compile(r"[\s._-]+")


class Word(StrEnum):
    """What stands where a figure should, and is none."""

    BELOW_DETECTION = "below the detection limit"
    BELOW_QUANTIFICATION = "below the quantification limit"
    NOTHING = "nothing"
    ABOVE = "above a range"
    NEGATIVE = "negative"
    NOT_FINITE = "not a number"
    UNREADABLE = "unreadable"


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A number as it was written, the unit behind it, and whether "<" stood before."""

    number: str
    unit: str = ""
    below: bool = False


_WORDS: Mapping[str, Word] = {
    **dict.fromkeys(
        (
            *("nd", "notdetected", "nonedetected", "undetected", "belowdetection"),
            *("belowdetectionlimit", "belowthedetectionlimit", "bdl", "belowlod"),
            *("<lod", "<dl", "<mdl", "<detectionlimit", "belowmdl", "<"),
        ),
        Word.BELOW_DETECTION,
    ),
    **dict.fromkeys(
        (
            *("<loq", "belowloq", "bql", "bloq", "belowquantification", "<ql", "<rl"),
            *("belowquantificationlimit", "<pql", "belowreportinglimit", "nq"),
            *("<reportinglimit", "<quantificationlimit", "notquantified"),
        ),
        Word.BELOW_QUANTIFICATION,
    ),
    **dict.fromkeys(
        ("", "na", "n/a", "nm", "notmeasured", "notanalysed", "notanalyzed", "none"),
        Word.NOTHING,
    ),
    **dict.fromkeys(
        (
            *("nan", "inf", "infinity", "+inf", "+infinity", "-inf", "\u221e"),
            *("#num!", "#div/0!", "#value!", "#ref!", "#n/a"),
        ),
        Word.NOT_FINITE,
    ),
}


def figure_in(text: str, also_below: Iterable[str] = ()) -> Figure | Word:
    """The figure a text holds, or the kind of text it is.

    `also_below` are further words for "below the detection limit".
    """
    found = _WORDS.get(squeezed(text))
    if found is None and squeezed(text) in {squeezed(word) for word in also_below}:
        found = Word.BELOW_DETECTION
    if found is not None:
        return found
    match = _FIGURE.fullmatch(text.strip())
    if match is None:
        return Word.UNREADABLE
    mark = match["mark"] or ""
    if mark in _ABOVE:
        return Word.ABOVE
    if mark in _MINUS:
        return Word.NEGATIVE
    if mark and mark not in _BELOW:
        return Word.UNREADABLE
    unit = (match["unit"] or "").strip()
    return Figure(number=match["number"], unit=unit, below=mark in _BELOW)


def squeezed(text: str) -> str:
    """A word without spaces, dots and dashes inside, in small letters."""
    plain = text.strip().casefold()
    bare = _PUNCTUATION.sub("", plain)
    return plain[0] + bare if plain[:1] in {"-", "+"} and bare else bare


def meanings(number: str) -> Mapping[Mark, Fraction]:
    """What a number is when the decimal mark is a point, and when it is a comma.

    Shape: empty when it can be read in neither way.
    """
    found: dict[Mark, Fraction] = {}
    for mark in _SIGNS:
        value = _read(number, mark)
        if value is not None:
            found[mark] = value
    return found


def is_ambiguous(number: str) -> bool:
    """Whether a number can be read in two ways that differ."""
    return len(set(meanings(number).values())) > 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """What the numbers of a file say about its decimal mark.

    `points` and `commas` are the numbers that can be read with one mark only, `open`
    those that can be read in two ways; each by its place in the sequence given.
    """

    points: tuple[int, ...]
    commas: tuple[int, ...]
    open: tuple[int, ...]

    @property
    def mark(self) -> Mark | None:
        """The mark that is proven; None when nothing or both are."""
        if bool(self.points) == bool(self.commas):
            return None
        return "point" if self.points else "comma"


def proof_in(numbers: Iterable[str]) -> Proof:
    """Sort numbers by what they prove; what cannot be read proves nothing."""
    points: list[int] = []
    commas: list[int] = []
    either: list[int] = []
    for place, number in enumerate(numbers):
        found = meanings(number)
        if len(found) == 1:
            (points if "point" in found else commas).append(place)
        elif len(set(found.values())) > 1:
            either.append(place)
    return Proof(points=tuple(points), commas=tuple(commas), open=tuple(either))


def _read(number: str, mark: Mark) -> Fraction | None:
    match = _EXPONENT.fullmatch(number)
    mantissa, power = (match[1], int(match[2])) if match else (number, 0)
    plain = _plain(mantissa, mark, grouped=match is None)
    digits = sum(letter.isdigit() for letter in mantissa)
    if plain is None or digits > DIGITS_AT_MOST or abs(power) > EXPONENT_AT_MOST:
        return None
    return Fraction(plain) * Fraction(10) ** power


def _plain(mantissa: str, mark: Mark, *, grouped: bool) -> str | None:
    """Digits with a decimal point, the groups taken together; None for another mark."""
    sign = re.escape(_SIGNS[mark])
    other = re.escape(_SIGNS["comma" if mark == "point" else "point"])
    if grouped and _SPACED.fullmatch(mantissa):
        mantissa = re.sub(rf"[{_GROUP_SPACES}]", "", mantissa)
    elif grouped and re.fullmatch(
        rf"[1-9][0-9]{{0,2}}(?:{other}[0-9]{{3}})+(?:{sign}[0-9]+)?", mantissa
    ):
        mantissa = re.sub(other, "", mantissa)
    if not re.fullmatch(rf"[0-9]*(?:{sign}[0-9]+)?", mantissa, re.ASCII):
        return None
    return mantissa.replace(_SIGNS[mark], ".") if mantissa else None
