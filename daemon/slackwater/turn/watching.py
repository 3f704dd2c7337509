"""Holds that inputs raise and end, and what ends by itself.

Floor 4. One subject: from what is seen to entries. Laws here: a cause is put on record
once and stops before the next dose is decided; a hold ends when its interlock says so,
never because something fell silent that is still wrong; a latched one waits for a
person; a word that another one followed within the turn was said all the same.
"""

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import replace
from operator import attrgetter

from slackwater.facts.events import AnyEvent, HoldRaised, HoldReleased
from slackwater.facts.messages import Reading, SwitchSeen
from slackwater.facts.reasons import Code
from slackwater.facts.safeguards import (
    BypassEnded,
    ProbePutBack,
    TopOffSummed,
    is_over,
)
from slackwater.facts.sight import SwitchSight
from slackwater.gate.moment import NOTHING, Moment
from slackwater.gate.watch import Interlock, News, Seen
from slackwater.gate.watches import BY_NAME, hearing, looking
from slackwater.pump.outcome import Stamp

TIME_PASSED = "time passed"
_TAKEN_AT = attrgetter("at")


def has_to_watch(moment: Moment) -> bool:
    """Whether anything is watched, held or left aside.

    While the clock is in doubt no reading is old or young, and all is held anyway.
    """
    state = moment.state
    if not (moment.rules.watched or state.holds):
        return bool(state.bypasses or state.out_of_service)
    return Code.CLOCK_JUMPED not in state.holds


def watch(moment: Moment, stamp: Stamp) -> Iterator[AnyEvent]:
    """Everything that the interlocks on inputs put on record at this moment."""
    if moment.rules.watched:
        yield from _raised(moment, stamp)
        yield from _summed(moment, stamp)
    if moment.state.holds:
        yield from _released(moment, stamp)
    if moment.state.bypasses:
        yield from _bypasses_ended(moment, stamp)
    if moment.state.out_of_service:
        yield from _put_back(moment, stamp)


def hear_news(moment: Moment, news: News, stamp: Stamp) -> Iterator[HoldRaised]:
    """The holds that a reading, or a verdict on readings, raises at once."""
    for row in hearing(moment.rules.watched.get(news.tank, NOTHING)):
        for seen in () if row.hears is None else row.hears(moment, news):
            if seen.hold_id not in moment.state.holds:
                yield _hold(row, seen, stamp)


def hear_reading(
    moment: Moment, reading: Reading, stamp: Stamp
) -> Iterator[HoldRaised]:
    """The holds that a reading raises, though a later one of its probe came with it."""
    then = _as_read(moment, reading)
    yield from hear_news(then, reading, stamp)
    if then is not moment:
        yield from _looked(then, reading.tank, reading.parameter, stamp)


def hear_switch(moment: Moment, word: SwitchSeen, stamp: Stamp) -> Iterator[HoldRaised]:
    """The holds of a word that its switch took back within the turn.

    What it says last is looked at between turns.
    """
    switch, last = moment.machine.switches.get(word.switch), moment.sight.switches
    known = last.get(word.switch)
    if switch is None or known is None or known.is_on == word.is_on:
        return
    said = SwitchSight(
        is_on=word.is_on,
        since_boot_s=word.heard_boot_s,
        heard_boot_s=word.heard_boot_s,
    )
    sight = replace(moment.sight, switches={**last, word.switch: said})
    then = replace(moment, sight=sight)
    yield from _looked(then, switch.tank, switch.role, stamp)


def _as_read(moment: Moment, reading: Reading) -> Moment:
    """The moment as the reading left it; the same where it is the newest.

    One that was refused, for it came out of order, left nothing.
    """
    series = moment.sight.readings.get(reading.probe, [])
    if not series or reading.at >= series[-1].at:
        return moment
    count = bisect_right(series, reading.at, key=_TAKEN_AT)
    if count == 0 or series[count - 1] != reading:
        return moment
    readings = {**moment.sight.readings, reading.probe: series[:count]}
    return replace(moment, sight=replace(moment.sight, readings=readings))


