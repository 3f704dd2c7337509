"""Days as laboratories write them.

Floor 6. One subject: dates. Laws here: pure; a date whose day and month could be
swapped is refused, never guessed; the time of day is not needed and not read.
"""

import re
from datetime import date

_MONTHS = (
    *("jan", "feb", "mar", "apr", "may", "jun"),
    *("jul", "aug", "sep", "oct", "nov", "dec"),
)
_ISO = re.compile(r"(\d{4})[-/](\d{1,2})[-/](\d{1,2})(?:[T ].*)?", re.ASCII)
# A dot stands between day and month only where the day comes first.
_DOTTED = re.compile(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})(?:[,T ].*)?", re.ASCII)
_DAY_FIRST = re.compile(r"(\d{1,2})\.?[- ]([A-Za-z]{3,9})\.?,?[- ](\d{4})(?:[,T ].*)?")
_MONTH_FIRST = re.compile(r"([A-Za-z]{3,9})\.? (\d{1,2}),? (\d{4})(?:[,T ].*)?")


def day_in(text: str) -> date | None:
    """The day a text names, None when it names none or more than one could be meant."""
    plain = " ".join(text.split())
    if match := _ISO.fullmatch(plain):
        return _day(match[1], match[2], match[3])
    if match := _DOTTED.fullmatch(plain):
        return _day(match[3], match[2], match[1])
    if match := _DAY_FIRST.fullmatch(plain):
        return _day(match[3], _month(match[2]), match[1])
    if match := _MONTH_FIRST.fullmatch(plain):
        return _day(match[3], _month(match[1]), match[2])
    return None


def _month(word: str) -> str:
    short = word[:3].casefold()
    return str(_MONTHS.index(short) + 1) if short in _MONTHS else "0"


def _day(year: str, month: str, day: str) -> date | None:
    try:
        return date(int(year), int(month), int(day))
    except ValueError:
        return None
