"""Ends and spans as people write them.

Floor 8. One subject: text → until when. Laws here: a date alone means the end of that
day on the tank's wall clock; a span has a unit; what lies behind, or too far ahead, is
refused with the bound.
"""

import re
from dataclasses import replace
from datetime import date, datetime, timedelta

from slackwater.cli.moments import Wall, typed_moment
from slackwater.cli.render import local
from slackwater.errors import Finding, InputError
from slackwater.outside.settings.quantities import Duration
from slackwater.outside.settings.tables import Findings

_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")


def typed_end(text: str, wall: Wall) -> datetime:
    """When something ends, in UTC.

    Range: after now, at most `wall.ahead` from now.
    Raises: InputError when it is anything else.
    """
    at = _end_of_day(text, wall) if _DATE.fullmatch(text.strip()) else None
    if at is None:
        # The bound is told below, for both forms alike.
        far = replace(wall, ahead=timedelta(days=36_500))
        at = typed_moment(text, far)
    if not wall.now < at <= wall.now + wall.ahead:
        raise InputError(_out_of_bounds(text, wall))
    return at


def typed_span(text: str, option: str, bounds: tuple[str, str]) -> timedelta:
    """A span such as "2h" within its bounds.

    Raises: InputError naming the option, what was found and what is accepted.
    """
    findings = Findings(option)
    reader = Duration(*bounds)
    seconds = findings.attempt("", lambda: float(reader.read(text)))
    return timedelta(seconds=findings.settled(seconds))


def _end_of_day(text: str, wall: Wall) -> datetime:
    try:
        following = date.fromisoformat(text.strip()) + timedelta(days=1)
    except (ValueError, OverflowError) as error:
        raise InputError(_no_date(text, wall)) from error
    far = replace(wall, ahead=timedelta(days=36_500))
    return typed_moment(f"{following.isoformat()} 00:00", far)


def _no_date(text: str, wall: Wall) -> Finding:
    return Finding(
        what=f'"{text}" is no day of the calendar',
        where=wall.option,
        expected="a day like 2026-05-03",
        do="Nothing was written; give the day again.",
    )


def _out_of_bounds(text: str, wall: Wall) -> Finding:
    latest = local(wall.now + wall.ahead, wall.zone)
    return Finding(
        what=f"{text} is not between now and {latest}",
        where=wall.option,
        expected=f"an end within {_days(wall.ahead)} from now",
        do="Nothing was written; give another end.",
    )


def _days(span: timedelta) -> str:
    return f"{span.days} days" if span.days else f"{span.total_seconds() / 3600:g} h"
