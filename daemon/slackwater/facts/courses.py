"""The course of one probe: its readings thinned to blocks and hours as they come.

Floor 2. One subject: a series that stays small. Laws here: a reading costs the same
whatever came before it; only a later reading is taken in; nothing is judged here.
Units: seconds since 1970; levels, roughness and jumps in the unit of the readings.
"""

from bisect import insort
from dataclasses import dataclass, field
from typing import NamedTuple

HOUR_S = 3600.0
# Half an hour: what the ledger keeps of a probe is one reading in that time.
BLOCK_S = 1800.0
# Two days of blocks, and nine days of hours: what a swing is judged by.
BLOCKS_KEPT_S = 75 * HOUR_S
HOURS_KEPT = 9 * 24
# A probe that floods is cut to so many readings in a block.
OPEN_AT_MOST = 2000
# Equal neighbours are counted over about so many pairs, the older ones fading.
PAIRS_KEPT = 2000
# One long run of equal readings must not make the next one look usual.
RUN_COUNTS_AT_MOST = 10
SAME = 1e-9


class Block(NamedTuple):
    """The readings of one block: their middle time, their median, their number.

    `rough` is the median absolute difference between successive readings; the first of
    a course has none, and counts as 0. Blocks of one hour are put together by their
    means, weighed by their readings.
    """

    at_s: float
    level: float
    readings: int
    rough: float


@dataclass(slots=True, kw_only=True)
class Course:
    """The readings of one probe in the order of time, oldest first.

    `hours` is keyed by the hour since 1970, UTC, and goes back further than `blocks`;
    the block under way is in neither. `open` and `jumps` are the readings of
    the block under way and their differences, sorted. `run` counts equal readings up to
    the newest, since `run_since_s`; `pairs` and `equal` count neighbours before it.
    """

    newest_s: float = 0.0
    newest: float | None = None
    began_s: float = 0.0
    open: list[float] = field(default_factory=list)
    jumps: list[float] = field(default_factory=list)
    blocks: list[Block] = field(default_factory=list)
    hours: dict[int, Block] = field(default_factory=dict)
    run: int = 0
    run_since_s: float = 0.0
    pairs: int = 0
    equal: int = 0

    def add(self, at_s: float, value: float) -> None:
        """Take one reading in; one that is not later than the newest is left out."""
        before = self.newest
        if before is not None and at_s <= self.newest_s:
            return
        if self.open and at_s - self.began_s >= BLOCK_S:
            self._close()
        if not self.open:
            self.began_s = at_s
        if len(self.open) < OPEN_AT_MOST:
            insort(self.open, value)
            if before is not None:
                insort(self.jumps, abs(value - before))
        self._count(at_s, None if before is None else abs(value - before))
        self.newest_s, self.newest = at_s, value

    def under_way(self) -> Block:
        """The block under way as it stands.

        Shape: only where there is a reading, which is after the first `add`.
        """
        return Block(
            (self.began_s + self.newest_s) / 2,
            _middle(self.open),
            len(self.open),
            _middle(self.jumps) if self.jumps else 0.0,
        )

    def copy(self) -> "Course":
        """One of its own that goes on from here."""
        return Course(
            newest_s=self.newest_s,
            newest=self.newest,
            began_s=self.began_s,
            open=list(self.open),
            jumps=list(self.jumps),
            blocks=list(self.blocks),
            hours=dict(self.hours),
            run=self.run,
            run_since_s=self.run_since_s,
            pairs=self.pairs,
            equal=self.equal,
        )

    def _count(self, at_s: float, jump: float | None) -> None:
        if jump is not None and jump < SAME:
            self.run += 1
            return
        if jump is not None:
            repeats = min(self.run - 1, RUN_COUNTS_AT_MOST)
            self.pairs += repeats + 1
            self.equal += repeats
            if self.pairs > PAIRS_KEPT:
                self.pairs //= 2
                self.equal //= 2
        self.run, self.run_since_s = 1, at_s

    def _close(self) -> None:
        block = self.under_way()
        self.open.clear()
        self.jumps.clear()
        self.blocks.append(block)
        while self.blocks[0].at_s < block.at_s - BLOCKS_KEPT_S:
            del self.blocks[0]
        hour = int(block.at_s // HOUR_S)
        known = self.hours.get(hour)
        self.hours[hour] = _merged(known, block)
        while next(iter(self.hours)) <= hour - HOURS_KEPT:
            del self.hours[next(iter(self.hours))]


def _merged(known: Block | None, block: Block) -> Block:
    if known is None:
        return block
    count = known.readings + block.readings
    share = block.readings / count
    return Block(
        known.at_s + (block.at_s - known.at_s) * share,
        known.level + (block.level - known.level) * share,
        count,
        known.rough + (block.rough - known.rough) * share,
    )


def _middle(ranked: list[float]) -> float:
    count = len(ranked)
    return (ranked[(count - 1) // 2] + ranked[count // 2]) / 2
