"""Every change of every zone's clock from 2000 to 2037, with six shapes of plan (H36).

Source of the changes: the IANA time zone database as `zoneinfo` reads it.
"""

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo, available_timezones

import pytest

from slackwater.facts.plan import DueDose, PlanLine, Window
from slackwater.planning.timetable import Timetable
from tests.planning.plans import line, machine, plan

FIRST, LAST = datetime(2000, 1, 1, tzinfo=UTC), datetime(2037, 12, 31, tzinfo=UTC)
# Fewer than the days between any two changes that undo each other.
STRIDE = timedelta(days=5)
ONE_DAY = timedelta(days=1)
STARTS = date(1999, 12, 1)
PER_DAY_UL = 24_007
# Zones far apart in their rules; all of them in the long run.
SLICE = ("America/St_Johns", "Australia/Lord_Howe")
EACH = 8


def windows(*spans: tuple[int, int]) -> tuple[Window, ...]:
    """Windows from minutes of the day."""
    return tuple(Window(start_minute=start, end_minute=end) for start, end in spans)


# A whole day, the night in which clocks change, both ends of the day, moments by name,
# two lines that are kept apart, and one dose that stands alone.
SHAPES: dict[str, tuple[PlanLine, ...]] = {
    "whole day": (line(per_day_ul=PER_DAY_UL, count=24),),
    "night": (line(per_day_ul=PER_DAY_UL, count=6, windows=windows((60, 240))),),
    "both ends": (
        line(per_day_ul=PER_DAY_UL, count=8, windows=windows((0, 60), (1380, 1440))),
    ),
    "by name": (
        line(per_day_ul=PER_DAY_UL, count=3, windows=(), times_minute=(30, 150, 1410)),
    ),
    "apart": (
        line(per_day_ul=PER_DAY_UL, count=12),
        line("calcium", per_day_ul=PER_DAY_UL, count=12),
    ),
    "alone": (line(per_day_ul=PER_DAY_UL, count=1, windows=windows((120, 180))),),
}


def changes(zone: ZoneInfo) -> Iterator[date]:
    """Local days on which a zone's offset changes."""
    at, offset = FIRST, FIRST.astimezone(zone).utcoffset()
    while at < LAST:
        later = at + STRIDE
        if later.astimezone(zone).utcoffset() != offset:
            low, high = at, later
            while high - low > timedelta(seconds=1):
                middle = low + (high - low) / 2
                is_same = middle.astimezone(zone).utcoffset() == offset
                low, high = (middle, high) if is_same else (low, middle)
            yield low.astimezone(zone).date()
            later = high
            offset = high.astimezone(zone).utcoffset()
        at = later


def wrong(zone: ZoneInfo, day: date, lines: tuple[PlanLine, ...]) -> Iterator[str]:
    """What is not as it must be on the days around a change."""
    timetable = Timetable(plan(*lines, starts=STARTS), machine(str(zone)))
    seen: set[str] = set()
    for number in (-1, 0, 1):
        around = day + number * ONE_DAY
        doses = timetable.day("reef", around).doses
        yield from _wrong_day(zone, around, lines, doses)
        twice = seen & {dose.id for dose in doses}
        seen |= {dose.id for dose in doses}
        if twice:
            yield f"{around}: {twice} on two days"


def _wrong_day(
    zone: ZoneInfo, day: date, lines: tuple[PlanLine, ...], doses: tuple[DueDose, ...]
) -> Iterator[str]:
    midnights = [
        datetime.combine(one, time(), zone).astimezone(UTC)
        for one in (day, day + ONE_DAY)
    ]
    # A day that a zone leaves out altogether has no minutes for any dose.
    is_left_out = midnights[0] >= midnights[1]
    for each in lines:
        own = [dose for dose in doses if dose.line == each.id]
        total_ul = sum(dose.volume_ul for dose in own)
        skipped = sum(not _is_there(zone, day, one) for one in each.times_minute)
        has_room = each.times_minute or any(
            _is_there(zone, day, minute)
            for window in each.windows
            for minute in range(window.start_minute, window.end_minute)
        )
        count = each.count - skipped if has_room and not is_left_out else 0
        least_ul = each.per_day_ul * count // each.count
        # Without a moment of its own a dose takes its microlitres with it.
        most_ul = least_ul if count in (0, each.count) else least_ul + count
        if len(own) != count or not least_ul <= total_ul <= most_ul:
            yield f"{day} {each.id}: {len(own)} doses of {total_ul} µL"
        for earlier, later in pairwise(own):
            if later.due_at - earlier.due_at < timedelta(minutes=1):
                yield f"{day} {later.id}: less than a minute after the one before"
    for dose in doses:
        # Where clocks go back over midnight, the day began when it was first midnight.
        if not midnights[0] <= dose.due_at < midnights[1]:
            yield f"{day} {dose.id}: due on {dose.due_at.astimezone(zone)}"
        if not dose.due_at <= dose.latest_at:
            yield f"{day} {dose.id}: never late"


def _is_there(zone: ZoneInfo, day: date, minute: int) -> bool:
    """Whether a clock in that zone shows this minute of the day at all."""
    local = datetime.combine(day, time(minute // 60, minute % 60), zone)
    back = local.astimezone(UTC).astimezone(zone)
    return back.replace(tzinfo=None) == local.replace(tzinfo=None)


@pytest.mark.timeout(1800)
def test_h36_no_change_of_any_clock_loses_doubles_or_moves_a_dose(
    tell: Callable[[str], None], pytestconfig: pytest.Config
) -> None:
    """Count, total, day, order and identity hold around each change, shape by shape."""
    is_long = pytestconfig.getoption("--long")
    names = sorted(available_timezones()) if is_long else SLICE
    found: list[str] = []
    tried = 0
    for name in names:
        zone = ZoneInfo(name)
        for day in list(changes(zone))[:: 1 if is_long else EACH]:
            tried += 1
            for shape, lines in SHAPES.items():
                found += [f"{name} {shape} {each}" for each in wrong(zone, day, lines)]
    tell(f"clock changes: {tried} in {len(names)} zones, six shapes of plan each")
    assert [] == found[:20], "\n".join(found[:20])
    assert tried > (15_000 if is_long else 5)
