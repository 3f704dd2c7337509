"""Sets the figures of a sentence apart for the eye.

Floor 8. One subject: emphasis. Laws here: the words stay as they are, so that a page
read aloud or compared says the very sentence of the document.
"""

import re
from html import escape

from slackwater.cli.report.html import Marked

# A date, which is not torn apart; or a number with the unit behind it, which is no
# part of a name.
_FIGURE = re.compile(
    r"(?P<date>\b\d{4}-\d\d-\d\d\b)|"
    r"(?<![\w.#@/-])[+x]?\s?\d[\d.]*(?![\w-])"
    r"(?: (?:dKH|mg/L|ug/L|mL|L|µL|h|s|days|%|min)(?!\w))?"
)


def stressed(text: str) -> Marked:
    """The text with its figures marked as strong."""
    parts, place = [], 0
    for found in _FIGURE.finditer(text):
        parts.append(escape(text[place : found.start()]))
        name = "time" if found["date"] else "strong"
        parts.append(f"<{name}>{escape(found[0])}</{name}>")
        place = found.end()
    return Marked("".join((*parts, escape(text[place:]))))
