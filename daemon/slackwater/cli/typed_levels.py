"""Levels as people type them, such as alkalinity="8.1 dKH".

Floor 8. One subject: words → levels. Laws here: every word that is wrong is told at
once; a unit belongs to its parameter and is never guessed; "<" means that nothing was
seen above that limit.
Units: levels canonical.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TypeVar

from slackwater.errors import Finding, InputError
from slackwater.water.levels import parse_difference, parse_level
from slackwater.water.parameters import PARAMETERS, parameter_named
from slackwater.water.salinities import parse_salinity

BELOW = "<"
SALINITY = "salinity"
_ADVICE = (
    'Write the name, "=" and the figure with its unit in quotes, as in '
    'alkalinity="8.1 dKH"; nothing was written.'
)

# With three digits behind it a comma may stand for thousands.
_COMMA = re.compile(r"^([0-9]+),([0-9]{1,2})(?![0-9.,])")

ReadT = TypeVar("ReadT")
# Where an advice writes a figure out.
_EXAMPLE = re.compile(r'\b(Write |as in )"')


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """One typed level; `censored` when it is the limit below which it lies."""

    parameter: str
    level: float
    text: str
    censored: bool = False


def typed_levels(
    words: Sequence[str], where: str, *, confirmed: bool | None = False
) -> list[Typed]:
    """The levels of words such as calcium="418 mg/L", in their order.

    `confirmed` is None where nothing can be confirmed.
    Raises: InputError with everything that is wrong with any of them.
    """

    def read(name: str, text: str, place: str) -> Typed:
        censored = text.startswith(BELOW)
        figure = text.removeprefix(BELOW).strip()
        if name == SALINITY:
            level = parse_salinity(figure, where=place, confirmed=confirmed)
        else:
            level = float(parse_level(figure, name, where=place, confirmed=confirmed))
        if not parameter_named(name, where=place).is_measured:
            raise InputError(_never_measured(place, name))
        if censored and not level:
            raise InputError(_below_nothing(place, text))
        return Typed(parameter=name, level=level, text=text, censored=censored)

    return _all(words, where, read)


def typed_differences(words: Sequence[str], where: str) -> list[Typed]:
    """Changes of levels, above 0, as in alkalinity="0.3 dKH".

    Raises: InputError with everything that is wrong with any of them.
    """

    def read(name: str, text: str, place: str) -> Typed:
        change = parse_difference(text, name, where=place)
        item = parameter_named(name, where=place)
        if not item.is_dosed or not 0 < float(change) <= item.never_above:
            raise InputError(_no_addition(place, text, item.name))
        return Typed(parameter=name, level=float(change), text=text)

    return _all(words, where, read)


def settled(findings: Iterable[Finding]) -> None:
    """Go on only when there is nothing to complain about.

    Raises: InputError with all findings.
    """
    found = list(findings)
    if found:
        raise InputError(found)


def _all(
    words: Sequence[str], where: str, read: Callable[[str, str, str], ReadT]
) -> list[ReadT]:
    findings: list[Finding] = []
    levels: list[ReadT] = []
    apart = _standing_apart(words)
    for place, word in enumerate(words):
        name, sign, text = word.partition("=")
        if place in apart:
            findings.append(_apart(where, word, words[place + 1]))
            continue
        if not sign:
            if place - 1 not in apart:
                findings.append(_no_value(where, word))
            continue
        try:
            levels.append(read(name.strip(), text.strip(), f"{where} {name.strip()}"))
        except InputError as error:
            findings.extend(_as_typed(name.strip(), one) for one in error.findings)
    settled(findings)
    return levels


def _as_typed(name: str, finding: Finding) -> Finding:
    """The finding with its example as a whole word of a command line."""
    return replace(finding, do=_EXAMPLE.sub(rf'\1{name}="', finding.do))


def _standing_apart(words: Sequence[str]) -> frozenset[int]:
    """The places of names that have their figure in the next word, without "="."""
    return frozenset(
        place
        for place, (name, figure) in enumerate(pairwise(words))
        if name in PARAMETERS and figure[:1].isdigit() and "=" not in figure
    )


def twice(typed: Iterable[Typed], where: str) -> Iterator[Finding]:
    """A finding for each parameter that is named more than once."""
    seen: set[str] = set()
    for one in typed:
        if one.parameter in seen:
            yield Finding(
                what=f"{one.parameter} is given twice",
                where=f"{where} {one.parameter}",
                expected="each parameter once",
                do="Take one out; nothing was written.",
            )
        seen.add(one.parameter)


def _no_value(where: str, word: str) -> Finding:
    return Finding(
        what=f'"{word}" is not a name with a value',
        where=where,
        expected='a word like alkalinity="8.1 dKH"',
        do=_ADVICE,
    )


def _apart(where: str, name: str, figure: str) -> Finding:
    pointed = _COMMA.sub(r"\1.\2", figure)
    return Finding(
        what=f'"{name}" and "{figure}" stand apart',
        where=where,
        expected='a word like alkalinity="8.1 dKH"',
        do=f'Write  {name}="{pointed}"  with "=" and without a space around it; '
        "nothing was written.",
    )


def _never_measured(place: str, name: str) -> Finding:
    return Finding(
        what=f"no test shows {name}",
        where=place,
        expected="a parameter that can be measured",
        do="Take it out; nothing was written.",
    )


def _below_nothing(place: str, text: str) -> Finding:
    return Finding(
        what=f'"{text}" is below nothing',
        where=place,
        expected="the limit below which nothing can be seen, above 0",
        do="Give the limit of the test; nothing was written.",
    )


def _no_addition(place: str, text: str, name: str) -> Finding:
    return Finding(
        what=f'"{text}" of {name} cannot have been added',
        where=place,
        expected="a parameter that is dosed, and a rise above 0 that a tank can hold",
        do="Check the figure, its unit and its name; nothing was written.",
    )
