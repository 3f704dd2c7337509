"""Splits a text such as "5 mL" into a number and a unit from a list.

Floor 1. One subject: quantities as people write them. Laws here: a number is plain
digits with a decimal point, exact from the first moment; a bare number is refused; one
finding names what was found and every spelling that is accepted.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from fractions import Fraction
from itertools import islice
from typing import NoReturn

from slackwater.errors import Finding, InputError

# At most twelve digits either side: nothing real needs more, a longer number is a slip.
_QUANTITY = re.compile(
    r"(-?)([0-9]{1,12}(?:\.[0-9]{1,12})?)[ ]*"
    r"((?![eE][+-]?[0-9])(?:[^\W0-9_]|[%°]).*)?"
)
_COMMA = re.compile(r"([0-9]{1,12}),([0-9]{1,12})(?![0-9.,])(.*)")
_PLAINLY = "Write digits with a decimal point: no comma, space, exponent or word."
# As many digits behind a comma may be thousands.
_GROUP = 3
# What kits and refractometers print, what is meant by it, and what to mind.
# Source: a litre of sea water of S 35 at 25 degC weighs 1.0233 kg (TEOS-10).
_BY_MASS = "Most kits mean it; by mass it would be 2.3 % more."
_BY_ELEMENT = "The element alone is a third or a quarter of the whole."
_BY_SCALE = "The scale of a refractometer for sea water is that."
_MEANT: Mapping[str, tuple[str, str]] = {
    "ppm": ("mg/L", _BY_MASS),
    "ppb": ("ug/L", _BY_MASS),
    "ppt": ("PSU", _BY_SCALE),
    "‰": ("PSU", _BY_SCALE),
    "psu": ("PSU", ""),
    "NBS": ("pH", "A probe set with buffers reads on that scale."),
    "°": ("degC", ""),
    "mmol/L": ("meq/L", "It is so where the kit counts acid of one proton."),
    # The nearest spelling would be another form, three or four times as much.
    **{
        f"{unit} {element}": (f"{unit} {form}-{element}", _BY_ELEMENT)
        for unit in ("mg/L", "ug/L")
        for element, form in (("P", "PO4"), ("N", "NO3"))
    },
}
# Longer texts are cut in messages: a pasted page must not hide the sentence.
_SHOWN_CHARACTERS = 60
# More spellings than this are no help; all of them stand beside.
OTHERS_NAMED = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a text stands and what is accepted there, for the finding."""

    where: str
    expected: str

    def refuse(self, what: str, advice: str) -> NoReturn:
        """Refuse the text.

        Raises: InputError, always.
        """
        raise InputError(self.finding(what, advice))

    def finding(self, what: str, advice: str) -> Finding:
        """The finding for what was found here."""
        return Finding(what=what, where=self.where, expected=self.expected, do=advice)


def read(
    text: object,
    units: Iterable[str],
    place: Place,
    *,
    negative: bool = False,
    tail: str = "",
) -> tuple[Fraction, str]:
    """Number and unit of a text, the unit one of the list; `tail` stood behind it.

    Raises: InputError when it is anything else, or below 0 where `negative` is false.
    """
    known = tuple(units)
    number, unit = split(text, place, negative=negative, known=known, tail=tail)
    if unit not in known:
        place.refuse(
            f"{shown(text)} has the unknown unit {shown(unit)}",
            f"{did_you_mean(unit, known)}Use one of the spellings exactly.",
        )
    return number, unit


def split(
    text: object,
    place: Place,
    *,
    negative: bool = False,
    known: Sequence[str] = (),
    tail: str = "",
) -> tuple[Fraction, str]:
    """Number and unit of a text, the unit not looked at yet.

    `known` are the units that will be accepted, where that is known here: advice names
    no other, and where there is one alone it can be meant. `tail` stood behind the text
    and is advised with it.
    Raises: InputError when there is no plain number before or no unit behind.
    """
    if not isinstance(text, str):
        like = f"{text} {known[0]}" if known else ""
        likeness = f", like {shown(like)}" if _QUANTITY.fullmatch(like) else ""
        place.refuse(
            f"found {shown(text)} without a unit",
            f"Write number and unit as text{likeness}.",
        )
    match = _QUANTITY.fullmatch(text)
    if match is None:
        place.refuse(
            f"{shown(text)} does not begin with a plain number",
            _plain_advice(text, known, tail),
        )
    if match[3] is None:
        place.refuse(
            f"{shown(text)} has no unit",
            f"Write the unit behind it{_likeness(text, known)}.",
        )
    if match[1] and not negative:
        place.refuse(f"{shown(text)} is negative", "Take the sign out.")
    return Fraction(match[1] + match[2]), match[3]


def _likeness(number: str, known: Sequence[str]) -> str:
    """How the whole of it is written; of several units none is taken for meant."""
    if not known:
        return ""
    meant = " where that is meant" if len(known) > 1 else ""
    return f", as in {shown(f'{number} {known[0]}')}{meant}"


def _plain_advice(text: str, known: Sequence[str], tail: str) -> str:
    """How to write a number plainly; where it has a comma, with what was meant.

    A comma is never read as a point by itself: "1,234" has two meanings. Nor is a unit
    advised that would be refused next.
    """
    match = _COMMA.fullmatch(text)
    if match is None:
        return _PLAINLY
    whole, behind, rest = match.groups()
    unit = rest.strip()
    if known and unit and unit not in known:
        return f"{did_you_mean(unit, known)}{_PLAINLY}"
    # What is written so must be taken then, and a bare number is not.
    lacks = bool(known) and not unit
    after = (f" {known[0]}" if lacks else rest) + tail
    pointed = shown(f"{whole}.{behind}{after}")
    if len(behind) == _GROUP and not whole.startswith("0"):
        pointed += f" or {shown(whole + behind + after)}, whichever is meant"
    meant = ", with the unit that is meant" if lacks and len(known) > 1 else ""
    return f"Write {pointed}{meant}: the decimal mark is a point, thousands have none."


def shown(text: object) -> str:
    """A text for a message, on one line and not too long."""
    whole = ascii(text) if isinstance(text, str) and not text.isprintable() else text
    line = f'"{whole}"' if isinstance(text, str) else repr(text)
    return line if len(line) <= _SHOWN_CHARACTERS else f"{line[:_SHOWN_CHARACTERS]}…"


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """A question that names the nearest spelling, empty when none is near."""
    spellings = tuple(known)
    meant, why = _MEANT.get(word, ("", ""))
    if meant in spellings:
        return f'Did you mean "{meant}"? {why} '
    if longer := [item for item in spellings if item.startswith(f"{word} ")]:
        return _of_what(word, longer, [one for one in spellings if one not in longer])
    same = [item for item in spellings if item.lower() == word.lower()]
    near = same or get_close_matches(word, spellings, n=1)
    return f'Did you mean "{near[0]}"? ' if near else ""


def _of_what(word: str, longer: Iterable[str], others: Iterable[str]) -> str:
    """Advice for a unit that lacks what is counted: never one guess among several."""
    meant = " or ".join(f'"{item}"' for item in longer)
    rest = " or ".join(f'"{item}"' for item in islice(others, OTHERS_NAMED))
    instead = f", else {rest} as the kit prints it" if rest else ""
    return f'"{word}" does not say of what: write {meant} if it means that{instead}. '
