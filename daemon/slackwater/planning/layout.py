"""Lays the doses of one tank onto one local day.

Floor 3. One subject: when in a day each dose comes, in seconds since its midnight.
Laws here: a dose stands at the start of its share of the elapsed time of its line's
windows, which leaves the share free for moving later; explicit times never move and
are laid first, the other lines follow in file order; between solutions that are kept
apart the gap runs from the last possible flow end, and the line laid later moves
later by whole minutes, never out of its share nor its window, so that doses do not
pile up; a dose for which there is no place is lost, and says why. A pump that would
run twice within its gap by what the plan asks is a mistake and never mended by moving.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from math import ceil, inf
from typing import Literal, NamedTuple

from slackwater.facts.plan import PlanLine
from slackwater.facts.tank import Machine
from slackwater.planning.amounts import flow_s, largest_ul, run_s, volumes_ul
from slackwater.planning.exchanges import lag_s

STEP_S = 60

# (start, end) in seconds since midnight; (-1, -1) for an explicit time that does not
# exist on the day.
Span = tuple[int, int]
Why = Literal["calendar", "pump", "apart"]
NOWHERE: Span = (-1, -1)


class Shape(NamedTuple):
    """What of a local day decides its layout: equal shapes have equal layouts."""

    length_s: int
    spans: tuple[tuple[int, tuple[Span, ...]], ...]


class Slot(NamedTuple):
    """One dose of a day; it may move up to, and not to, `until_s`."""

    at_s: int
    until_s: int
    ordinal: int
    volume_ul: int


class Lost(NamedTuple):
    """A dose the day has no place for; ordinal 0 for all of the line.

    `other` is the line that stands in the way.
    """

    order: int
    ordinal: int
    why: Why
    other: int = -1


Placed = Mapping[int, tuple[Slot, ...]]


class Block(NamedTuple):
    """A stretch in which a dose may not start, both ends free."""

    low_s: int
    high_s: int
    order: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Stream:
    """A plan line with what its layout needs; `order` is its place in the file.

    Units: `run_s` and `flow_s` of its largest dose, `pause_s` from start to start,
    `lag_s` by which its doses come after the start of their share.
    """

    order: int
    line: PlanLine
    volumes: tuple[int, ...]
    run_s: int
    flow_s: int
    pause_s: int
    lag_s: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """A laid-out day; `asked` and `placed` map a line to its doses in order."""

    length_s: int = 0
    asked: Placed = field(default_factory=dict)
    placed: Placed = field(default_factory=dict)
    lost: tuple[Lost, ...] = ()


def stream_of(order: int, line: PlanLine, machine: Machine) -> Stream:
    """The stream of a line that has no fault."""
    pump = machine.pumps[line.pump]
    longest_s = run_s(pump, largest_ul(line))
    return Stream(
        order=order,
        line=line,
        volumes=volumes_ul(line.per_day_ul, line.count),
        run_s=longest_s,
        flow_s=flow_s(pump, largest_ul(line)),
        pause_s=longest_s + ceil(machine.rest_s(pump)),
        lag_s=lag_s(machine, line),
    )


class Layout:
    """Lays out the days of one tank's lines."""

    def __init__(self, streams: Mapping[int, Stream], machine: Machine) -> None:
        self._streams = streams
        self._gaps_s = {
            (one.order, other.order): ceil(gap_s)
            for one in streams.values()
            for other in streams.values()
            if (gap_s := machine.gap_s(one.line.solution, other.line.solution)) > 0
        }
        self._apart = {
            one: tuple(other for other in streams if (one, other) in self._gaps_s)
            for one in streams
        }
        self._sharing = {
            one.order: tuple(
                other.order
                for other in streams.values()
                if other.line.pump == one.line.pump
            )
            for one in streams.values()
        }

    def lay(self, shape: Shape, before: Laid) -> Laid:
        """The day of that shape, after the day before it."""
        asked: dict[int, tuple[Slot, ...]] = {}
        placed: dict[int, tuple[Slot, ...]] = {}
        lost: list[Lost] = []
        for order, spans in sorted(shape.spans, key=self._rank):
            slots = _asked(self._streams[order], spans)
            lost += _not_asked(self._streams[order], spans, slots)
            today = Laid(asked=asked, placed=placed)
            placed[order] = self._place(order, slots, (before, today), lost)
            asked[order] = slots
        return Laid(
            length_s=shape.length_s, asked=asked, placed=placed, lost=tuple(lost)
        )

    def gap_s(self, order: int, other: int) -> int:
        """Seconds between two lines that are kept apart, 0 for none."""
        return self._gaps_s.get((order, other), 0)

    def _rank(self, spanned: tuple[int, tuple[Span, ...]]) -> tuple[bool, int]:
        order = spanned[0]
        return not self._streams[order].line.times_minute, order

    def _place(
        self,
        order: int,
        slots: tuple[Slot, ...],
        days: tuple[Laid, Laid],
        lost: list[Lost],
    ) -> tuple[Slot, ...]:
        """The doses of a line where they may stand, noting those that may not."""
        before, today = days
        stream = self._streams[order]
        running = (
            *self._pump_blocks(stream, before.asked, before.length_s),
            *self._pump_blocks(stream, today.asked, 0),
        )
        kept = _without_repeats(stream, slots, sorted(running), lost)
        blocks = sorted(
            (
                *self._pump_blocks(stream, before.placed, before.length_s),
                *self._pump_blocks(stream, today.placed, 0),
                *self._apart_blocks(stream, before.placed, before.length_s),
                *self._apart_blocks(stream, today.placed, 0),
            )
        )
        placed: list[Slot] = []
        passed = 0
        ready = Block(low_s=0, high_s=0, order=order)
        for slot in kept:
            at_s, reached, blocker = _first_place(slot, ready, blocks, passed)
            if at_s >= slot.until_s:
                apart = self.gap_s(order, blocker) > 0
                why: Why = "apart" if apart else "pump"
                lost.append(Lost(order, slot.ordinal, why, blocker))
                continue
            passed = reached
            placed.append(slot._replace(at_s=at_s))
            ready = Block(low_s=0, high_s=at_s + stream.pause_s, order=order)
        return tuple(placed)

    def _pump_blocks(
        self, stream: Stream, doses: Placed, shift_s: int
    ) -> Iterator[Block]:
        """Where doses of the same pump are in the way, `shift_s` after their day."""
        for order in self._sharing[stream.order]:
            pause_s = self._streams[order].pause_s
            for slot in doses.get(order, ()):
                at_s = slot.at_s - shift_s
                if at_s + pause_s > 0:
                    yield Block(at_s - stream.pause_s, at_s + pause_s, order)

    def _apart_blocks(
        self, stream: Stream, doses: Placed, shift_s: int
    ) -> Iterator[Block]:
        """Where doses that are kept apart are in the way, the same way."""
        for order in self._apart[stream.order]:
            gap_s = self._gaps_s[stream.order, order]
            until_s = self._streams[order].flow_s + gap_s
            for slot in doses.get(order, ()):
                at_s = slot.at_s - shift_s
                if at_s + until_s > 0:
                    low_s = at_s - stream.flow_s - gap_s
                    yield Block(low_s, at_s + until_s, order)


