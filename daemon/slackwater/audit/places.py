"""Where the doses of a line may stand on a local day, counted afresh.

Floor 3. One subject: the calendar of the audit. Laws here: it counts from the approved
line alone and imports nothing of the timetable that the daemon runs by, so that a slip
there does not hide itself; a minute comes at the first instant at which a clock on the
wall shows it, a repeated minute once, a minute that is jumped over at the jump.
Units: instants in whole seconds since 1970-01-01T00:00:00Z.
"""

from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import NamedTuple
from zoneinfo import ZoneInfo

from slackwater.audit.consent import Consent, Line

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
# No zone is further from UTC, and no clock change is felt for longer.
AROUND_H = 30
SAMPLE_H = 6
HOUR_S, MINUTE_S = 3600, 60


class Place(NamedTuple):
    """One dose: due from `from_s` and before `until_s`."""

    from_s: int
    until_s: int
    volume_ul: int

    @property
    def from_at(self) -> datetime:
        """The first instant at which it may be due."""
        return instant(self.from_s)

    def holds(self, due_at: datetime) -> bool:
        """Whether a dose due then is within its share."""
        return self.from_s <= seconds(due_at) < self.until_s


def instant(at_s: int) -> datetime:
    """Seconds since 1970 as a time in UTC."""
    return EPOCH + timedelta(seconds=at_s)


def seconds(at: datetime) -> float:
    """A time as seconds since 1970."""
    return (at - EPOCH).total_seconds()


def places(consent: Consent, line: Line, day: date) -> dict[int, Place]:
    """The doses of a line on a local day, by their number; explicit times stand still.

    Shape: empty on a day without doses; a time that does not exist is left out.
    """
    if not line.doses_on(day, consent.starts):
        return {}
    zone = consent.zones[line.tank]
    if line.times:
        return _at_times(line, zone, day)
    return _in_windows(line, zone, day)


def _at_times(line: Line, zone: ZoneInfo, day: date) -> dict[int, Place]:
    found = {}
    for number, minute in enumerate(line.times, start=1):
        at_s, is_shown = comes(zone, day, minute)
        if is_shown:
            found[number] = Place(at_s, at_s + 1, _part_ul(line, number))
    return found


def _in_windows(line: Line, zone: ZoneInfo, day: date) -> dict[int, Place]:
    """Equal shares of what the windows last, whatever the clock does meanwhile."""
    spans = [
        (comes(zone, day, start)[0], comes(zone, day, end)[0])
        for start, end in line.windows
    ]
    total_s = sum(end_s - start_s for start_s, end_s in spans)
    found = {}
    for number in range(1, line.count + 1):
        first_s = (number - 1) * total_s // line.count
        share_s = number * total_s // line.count - first_s
        for start_s, end_s in spans:
            if 0 <= first_s < end_s - start_s:
                at_s = start_s + first_s
                until_s = min(at_s + share_s, end_s)
                found[number] = Place(at_s, until_s, _part_ul(line, number))
                break
            first_s -= end_s - start_s
    return found


def _part_ul(line: Line, number: int) -> int:
    """The volume of one dose: the parts differ by one at most and sum to the day's."""
    before_ul = (number - 1) * line.per_day_ul // line.count
    return number * line.per_day_ul // line.count - before_ul


@lru_cache(4096)
def comes(zone: ZoneInfo, day: date, minute: int) -> tuple[int, bool]:
    """When a minute of a local day comes, and whether a clock ever shows it."""
    shown = datetime.combine(day, time(), UTC) + timedelta(minutes=minute)
    wall_s = int(seconds(shown))
    offsets_s = {
        _offset_s(zone, wall_s + hours * HOUR_S)
        for hours in range(-AROUND_H, AROUND_H + 1, SAMPLE_H)
    }
    showing = sorted(
        wall_s - offset_s
        for offset_s in offsets_s
        if _offset_s(zone, wall_s - offset_s) == offset_s
    )
    if showing:
        return showing[0], True
    # Jumped over: the first minute after which the clock stands beyond it. That may be
    # a whole day later, where a zone moved across the date line.
    at_s = wall_s - max(offsets_s)
    while at_s + _offset_s(zone, at_s) <= wall_s:
        at_s += MINUTE_S
    return at_s, False


def _offset_s(zone: ZoneInfo, at_s: int) -> int:
    offset = datetime.fromtimestamp(at_s, zone).utcoffset()
    return 0 if offset is None else int(offset.total_seconds())
