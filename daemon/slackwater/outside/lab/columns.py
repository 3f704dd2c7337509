"""Names of columns as laboratories write them, and the part each plays.

Floor 6. One subject: headers. Laws here: pure; a header that is not known plays no part
and is refused by those who read it; a unit in a header is taken off before the name is
looked up; a bare date says nothing about which day it is.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum

from slackwater.outside.lab.names import plain
from slackwater.outside.lab.numbers import Figure, figure_in
from slackwater.outside.lab.units import parse_unit


class Role(StrEnum):
    """What a column, or a line above the table, tells; the words of a mapping."""

    ELEMENT = "element"
    VALUE = "value"
    UNIT = "unit"
    LIMIT = "limit"
    DETECTION = "detection limit"
    QUANTIFICATION = "quantification limit"
    SD = "standard deviation"
    TWICE_SD = "twice the standard deviation"
    METHOD = "method"
    NOTE = "note"
    SAMPLE = "sample"
    REPLICATE = "replicate"
    SAMPLED = "sampled"
    RECEIVED = "received"
    LABORATORY = "laboratory"


_WORDS: Mapping[Role, tuple[str, ...]] = {
    Role.ELEMENT: (
        *("element", "elements", "analyte", "analytes", "parameter", "parameters"),
        *("symbol", "ion", "substance", "component", "determinand", "name"),
    ),
    Role.VALUE: (
        *("value", "values", "result", "results", "concentration", "conc.", "conc"),
        *("measured", "measured value", "measurement", "mean", "average"),
    ),
    Role.UNIT: ("unit", "units", "uom", "unit of measure"),
    Role.LIMIT: ("limit",),
    Role.DETECTION: (
        *("lod", "mdl", "dl", "detection limit", "limit of detection"),
        "method detection limit",
    ),
    Role.QUANTIFICATION: (
        *("loq", "pql", "rl", "quantification limit", "limit of quantification"),
        *("limit of quantitation", "reporting limit", "quantitation limit"),
    ),
    Role.SD: ("sd", "s.d.", "std dev", "std. dev.", "stdev", "standard deviation"),
    Role.TWICE_SD: ("uncertainty (k=2)", "uncertainty k=2", "u (k=2)"),
    Role.METHOD: ("method", "technique"),
    Role.NOTE: ("note", "notes", "comment", "comments", "remark", "remarks"),
    Role.SAMPLE: (
        *("sample", "sample id", "sample name", "sample no", "sample no."),
        *("sample number", "sample code"),
    ),
    Role.REPLICATE: ("replicate", "replicates", "rep", "aliquot", "run"),
    Role.SAMPLED: (
        *("sampled", "sampled at", "sampled on", "sampling date", "sampling time"),
        *("date sampled", "sample date", "date of sampling", "collected"),
        "collection date",
    ),
    Role.RECEIVED: ("received", "received at", "received on", "date received"),
    Role.LABORATORY: ("laboratory", "lab"),
}
_ROLES = {word: role for role, words in _WORDS.items() for word in words}
_NUMBERED = re.compile(
    r"(?:value|result|measurement|replicate|rep|run|aliquot)[ ._#-]*"
    r"(?:[0-9]{1,3}|[a-h])"
)
_BRACKETED = re.compile(
    r"(.+?)\s*(?:\[\s*(.+?)\s*\]|\(\s*([^()]*(?:\([^()]*\)[^()]*)?)\s*\))"
)
_BEHIND = re.compile(r"(.+?)(?:,\s*|\s+in\s+|\s+|_)(\S.*)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """The name a header consists of and the unit it states, empty when none."""

    name: str
    unit: str = ""


def header_in(text: str) -> Header:
    """A header's name and unit: "Ca [mg/L]", "Ca (mg/l)", "Ca, mg/L", "Ca mg/L".

    What stands in square brackets is always the unit, whether it is known or not.
    """
    match = _BRACKETED.fullmatch(text.strip())
    if match:
        square, round_ = match[2], match[3]
        if square is not None:
            return Header(name=match[1], unit=square)
        if round_ and (parse_unit(round_) or "/" in round_):
            return Header(name=match[1], unit=round_)
        return Header(name=text.strip())
    match = _BEHIND.fullmatch(text.strip())
    if match and parse_unit(match[2]) and plain(match[2]) != "ph":
        return Header(name=match[1], unit=match[2])
    return Header(name=text.strip())


def role_named(name: str) -> Role | None:
    """The part a name plays, None when it is not known.

    "Value 2" and "Replicate B" are values; "Sample 2" is not, it may be another tank.
    """
    word = plain(name)
    if _NUMBERED.fullmatch(word):
        return Role.VALUE
    return _ROLES.get(word)


def near_role(name: str) -> Role | None:
    """The part of the nearest known name, None when none is near."""
    near = get_close_matches(plain(name), _ROLES, n=1, cutoff=0.75)
    return _ROLES[near[0]] if near else None


def is_numbered(name: str) -> bool:
    """Whether a name counts replicates, as "Replicate 2" does."""
    return _NUMBERED.fullmatch(plain(name)) is not None


def looks_like_figure(text: str) -> bool:
    """Whether a text is a number, alone or with a unit that is known."""
    found = figure_in(text)
    return isinstance(found, Figure) and (
        not found.unit or bool(parse_unit(found.unit))
    )
