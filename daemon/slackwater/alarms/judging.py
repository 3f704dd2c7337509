"""Which alarms begin, grow, end or are heard again: the judge.

Floor 4. One subject: from conditions to entries. Laws here: one alarm for one root
cause, what it explains is not told; a cause must last before it is told and be gone
before it ends, longer each time it comes back; at most ten are told in ten minutes, the
most pressing first; no silence is without an end.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from slackwater.alarms.actions import STRONGER
from slackwater.alarms.aftermath import (
    AFTERMATH,
    ended_lately,
    is_whole,
    took_alkalinity,
)
from slackwater.alarms.conditions import EVERYTHING, Condition
from slackwater.alarms.foresight import touches
from slackwater.alarms.holds import held
from slackwater.alarms.machinery import machinery
from slackwater.alarms.missed import missed
from slackwater.alarms.paper import paper
from slackwater.alarms.refusals import refused
from slackwater.alarms.row import FOLLOWS
from slackwater.alarms.rows import ROWS
from slackwater.alarms.sizing import Size, size_of
from slackwater.alarms.water import Ear, water
from slackwater.facts.alarms import (
    PRIORITIES,
    SUPPRESSED_AT_MOST,
    AlarmChanged,
    AlarmEvent,
    AlarmRaised,
    Cause,
    StandingAlarm,
    is_more_pressing,
)
from slackwater.facts.ringing import TOLD_AT_MOST
from slackwater.gate.moment import Moment
from slackwater.pump.outcome import Stamp

TOLD_WITHIN_MS = 600_000
# The wait before an alarm may end doubles each time it came back, up to an hour.
OFF_AT_MOST_S, DOUBLED_AT_MOST = 3600.0, 10
# Told by an assessment, which also says when it is over.
ASSESSED = frozenset({Cause.UPTAKE_FELL, Cause.CONTAMINANT, Cause.PUMP_ANSWERS})
# An assessment that nobody repeats speaks no longer than this.
ASSESSED_FOR = timedelta(days=14)


@dataclass(slots=True, kw_only=True)
class Watch:
    """What the judge keeps between two looks; a start begins with nothing.

    `since_s` is when a condition was first seen without a pause, `gone_s` when it was
    first missed, boot-time seconds; `believed` the count of spoiled readings of a probe
    when it was last believed, with the time of that reading; `sizes` what is newest.
    `deaf_s` is when the link was last seen down.
    """

    since_s: dict[str, float] = field(default_factory=dict)
    gone_s: dict[str, float] = field(default_factory=dict)
    believed: dict[str, tuple[int, datetime | None]] = field(default_factory=dict)
    sizes: dict[str, Size] = field(default_factory=dict)
    deaf_s: float = 0.0


def judge(
    moment: Moment, watch: Watch, stamp: Stamp, differ: tuple[str, ...] = ()
) -> list[AlarmEvent]:
    """Every entry that follows from this moment; only `watch` is changed.

    `differ` names files that are not the approved ones. An entry that could not be
    written is made again at the next look.
    """
    there = told_now(moment, watch, differ)
    _keep_times(moment, watch, there)
    return [
        *_silences(moment, stamp),
        *_ended(moment, watch, stamp),
        *_told(moment, watch, there, stamp),
    ]


def told_now(
    moment: Moment, watch: Watch, differ: tuple[str, ...] = ()
) -> dict[str, Condition]:
    """What is wrong and not explained by something else, by the name of its alarm."""
    if not moment.sight.observe_up:
        watch.deaf_s = moment.now.boot_s
    ear = Ear(
        since_s=max(watch.deaf_s, moment.sight.started_boot_s),
        spoiled=_spoiled(moment, watch),
    )
    found = _merged(
        (
            *held(moment),
            *machinery(moment),
            *paper(moment, differ),
            *refused(moment, frozenset(moment.sight.flawed_switches)),
            *water(moment, ear),
        )
    )
    found.update(_merged(missed(moment, found)))
    return {
        name: condition
        for name, condition in found.items()
        if not _is_explained(moment, condition, found)
    }


def _merged(conditions: Iterable[Condition]) -> dict[str, Condition]:
    """Two findings of one name are one, with everything that either stops."""
    found: dict[str, Condition] = {}
    for one in conditions:
        known = found.get(one.id)
        if known is not None:
            one = replace(  # noqa: PLW2901 -- both together take its place
                known,
                tanks=tuple(sorted({*known.tanks, *one.tanks})),
                stops=known.stops | one.stops,
                share=min(known.share, one.share),
            )
        found[one.id] = one
    return found


def _spoiled(moment: Moment, watch: Watch) -> frozenset[str]:
    """Probes that sent something unbelievable since they were last believed."""
    found = set()
    for probe in moment.machine.probes:
        count = moment.sight.spoiled.get(probe, 0)
        series = moment.sight.readings.get(probe)
        newest = series[-1].at if series else None
        known, at = watch.believed.get(probe, (count, newest))
        if at != newest:
            known = count
        watch.believed[probe] = (known, newest)
        if count > known:
            found.add(probe)
    return frozenset(found)


def _is_explained(
    moment: Moment, condition: Condition, found: Mapping[str, Condition]
) -> bool:
    stronger = STRONGER.get(condition.id)
    for root in found.values():
        row = ROWS[root.cause]
        tanks = not set(root.tanks).isdisjoint(condition.tanks)
        hides = condition.cause in row.hides and tanks
        if hides and _leads_to(moment, root, condition):
            return True
        if condition.cause in row.covers and root.about == condition.about:
            return True
        if root.id == stronger and tanks:
            return True
    return condition.cause in AFTERMATH and _is_aftermath(moment, condition, found)


def _leads_to(moment: Moment, root: Condition, condition: Condition) -> bool:
    """Whether a root takes from a tank what the condition tells of.

    A dead probe beside a sound one, or a pump of traces, brings no alkalinity down: it
    hides nothing of that. What tells of the water itself hides as its row says.
    """
    # What a root takes is accounted for before anything is called missed.
    if condition.cause is Cause.MISSED_DOSES:
        return False
    if is_whole(root.cause, root.about) or condition.cause not in FOLLOWS:
        return True
    tanks = [moment.machine.tanks[name] for name in condition.tanks]
    return any(touches(moment, tank, root) for tank in tanks)


def _is_aftermath(
    moment: Moment, condition: Condition, found: Mapping[str, Condition]
) -> bool:
    """Whether a root that hides it ended lately, or ends just now."""
    # Of what was missed it is accounted for already how much a root took.
    return condition.cause is not Cause.MISSED_DOSES and any(
        took_alkalinity(moment, known.raised)
        for known, _ in ended_lately(moment, condition.cause, condition.tanks, found)
    )


def _keep_times(moment: Moment, watch: Watch, there: Mapping[str, Condition]) -> None:
    now_s = moment.now.boot_s
    watch.since_s = {name: watch.since_s.get(name, now_s) for name in there}
    watch.gone_s = {
        name: watch.gone_s.get(name, now_s)
        for name, known in moment.state.alarms.items()
        if known.is_standing and name not in there
    }
    watch.sizes = {
        name: size_of(moment, condition, moment.state.alarms.get(name))
        for name, condition in there.items()
    }


def _silences(moment: Moment, stamp: Stamp) -> Iterator[AlarmChanged]:
    """Silences that are over."""
    for name, known in sorted(moment.state.alarms.items()):
        if known.word == "suppressed" and _is_past(moment, known.until):
            note = "the silence ended"
            yield AlarmChanged(**stamp, alarm=name, to="active", note=note)


def _is_past(moment: Moment, until: datetime | None) -> bool:
    """Whether a silence is over; one that reaches too far saw the clock put back."""
    if until is None:
        return True
    return not timedelta() < until - moment.now.utc <= SUPPRESSED_AT_MOST


def _ended(moment: Moment, watch: Watch, stamp: Stamp) -> Iterator[AlarmChanged]:
    for name, gone_s in sorted(watch.gone_s.items()):
        known = moment.state.alarms[name]
        if known.first.cause in ASSESSED:
            over = moment.now.utc - known.raised.at > ASSESSED_FOR
        else:
            over = moment.now.boot_s - gone_s >= off_s(known)
        if over:
            yield AlarmChanged(**stamp, alarm=name, to="returned")


def off_s(known: StandingAlarm) -> float:
    """How long its cause must be gone before an alarm ends."""
    row_s = ROWS[known.first.cause].off_s
    again = min(known.times - 1, DOUBLED_AT_MOST)
    return max(min(row_s * (1 << again), OFF_AT_MOST_S), row_s)


def _told(
    moment: Moment, watch: Watch, there: Mapping[str, Condition], stamp: Stamp
) -> list[AlarmRaised]:
    """What begins or grew worse, as many as may be told now."""
    wanted = [
        (name, condition)
        for name, condition in there.items()
        if _is_due(moment, watch, name, condition)
    ]
    wanted.sort(key=lambda one: (PRIORITIES.index(watch.sizes[one[0]].priority), one))
    lately = [
        at_ms
        for at_ms in moment.state.told_ms
        if moment.proven_ms - at_ms < TOLD_WITHIN_MS
    ]
    room = max(TOLD_AT_MOST - len(lately), 0)
    return [
        _raised(condition, watch.sizes[name], stamp)
        for name, condition in wanted[:room]
    ]


def _is_due(moment: Moment, watch: Watch, name: str, condition: Condition) -> bool:
    lasted_s = moment.now.boot_s - watch.since_s[name]
    if lasted_s < ROWS[condition.cause].on_s:
        return False
    known, size = moment.state.alarms.get(name), watch.sizes[name]
    if known is None or not known.is_standing:
        return True
    grew = is_more_pressing(size.priority, known.raised.priority)
    return grew or size.reminder > known.raised.reminder


def _raised(condition: Condition, size: Size, stamp: Stamp) -> AlarmRaised:
    return AlarmRaised(
        **stamp,
        alarm=condition.id,
        cause=condition.cause,
        about=condition.about,
        priority=size.priority,
        tanks=condition.tanks,
        hours_left=size.hours_left,
        level_meq_per_l=size.levels,
        figures=size.figures,
        reminder=size.reminder,
        stops=() if condition.about == EVERYTHING else tuple(sorted(condition.stops)),
        share=condition.share,
    )
