"""What a person's word on the time makes of a clock that was ahead.

Floor 2. One subject: `ClockConfirmed` in the state and in the view. Laws here: nothing
lies ahead of the time a person vouches for; what a wrong clock dated there happened
before this moment, so it neither hides what comes next nor lasts until its own date.
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import cast

from slackwater.facts.absence import forget_ahead
from slackwater.facts.events import ClockConfirmed, HoldRaised, ShotRequested
from slackwater.facts.lives import fold_again
from slackwater.facts.now import Mark
from slackwater.facts.sight import Sight
from slackwater.facts.stages import HalfBegan
from slackwater.facts.state import State
from slackwater.facts.waters import MeasurementKept

# What enabling halves.
EVERYTHING = "all"
# A probe's own clock may be so far ahead of a right one; then no reading is lost.
PROBE_AHEAD = timedelta(minutes=1)


def fold_clock_confirmed(state: State, event: ClockConfirmed) -> None:
    """Take the moment as the newest there was, whatever was written before."""
    state.clock_confirmed_boot = event.boot_id
    mark = cast("Mark", state.mark)
    if mark.utc > event.at:
        # Two words on one clock: whoever was right, what both saw counts once.
        mark.taken_back = max(mark.taken_back or mark.utc, mark.utc)
    mark.boot_id, mark.utc = event.boot_id, event.at
    # The person vouches for this moment: later entries before it were wrong.
    state.newest_at = event.at
    state.decided_at = _not_after(state.decided_at, event.at)
    state.stage_since = _not_after(state.stage_since, event.at)
    state.fed_since = _not_after(state.fed_since, event.at)
    forget_ahead(state, event.at)
    fold_again(state, event)
    _put_right(state, event)


def _put_right(state: State, event: ClockConfirmed) -> None:
    """Date what holds, or counts, from this moment on at the latest."""
    utc = event.at
    state.holds = {name: _held(hold, utc) for name, hold in state.holds.items()}
    state.taken_over = {
        line: replace(taken, at=min(taken.at, utc))
        for line, taken in state.taken_over.items()
    }
    state.top_offs = {
        switch: {day: volume_ul for day, volume_ul in days.items() if day <= utc.date()}
        for switch, days in state.top_offs.items()
    }
    # The last 24 hours of true time count whatever day they were written on.
    for days in state.days.values():
        for day in [one for one in days if one > utc.date()]:
            del days[day]
    state.halves = {name: _half(half, event) for name, half in state.halves.items()}
    # What a person asked for at such a time is long over.
    for asked in (state.requests, state.by_hand):
        asked.update({name: _expired(one, utc) for name, one in asked.items()})
    _date_tests(state, utc)
    _date_exchanges(state, utc)
    # Readings of a probe only go forward: those from ahead would hide all that come.
    readings = {
        probe: [one for one in series if one.taken_at <= utc + PROBE_AHEAD]
        for probe, series in state.readings.items()
    }
    state.readings = {probe: series for probe, series in readings.items() if series}
    now_s, latest_s = utc.timestamp(), (utc + PROBE_AHEAD).timestamp()
    state.courses = {
        probe: course
        for probe, course in state.courses.items()
        if course.newest_s <= latest_s
    }
    state.drops = {
        tank: {at_s: amount for at_s, amount in drops.items() if at_s <= now_s}
        for tank, drops in state.drops.items()
    }


def _date_tests(state: State, utc: datetime) -> None:
    """Let no test be newer than the next one that is made."""

    def dated(tests: Iterable[MeasurementKept]) -> list[MeasurementKept]:
        return [
            replace(one, taken_at=utc) if one.taken_at > utc else one for one in tests
        ]

    for levels in (state.levels, state.levels_before):
        levels.update(zip(levels, dated(levels.values()), strict=True))
    for kept in (state.levels_older, state.tests):
        kept.update({name: dated(tests) for name, tests in kept.items()})


def _date_exchanges(state: State, utc: datetime) -> None:
    """Let no fill be awaited, and no level be asked for, until a day of that clock."""
    for account in state.exchanges.values():
        account.latest_at = _not_after(account.latest_at, utc)
        account.unbooked_at = _not_after(account.unbooked_at, utc)
        account.opened_at = _not_after(account.opened_at, utc)


def _expired(request: ShotRequested, utc: datetime) -> ShotRequested:
    return replace(request, until=utc) if request.at > utc else request


def _held(hold: HoldRaised, utc: datetime) -> HoldRaised:
    """A hold of a wrong clock lasts as long as it was meant to, from this moment on."""
    ahead = hold.at - utc
    if hold.at <= utc:
        return hold
    until = None if hold.until is None else hold.until - ahead
    return replace(hold, at=utc, until=until)


def _half(half: HalfBegan, event: ClockConfirmed) -> HalfBegan:
    """Half doses of a wrong clock: those of everything run, of a pump are to come.

    Those of a pump begin with their plan, which takes over when it was said to, and
    last from then on as long as was meant.
    """
    if half.at <= event.at:
        return half
    if half.scope == EVERYTHING:
        return replace(half, at=event.at, from_at=event.at)
    return replace(half, at=event.at, proven_ms=event.proven_ms)


def _not_after(known: datetime | None, utc: datetime) -> datetime | None:
    return None if known is None else min(known, utc)


def look_back(sight: Sight, utc: datetime) -> None:
    """Let the view, too, hold nothing from ahead of the time a person vouches for."""
    if sight.scanned_until is not None and sight.scanned_until > utc:
        sight.scanned_until = None
    for probe, series in list(sight.readings.items()):
        kept = [one for one in series if one.at <= utc + PROBE_AHEAD]
        if len(kept) == len(series):
            continue
        sight.readings.pop(probe)
        sight.courses.pop(probe, None)
        if kept:
            sight.readings[probe] = kept