def _looked(
    moment: Moment, tank: str, needs: str, stamp: Stamp
) -> Iterator[HoldRaised]:
    """What the rows that look at one parameter or role raise at this moment."""
    for row in looking(moment.rules.watched.get(tank, NOTHING)):
        for seen in () if row.looks is None else row.looks(moment, tank):
            if row.needs == needs and seen.hold_id not in moment.state.holds:
                yield _hold(row, seen, stamp)


def end_by_news(moment: Moment, tank: str, stamp: Stamp) -> Iterator[HoldReleased]:
    """The holds that news of a tank raised and good news of it ends."""
    for hold_id, row, hold in _clearing(moment):
        _, _, owner = hold.scope.partition("/")
        if row.hears is None or row.clears is None or owner != tank:
            continue
        if row.clears(moment, tank, hold):
            yield HoldReleased(
                **stamp, hold_id=hold_id, by="daemon", why="enough good readings"
            )


def _raised(moment: Moment, stamp: Stamp) -> Iterator[HoldRaised]:
    told: set[str] = set()
    for tank, configured in sorted(moment.rules.watched.items()):
        for row in looking(configured):
            for seen in () if row.looks is None else row.looks(moment, tank):
                if seen.hold_id in moment.state.holds or seen.hold_id in told:
                    continue
                told.add(seen.hold_id)
                yield _hold(row, seen, stamp)


def _hold(row: Interlock, seen: Seen, stamp: Stamp) -> HoldRaised:
    return HoldRaised(
        **stamp,
        hold_id=seen.hold_id,
        scope=seen.scope,
        reason=seen.reason,
        latched=row.lasting == "latched",
    )


def _released(moment: Moment, stamp: Stamp) -> Iterator[HoldReleased]:
    for hold_id, row, hold in _clearing(moment):
        # What news raised, silence does not end.
        if row.hears is not None or row.clears is None:
            continue
        _, _, owner = hold.scope.partition("/")
        if row.clears(moment, owner, hold):
            yield HoldReleased(
                **stamp, hold_id=hold_id, by="daemon", why="all is well again"
            )


def _clearing(moment: Moment) -> Iterator[tuple[str, Interlock, HoldRaised]]:
    """The holds that end by themselves, in order of name, with their rows."""
    for hold_id, hold in sorted(moment.state.holds.items()):
        name, _, _ = hold_id.partition("/")
        row = BY_NAME.get(name)
        if row is not None and row.clears is not None:
            yield hold_id, row, hold


def _summed(moment: Moment, stamp: Stamp) -> Iterator[TopOffSummed]:
    """Whole days of a counter that are not in the ledger yet."""
    today = moment.now.utc.date()
    for switch_id, counter in sorted(moment.sight.counters.items()):
        switch = moment.machine.switches.get(switch_id)
        known = moment.state.top_offs.get(switch_id, {})
        if switch is None:
            continue
        for day, volume_ul in sorted(counter.days.items()):
            if counter.whole_from <= day < today and day not in known:
                yield TopOffSummed(
                    **stamp,
                    tank=switch.tank,
                    switch=switch_id,
                    day=day,
                    volume_ul=volume_ul,
                )


def _bypasses_ended(moment: Moment, stamp: Stamp) -> Iterator[BypassEnded]:
    for name, bypass in sorted(moment.state.bypasses.items()):
        if is_over(bypass, moment.now, moment.proven_ms):
            yield BypassEnded(**stamp, interlock=name, by="daemon", why=TIME_PASSED)


def _put_back(moment: Moment, stamp: Stamp) -> Iterator[ProbePutBack]:
    for probe, out in sorted(moment.state.out_of_service.items()):
        if is_over(out, moment.now, moment.proven_ms):
            yield ProbePutBack(**stamp, probe=probe, by="daemon", why=TIME_PASSED)
