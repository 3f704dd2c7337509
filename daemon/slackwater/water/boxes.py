"""Reads a volume of water from the inside measures of its boxes.

Floor 1. One subject: boxes of water. Laws here: what rock and sand take is stated, 0 %
included, because the volume of the glass alone makes every dose too large; the result
is whole microlitres, rounded down.
"""

import math
import re
from fractions import Fraction

from slackwater.water.spellings import PHYSICAL
from slackwater.water.texts import Place, shown
from slackwater.water.units import parse_length_mm, parse_share

# Between two measures, before what is taken off, and between two boxes.
TIMES = " x "
_BOX = re.compile(r"(.+) x (.+) x (.+) less (.+)")
_PLUS = " + "
_EXPECTED = (
    'boxes of water like "48 in x 24 in x 20 in less 15 %", joined by " + ": inside '
    "length, width, height of the water and what rock and sand take; lengths in one of "
    f"{', '.join(PHYSICAL['length'])}"
)


def parse_boxes_ul(text: object, *, where: str) -> int:
    """The water in one or more boxes, in whole microlitres, rounded down.

    Raises: InputError for anything but boxes, OutOfRangeError for a length of 0 or a
    share above 100 %.
    """
    boxes = text.split(_PLUS) if isinstance(text, str) else [text]
    return math.floor(sum((_box(box, where) for box in boxes), Fraction()))


def _box(text: object, where: str) -> Fraction:
    match = _BOX.fullmatch(text) if isinstance(text, str) else None
    if match is None:
        Place(where=where, expected=_EXPECTED).refuse(
            f"{shown(text)} is not a box of water",
            "Write three lengths and what rock and sand take, less 0 % for nothing.",
        )
    length, width, height = (
        parse_length_mm(match[side], where=where) for side in (1, 2, 3)
    )
    # A cubic millimetre is a microlitre.
    return length * width * height * (1 - parse_share(match[4], where=where))