def _asked(stream: Stream, spans: tuple[Span, ...]) -> tuple[Slot, ...]:
    """The doses of a line where the plan asks for them."""
    if stream.line.times_minute:
        return tuple(
            Slot(start_s, end_s, number, volume_ul)
            for number, ((start_s, end_s), volume_ul) in enumerate(
                zip(spans, stream.volumes, strict=True), start=1
            )
            if (start_s, end_s) != NOWHERE
        )
    return tuple(_spread(stream, spans))


def _spread(stream: Stream, spans: tuple[Span, ...]) -> Iterator[Slot]:
    elapsed_s = sum(end_s - start_s for start_s, end_s in spans)
    if elapsed_s == 0:
        return
    count = len(stream.volumes)
    passed_s = 0
    rest = iter(spans)
    start_s, end_s = next(rest)
    for number, volume_ul in enumerate(stream.volumes):
        offset_s = number * elapsed_s // count
        while offset_s - passed_s >= end_s - start_s:
            passed_s += end_s - start_s
            start_s, end_s = next(rest)
        at_s = start_s + offset_s - passed_s
        share_s = (number + 1) * elapsed_s // count - offset_s
        until_s = min(end_s, at_s + share_s)
        yield Slot(at_s + stream.lag_s, until_s, number + 1, volume_ul)


def _not_asked(
    stream: Stream, spans: tuple[Span, ...], slots: tuple[Slot, ...]
) -> Iterator[Lost]:
    """What the calendar took away."""
    if stream.line.times_minute:
        for ordinal, span in enumerate(spans, start=1):
            if span == NOWHERE:
                yield Lost(stream.order, ordinal, "calendar")
    elif not slots:
        yield Lost(stream.order, 0, "calendar")


def _without_repeats(
    stream: Stream, slots: tuple[Slot, ...], blocks: list[Block], lost: list[Lost]
) -> list[Slot]:
    """The doses the plan does not ask of a pump while it runs or rests.

    `blocks` are in order of their lower end.
    """
    kept: list[Slot] = []
    free_s = -inf
    lows = [block.low_s for block in blocks]
    # No block reaches further: one that begins earlier is over.
    reach_s = max((block.high_s - block.low_s for block in blocks), default=0)
    for slot in slots:
        first = bisect_right(lows, slot.at_s - reach_s)
        begun = blocks[first : bisect_left(lows, slot.at_s)]
        other = next(
            (block.order for block in begun if slot.at_s < block.high_s),
            stream.order if slot.at_s < free_s else None,
        )
        if other is None:
            kept.append(slot)
            free_s = slot.at_s + stream.pause_s
        else:
            lost.append(Lost(stream.order, slot.ordinal, "pump", other))
    return kept


def _first_place(
    slot: Slot, ready: Block, blocks: list[Block], passed: int
) -> tuple[int, int, int]:
    """Start, blocks passed on the way and the last line that pushed.

    `blocks` are in order of their lower end and starts only grow, so no block that
    was passed can be in the way again.
    """
    at_s, blocker = _later(slot.at_s, ready, slot.at_s), ready.order
    while passed < len(blocks) and blocks[passed].low_s < at_s:
        if blocks[passed].high_s > at_s:
            at_s = _later(at_s, blocks[passed], slot.at_s)
            blocker = blocks[passed].order
        passed += 1
    return at_s, passed, blocker


def _later(at_s: int, block: Block, from_s: int) -> int:
    """The first whole minute from `from_s` on that is neither before nor in a block.

    `at_s`, where the dose stands so far, is never before `from_s`.
    """
    steps = -(-(block.high_s - from_s) // STEP_S)
    return max(at_s, from_s + steps * STEP_S)
