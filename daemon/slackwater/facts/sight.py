"""What the daemon sees right now and never writes down.

Floor 2. One subject: the volatile view (beats, links, fresh readings).
Laws here: only `see` writes into a Sight; a value that was not heard is absent, never
guessed; permission comes from fresh beats alone, never from retained state.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from slackwater.facts.events import ReadingKept
from slackwater.facts.messages import (
    Beat,
    LinkChanged,
    Message,
    Reading,
    SpoiledReading,
)
from slackwater.facts.now import Now

# 26 h of readings: a day for the climb rule plus room for hourly medians.
READINGS_KEPT = timedelta(hours=26)
# A probe that floods is cut to its newest readings.
READINGS_AT_MOST = 2000


@dataclass(slots=True, kw_only=True)
class NodeSight:
    """The newest beat of a node and how long this boot of it has been heard."""

    beat: Beat
    first_heard_boot_s: float
    beats: int


@dataclass(slots=True, kw_only=True)
class Sight:
    """The present, as far as it was heard.

    `started_boot_s` is the boot-time clock when this daemon took charge;
    `scanned_until` the wall time up to which due doses were looked at.
    """

    started_boot_s: float
    nodes: dict[str, NodeSight] = field(default_factory=dict)
    observe_up: bool = False
    actuate_up: bool = False
    readings: dict[str, list[Reading]] = field(default_factory=dict)
    spoiled: dict[str, int] = field(default_factory=dict)
    free_bytes: int | None = None
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
    """Take one message into the view; anything but beats, links, readings passes."""
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
    if known is None or known.beat.boot != beat.boot:
        sight.nodes[beat.node] = NodeSight(
            beat=beat, first_heard_boot_s=beat.heard_boot_s, beats=1
        )
        return
    # A late copy must not turn the view back, nor a second one make it look fresh.
    if beat.up <= known.beat.up:
        return
    known.beat = beat
    known.beats += 1


def _see_reading(sight: Sight, reading: Reading) -> None:
    series = sight.readings.setdefault(reading.probe, [])
    # Out of order is refused: a reading may only move the view forward.
    if series and reading.at <= series[-1].at:
        return
    series.append(reading)
    # The one before the cut stays: a slow probe must keep its last value.
    oldest = reading.at - READINGS_KEPT
    while len(series) > 1 and series[0].at < oldest:
        del series[0]
    if len(series) > READINGS_AT_MOST:
        del series[: len(series) - READINGS_AT_MOST]
