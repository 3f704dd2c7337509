"""Sets the figures of a sentence apart for the eye.

Floor 8. One subject: emphasis. Laws here: the words stay as they are, so that a page
read aloud or compared says the very sentence of the document.
"""

import re
from html import escape

from slackwater.cli.report.html import Marked

# A number with the unit behind it, not part of a name or a date.
_FIGURE = re.compile(
    r"(?<![\w.#@/-])[+x]?\s?\d[\d.]*(?![\w-])"
    r"(?: (?:dKH|mg/L|ug/L|mL|L|µL|h|s|days|%|min)(?!\w))?"
)


def stressed(text: str) -> Marked:
    """The text with its figures marked as strong."""
    parts, place = [], 0
    for found in _FIGURE.finditer(text):
        parts.append(escape(text[place : found.start()]))
        parts.append(f"<strong>{escape(found[0])}</strong>")
        place = found.end()
    return Marked("".join((*parts, escape(text[place:]))))
