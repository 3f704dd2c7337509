"""When a shift began, as people say it: "yesterday 18:00", "06:00", "8 h".

Floor 8. One subject: words → a moment that has passed. Laws here: a time of day alone
is the last one that came; a moment that clocks never showed, or showed twice, is asked
about and never chosen.
"""

import re
from dataclasses import replace
from datetime import date, datetime, timedelta

from slackwater.cli.moments import Wall, typed_moment
from slackwater.errors import Finding, InputError
from slackwater.planning.wall import zone_named

LONGEST = timedelta(days=400)
_SPAN = re.compile(r"(\d{1,4}) ?(min|m|h|d)")
_UNITS = {
    "min": timedelta(minutes=1),
    "m": timedelta(minutes=1),
    "h": timedelta(hours=1),
    "d": timedelta(days=1),
}
_CLOCK = re.compile(r"(?:(today|yesterday) )?(\d{1,2}):(\d{2})")
_FORMS = '; also a length like 20 min, 8 h or 2 d, 06:00 or "yesterday 18:00"'
_DAY = re.compile(r"(today|yesterday|\d{4}-\d{2}-\d{2})")


def since_when(text: str, wall: Wall) -> datetime:
    """The moment in UTC.

    Range: at most `LONGEST` ago, not ahead.
    Raises: InputError when it is anything else.
    """
    words = " ".join(text.lower().split())
    span = _SPAN.fullmatch(words)
    if span is not None:
        at = wall.now - int(span[1]) * _UNITS[span[2]]
    else:
        told = replace(wall, besides=_FORMS)
        at = typed_moment(_written_out(words, text, wall), told)
    if at < wall.now - LONGEST:
        raise InputError(_too_long_ago(text, wall))
    return at


def _written_out(words: str, text: str, wall: Wall) -> str:
    """Date and time of day; what is neither word nor time of day stays as it is."""
    today = wall.now.astimezone(zone_named(wall.zone)).date()
    day = _DAY.fullmatch(words)
    if day is not None:
        return f"{_date(day[1], today)} 00:00"
    clock = _CLOCK.fullmatch(words)
    if clock is None:
        return text
    time = f"{int(clock[2]):02d}:{clock[3]}"
    if clock[1] is not None:
        return f"{_date(clock[1], today)} {time}"
    written = f"{today.isoformat()} {time}"
    return written if _has_come(time, wall) else f"{_date('yesterday', today)} {time}"


def _has_come(time: str, wall: Wall) -> bool:
    return time <= f"{wall.now.astimezone(zone_named(wall.zone)):%H:%M}"


def _date(word: str, today: date) -> str:
    if word == "today":
        return today.isoformat()
    return (today - timedelta(days=1)).isoformat() if word == "yesterday" else word


def _too_long_ago(text: str, wall: Wall) -> Finding:
    return Finding(
        what=f'"{text}" is too long ago',
        where=wall.option,
        expected=f"a moment within the last {LONGEST.days} days",
        do="Give a later one; `slackwater report MONTH` shows a month.",
    )
