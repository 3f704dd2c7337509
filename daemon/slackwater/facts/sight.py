"""What the daemon sees right now and never writes down.

Floor 2. One subject: the volatile view (beats, links, fresh readings).
Laws here: only `see` writes into a Sight; a value that was not heard is absent, never
guessed; permission comes from fresh beats alone, never from retained state.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

from slackwater.facts.charging import ALKALINITY
from slackwater.facts.courses import Course
from slackwater.facts.events import ReadingKept
from slackwater.facts.messages import (
    Beat,
    CounterSeen,
    LinkChanged,
    Message,
    Overreach,
    Reading,
    SpoiledReading,
    SpoiledSwitch,
    SwitchSeen,
)
from slackwater.facts.now import Now

# 26 h of readings: a day for the climb rule plus room for hourly medians.
READINGS_KEPT = timedelta(hours=26)
# A probe that floods is cut to its newest readings.
READINGS_AT_MOST = 2000
# A boot that goes on for so long after another one began is a second device; what is
# shorter may be a beat that was under way while the node rebooted.
ALIVE_MS = 60_000
BOOTS_KEPT = 8
# Days a counter's sums stay in view; the ledger keeps them longer.
COUNTED_DAYS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Contradiction:
    """What one beat, named by `boot` and `up`, said against earlier ones.

    `said` is empty when it shows that two devices answer under one name. No beat of
    that boot up to `doubted_up` can be relied on.
    """

    boot: str
    up: int
    doubted_up: int
    said: str = ""


@dataclass(slots=True, kw_only=True)
class NodeSight:
    """The newest beat of a node and how long this boot of it has been heard.

    `earlier` maps each boot before it to its uptime when it was first followed by
    another, and its highest one.
    """

    beat: Beat
    first_heard_boot_s: float
    beats: int
    earlier: dict[str, tuple[int, int]] = field(default_factory=dict)
    contradiction: Contradiction | None = None


@dataclass(slots=True, kw_only=True)
class SwitchSight:
    """What a switch said last, and since when it says so (boot-time seconds)."""

    is_on: bool
    since_boot_s: float
    heard_boot_s: float


@dataclass(slots=True, kw_only=True)
class CounterSight:
    """What a counter counted on each UTC day since it was first heard.

    `whole_from` is the first day that was heard from its beginning. Units: microlitres.
    """

    total_ul: int
    heard_boot_s: float
    whole_from: date
    days: dict[date, int] = field(default_factory=dict)


@dataclass(slots=True, kw_only=True)
class Sight:
    """The present, as far as it was heard.

    `spoiled` counts refused readings by probe, `spoiled_switches` refused words by
    switch; `flawed` says why a probe's newest reading was refused and forgets it with
    the next good one, `flawed_switches` the same of a switch or counter; `overreach` is
    the newest demand from afar for what only a person on the machine may do; `courses`
    are those of alkalinity probes, every reading in them. `started_boot_s` is the
    boot-time clock when this daemon took charge; `scanned_until` the wall time up to
    which due doses were looked at.
    """

    started_boot_s: float
    nodes: dict[str, NodeSight] = field(default_factory=dict)
    observe_up: bool = False
    actuate_up: bool = False
    readings: dict[str, list[Reading]] = field(default_factory=dict)
    spoiled: dict[str, int] = field(default_factory=dict)
    flawed: dict[str, str] = field(default_factory=dict)
    courses: dict[str, Course] = field(default_factory=dict)
    switches: dict[str, SwitchSight] = field(default_factory=dict)
    counters: dict[str, CounterSight] = field(default_factory=dict)
    spoiled_switches: dict[str, int] = field(default_factory=dict)
    flawed_switches: dict[str, str] = field(default_factory=dict)
    free_bytes: int | None = None
    overreach: Overreach | None = None
    previous: Now | None = None
    scanned_until: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Inbox:
    """What one turn is given of the world: the view, and what is new in it.

    Shape: `messages` in order of arrival, may be empty; `sight` already contains
    them.
    """

    sight: Sight
    messages: tuple[Message, ...] = ()


def see(sight: Sight, message: Message) -> None:
    """Take one message into the view; what is not looked at later passes."""
    if isinstance(message, Beat):
        _see_beat(sight, message)
    elif isinstance(message, LinkChanged):
        if message.link == "observe":
            sight.observe_up = message.up
        else:
            sight.actuate_up = message.up
    elif isinstance(message, Reading):
        _see_reading(sight, message)
    elif isinstance(message, SpoiledReading):
        sight.spoiled[message.probe] = sight.spoiled.get(message.probe, 0) + 1
        sight.flawed[message.probe] = message.why
    elif isinstance(message, Overreach):
        sight.overreach = message
    else:
        _see_switch(sight, message)


def _see_switch(sight: Sight, message: Message) -> None:
    if sight.flawed_switches and isinstance(message, SwitchSeen | CounterSeen):
        sight.flawed_switches.pop(message.switch, None)
    if isinstance(message, SwitchSeen):
        known = sight.switches.get(message.switch)
        if known is None or known.is_on != message.is_on:
            sight.switches[message.switch] = SwitchSight(
                is_on=message.is_on,
                since_boot_s=message.heard_boot_s,
                heard_boot_s=message.heard_boot_s,
            )
        else:
            known.heard_boot_s = message.heard_boot_s
    elif isinstance(message, CounterSeen):
        _see_counter(sight, message)
    elif isinstance(message, SpoiledSwitch):
        count = sight.spoiled_switches.get(message.switch, 0)
        sight.spoiled_switches[message.switch] = count + 1
        sight.flawed_switches[message.switch] = message.why


def _see_counter(sight: Sight, seen: CounterSeen) -> None:
    """Add what was counted since the last time; a total that fell began anew."""
    day = seen.at.date()
    known = sight.counters.get(seen.switch)
    if known is None:
        sight.counters[seen.switch] = CounterSight(
            total_ul=seen.total_ul,
            heard_boot_s=seen.heard_boot_s,
            whole_from=day + timedelta(days=1),
            days={day: 0},
        )
        return
    more_ul = seen.total_ul - known.total_ul
    known.total_ul, known.heard_boot_s = seen.total_ul, seen.heard_boot_s
    known.days[day] = known.days.get(day, 0) + (
        more_ul if more_ul >= 0 else seen.total_ul
    )
    # In the order in which they were begun: a clock may have been ahead.
    for old in list(known.days)[:-COUNTED_DAYS]:
        del known.days[old]


def recall(sight: Sight, courses: Mapping[str, Course]) -> None:
    """Seed the view with the courses of probes, before the readings of `remember`."""
    sight.courses = {probe: course.copy() for probe, course in courses.items()}


def remember(sight: Sight, kept: Iterable[ReadingKept]) -> None:
    """Seed the view with readings from the ledger after a start."""
    for entry in kept:
        _see_reading(
            sight,
            Reading(
                tank=entry.tank,
                probe=entry.probe,
                parameter=entry.parameter,
                value=entry.value,
                at=entry.taken_at,
            ),
        )


def _see_beat(sight: Sight, beat: Beat) -> None:
    known = sight.nodes.get(beat.node)
    if known is None:
        sight.nodes[beat.node] = NodeSight(
            beat=beat, first_heard_boot_s=beat.heard_boot_s, beats=1
        )
    elif known.beat.boot != beat.boot:
        _see_other_boot(sight, known, beat)
    # A late copy must not turn the view back, nor a second one make it look fresh.
    elif beat.up > known.beat.up:
        known.contradiction = _went_back(known.beat, beat) or known.contradiction
        known.beat = beat
        known.beats += 1
    elif beat.up < known.beat.up and (ahead := _went_back(beat, known.beat)):
        # A late copy knows no more than what overtook it. This one does: the clock of
        # the beat before it was ahead, and with it the deadlines of our commands.
        known.contradiction = replace(ahead, up=beat.up)


def _see_other_boot(sight: Sight, known: NodeSight, beat: Beat) -> None:
    """A node that rebooted, a late copy from before it did, or a second device."""
    earlier = dict(known.earlier)
    last = known.beat
    earlier[last.boot] = (earlier.get(last.boot, (last.up, 0))[0], last.up)
    contradiction = known.contradiction
    if beat.boot in earlier:
        left_up, highest_up = earlier[beat.boot]
        if beat.up <= highest_up:
            return
        if beat.up - left_up > ALIVE_MS:
            contradiction = _said_by(beat)
    while len(earlier) > BOOTS_KEPT:
        del earlier[next(iter(earlier))]
    sight.nodes[beat.node] = NodeSight(
        beat=beat,
        first_heard_boot_s=beat.heard_boot_s,
        beats=1,
        earlier=earlier,
        contradiction=contradiction,
    )


def _said_by(beat: Beat, said: str = "") -> Contradiction:
    return Contradiction(boot=beat.boot, up=beat.up, doubted_up=beat.up, said=said)


def _went_back(before: Beat, beat: Beat) -> Contradiction | None:
    """Whether a number or an odometer fell within one boot."""
    for name, channel in beat.channels.items():
        known = before.channels.get(name)
        if known is None:
            continue
        if channel.n < known.n or channel.odo_ul < known.odo_ul:
            said = f"number or odometer of {name} went back"
            return _said_by(beat, said)
    return None


def _see_reading(sight: Sight, reading: Reading) -> None:
    series = sight.readings.setdefault(reading.probe, [])
    # Out of order is refused: a reading may only move the view forward.
    if series and reading.at <= series[-1].at:
        return
    series.append(reading)
    if reading.parameter == ALKALINITY:
        course = sight.courses.setdefault(reading.probe, Course())
        course.add(reading.at.timestamp(), reading.value)
    if sight.flawed:
        sight.flawed.pop(reading.probe, None)
    # The one before the cut stays: a slow probe must keep its last value.
    oldest = reading.at - READINGS_KEPT
    while len(series) > 1 and series[0].at < oldest:
        del series[0]
    if len(series) > READINGS_AT_MOST:
        del series[: len(series) - READINGS_AT_MOST]
