"""Moments as people write them.

Floor 8. One subject: text → instant. Laws here: without an offset a time is that of the
tank's wall clock; a time that this clock never showed, or showed twice, is asked about,
never chosen; what has not happened yet is refused unless it may be announced.
"""

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from slackwater.cli.render import local
from slackwater.errors import Finding, InputError
from slackwater.planning.wall import zone_named

# Clocks of two rooms differ by as much.
AHEAD_SLACK = timedelta(minutes=2)
# Nobody kept this ledger before; an earlier year is a slip of the hand.
OLDEST = datetime(2000, 1, 1, tzinfo=UTC)

_SHAPE = re.compile(
    r"(\d{4}-\d{2}-\d{2})[ T](\d{2}:\d{2}(?::\d{2})?)(Z|[+-]\d{2}:\d{2})?"
)
_NOTHING = timedelta()


@dataclass(frozen=True, slots=True, kw_only=True)
class Wall:
    """Where a moment is typed: the option, the tank's zone, now, how far ahead.

    `besides` names the forms that are read there beside a time.
    """

    zone: str
    now: datetime
    option: str = "--at"
    ahead: timedelta = _NOTHING
    besides: str = ""


def typed_moment(text: str | None, wall: Wall) -> datetime:
    """A moment in UTC; now when nothing was typed.

    Range: from the year 2000 to now, or to `wall.ahead` from now.
    Raises: InputError when it is anything else.
    """
    if text is None:
        return wall.now
    at = _read(text, wall)
    if at > wall.now + max(wall.ahead, AHEAD_SLACK):
        what = f"{text} lies ahead: it is {local(wall.now, wall.zone)}"
        raise _refused(wall, what, _until(wall))
    if at < OLDEST:
        what = f"{text} is before the year {OLDEST.year}"
        raise _refused(wall, what, "the time at which it happened")
    # The few minutes by which clocks differ are no future.
    return at if wall.ahead else min(at, wall.now)


def _read(text: str, wall: Wall) -> datetime:
    match = _SHAPE.fullmatch(text.strip())
    if match is None:
        raise _refused(wall, f'"{text}" is not a time', _expected(wall))
    try:
        at = datetime.fromisoformat(f"{match[1]}T{match[2]}{match[3] or ''}")
        return at.astimezone(UTC) if match[3] else _on_the_wall(at, wall)
    except (ValueError, OverflowError) as error:
        what = f'"{text}" is no time of the calendar'
        raise _refused(wall, what, _expected(wall)) from error


def _on_the_wall(at: datetime, wall: Wall) -> datetime:
    zone = zone_named(wall.zone)
    first, second = (at.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() == second.utcoffset():
        return first.astimezone(UTC)
    # In a gap the second reading has the larger offset (PEP 495).
    in_gap = (first.utcoffset() or _NOTHING) < (second.utcoffset() or _NOTHING)
    what = f"{at:%Y-%m-%d %H:%M} {'never came' if in_gap else 'came twice'} in "
    offset = f"an offset behind it, as in {second.isoformat(timespec='minutes')}"
    raise _refused(wall, f"{what}{wall.zone}: clocks were changed", offset)


def _expected(wall: Wall) -> str:
    return (
        f'a time of {wall.zone} like "2026-05-03 09:30", or one with an offset like '
        f"2026-05-03T09:30+02:00{wall.besides}"
    )


def _until(wall: Wall) -> str:
    if wall.ahead:
        return f"a time within {wall.ahead.days} days from now"
    return "a time that has passed"


def _refused(wall: Wall, what: str, expected: str) -> InputError:
    return InputError(
        Finding(
            what=what,
            where=wall.option,
            expected=expected,
            do="Nothing was written; give the time again.",
        )
    )
