"""From the wall clock of a zone to instants.

Floor 3. One subject: when a local minute of a day comes. Laws here: a minute comes at
the first instant at which the wall clock has reached it, so a repeated minute comes
once and minutes in order come in order; a minute the clock jumps over comes at the
jump, and `exists` says that it was never shown.
Units: instants in whole seconds since 1970-01-01T00:00:00Z.
"""

from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from slackwater.errors import Finding, InputError

MINUTES_A_DAY = 1440
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
PLAIN_DAYS_KEPT = 64
# Each window begins and ends on all the days that a plan is checked on, each time.
MINUTES_KEPT = 4096


def zone_named(name: str) -> ZoneInfo:
    """The zone of that name.

    Raises: InputError when the tz database has no such zone.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise InputError(
            Finding(
                what=f'there is no time zone "{name}"',
                where="zone",
                expected='a name of the tz database, such as "Europe/Berlin"',
                do="Mend the name of the zone.",
            )
        ) from error


def day_at(zone: str, utc: datetime, likely: date) -> date:
    """The date that the wall clock of a zone shows; quick where `likely` is right."""
    begin, end = _plain_day(zone, likely)
    if begin <= utc < end:
        return likely
    return utc.astimezone(zone_named(zone)).date()


@lru_cache(PLAIN_DAYS_KEPT)
def _plain_day(zone: str, local_day: date) -> tuple[datetime, datetime]:
    """When a day begins and ends; empty where the clock may be set on it.

    A clock that is set back at midnight shows two dates by turns.
    """
    known = zone_named(zone)
    begin_s, end_s = (
        reached_s(known, day, 0) for day in (local_day, local_day + timedelta(days=1))
    )
    if _offset(known, begin_s) != _offset(known, end_s):
        return EPOCH, EPOCH
    return EPOCH + timedelta(seconds=begin_s), EPOCH + timedelta(seconds=end_s)


@lru_cache(MINUTES_KEPT)
def exists(zone: ZoneInfo, local_day: date, minute: int) -> bool:
    """Whether the wall clock of the zone shows this minute on that day."""
    return not _jumped_over(_shown(zone, local_day, minute))


@lru_cache(MINUTES_KEPT)
def reached_s(zone: ZoneInfo, local_day: date, minute: int) -> int:
    """The first instant at which the wall clock has reached a minute of a day.

    Range: minute from 0 to 1440, the midnight that ends the day.
    """
    shown = _shown(zone, local_day, minute)
    if _jumped_over(shown):
        return _jump_s(zone, shown)
    return int(shown.timestamp())


def _shown(zone: ZoneInfo, local_day: date, minute: int) -> datetime:
    # Arithmetic inside one zone is wall arithmetic, which is what is meant here.
    return datetime.combine(local_day, time(), zone) + timedelta(minutes=minute)


def _jumped_over(shown: datetime) -> bool:
    # Only inside a gap does the second reading have the larger offset (PEP 495).
    first, second = shown.utcoffset(), shown.replace(fold=1).utcoffset()
    return (first or timedelta()) < (second or timedelta())


def _jump_s(zone: ZoneInfo, shown: datetime) -> int:
    """The instant of the jump, between the two readings of a time in the gap."""
    before_s = int(shown.replace(fold=1).timestamp())
    after_s = int(shown.timestamp())
    offset = _offset(zone, after_s)
    while after_s - before_s > 1:
        middle_s = (before_s + after_s) // 2
        if _offset(zone, middle_s) == offset:
            after_s = middle_s
        else:
            before_s = middle_s
    return after_s


def _offset(zone: ZoneInfo, at_s: int) -> timedelta | None:
    return datetime.fromtimestamp(at_s, zone).utcoffset()
