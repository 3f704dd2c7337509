"""When a newly approved plan takes over, and what is left out around it.

Floor 8. One subject: the swap of plans. Laws here: at the next local midnight of all
its tanks, or at a later instant a person names; a swap inside a day leaves out every
dose that could come too close to one of the plan before.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import combinations
from zoneinfo import ZoneInfo

from slackwater.cli.opening import Approved
from slackwater.cli.reading import Files
from slackwater.errors import Finding, InputError
from slackwater.facts.tank import Machine
from slackwater.planning.timetable import Timetable
from slackwater.planning.wall import EPOCH, reached_s, zone_named

ONE_DAY = timedelta(days=1)
# A plan is approved for a season, not for years ahead.
AHEAD_AT_MOST = timedelta(days=366)


@dataclass(frozen=True, slots=True, kw_only=True)
class Swap:
    """The instant a plan takes over; doses due before `left_out_until` are left out."""

    at: datetime
    left_out_until: datetime | None = None


def swap_for(files: Files, before: Approved | None, utc: datetime, wish: str) -> Swap:
    """The swap a person wishes: "" for the next midnight, "now", or a time.

    Raises: InputError for a time that cannot be read or has passed.
    """
    midnight = next_midnight(files, utc)
    at = midnight if not wish else utc if wish == "now" else _typed(files, wish, utc)
    if before is None or _is_midnight(files, at):
        return Swap(at=at)
    return Swap(at=at, left_out_until=at + _margin(files, before, at))


def next_midnight(files: Files, utc: datetime) -> datetime:
    """The next midnight that ends the present day of every tank of the plan."""
    found = utc
    for zone in _zones(files):
        today = utc.astimezone(zone).date()
        end_s = reached_s(zone, today + ONE_DAY, 0)
        found = max(found, EPOCH + timedelta(seconds=end_s))
    return found


def _zones(files: Files) -> list[ZoneInfo]:
    tanks = {line.tank for line in files.plan.lines}
    names = {files.machine.tanks[tank].zone for tank in tanks}
    return [zone_named(name) for name in sorted(names)]


def _is_midnight(files: Files, at: datetime) -> bool:
    return all(
        EPOCH + timedelta(seconds=reached_s(zone, at.astimezone(zone).date(), 0)) == at
        for zone in _zones(files)
    )


def _typed(files: Files, text: str, utc: datetime) -> datetime:
    try:
        at = datetime.fromisoformat(text)
    except ValueError as error:
        raise InputError(_not_a_time(text)) from error
    if at.tzinfo is None:
        zones = _zones(files)
        if len(zones) != 1:
            raise InputError(_not_a_time(text))
        at = at.replace(tzinfo=zones[0])
    try:
        at = at.astimezone(UTC)
    except OverflowError as error:
        raise InputError(_not_a_time(text)) from error
    if not utc < at <= utc + AHEAD_AT_MOST:
        raise InputError(_out_of_reach(text, utc, at))
    return at


def _margin(files: Files, before: Approved, at: datetime) -> timedelta:
    """The latest start of any dose around the swap, and the largest gap of a pair."""
    late = timedelta()
    for plan, machine in (
        (before.plan, before.machine),
        (files.plan, files.machine),
    ):
        around = Timetable(plan, machine).between(at - ONE_DAY, at + ONE_DAY)
        late = max([late, *(dose.latest_at - dose.due_at for dose in around)])
    gap_s = max(_largest_gap_s(before.machine), _largest_gap_s(files.machine))
    return late + timedelta(seconds=gap_s)


def _largest_gap_s(machine: Machine) -> float:
    gaps = [machine.timing.same_pump_gap_s]
    for one, other in combinations(sorted(machine.solutions), 2):
        gap_s = machine.gap_s(one, other)
        if gap_s > 0:
            gaps += [gap_s, *(tank.turnover_s for tank in machine.tanks.values())]
    return max(gaps)


def _not_a_time(text: str) -> Finding:
    return Finding(
        what=f'"{text}" is not a time',
        where="--at",
        expected="a time like 2026-05-10T00:00 (the tank's zone, when there is one) or "
        "2026-05-10T00:00+02:00",
        do="Write date and time with a T between them.",
    )


def _out_of_reach(text: str, utc: datetime, at: datetime) -> Finding:
    days = AHEAD_AT_MOST.days
    return Finding(
        what=f"{text} has passed" if at <= utc else f"{text} is too far ahead",
        where="--at",
        expected=f"a time after {utc:%Y-%m-%dT%H:%M:%SZ}, within {days} days",
        do="Name another time, or use --now.",
    )
