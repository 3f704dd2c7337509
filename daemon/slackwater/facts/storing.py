"""What was said of bottles, folded: fills and measured levels.

Floor 2. One subject: what a reservoir held, and what left it between two levels. Laws
here: a measured level counts from then on as a fill does, and changes neither what the
solution is nor how old it is; an interval tells what was used beside what was believed
and judges nothing; only the newest are kept.
"""

from collections.abc import Callable, Mapping
from typing import Any

from slackwater.facts.safeguards import (
    BottleMoved,
    LevelMeasured,
    ReservoirFilled,
    TubeSwapped,
)
from slackwater.facts.state import Fill, Interval, State
from slackwater.facts.wear import fold_tube_swapped

# A year of weekly levels.
INTERVALS_KEPT = 52
# A mark is read to a hundredth of what a bottle holds; common practice, no source.
FILL_WITHIN_PERCENT = 1


def fold_filled(state: State, event: ReservoirFilled) -> None:
    """Count what is drawn from here on."""
    state.fills[event.reservoir] = Fill(
        content_ul=event.content_ul,
        mixed_at=event.mixed_at,
        drawn_ul=dict(state.drawn_ul),
        runs=dict(state.runs),
        since=event.at,
        within_ul=event.content_ul * FILL_WITHIN_PERCENT // 100,
        lot=event.lot,
        levels=event.levels,
        exchanged_ul=_exchanged(state),
    )


def fold_level(state: State, event: LevelMeasured) -> None:
    """Keep what left since the level before; count from this one on."""
    before = state.fills.get(event.reservoir)
    if before is not None and before.since is not None:
        known = state.intervals.get(event.reservoir, [])
        found = _between(state, before, event)
        state.intervals[event.reservoir] = [*known, found][-INTERVALS_KEPT:]
    state.fills[event.reservoir] = Fill(
        content_ul=event.volume_ul,
        mixed_at=None if before is None else before.mixed_at,
        drawn_ul=dict(state.drawn_ul),
        runs=dict(state.runs),
        since=event.at,
        within_ul=event.within_ul,
        lot="" if before is None else before.lot,
        levels={} if before is None else before.levels,
        exchanged_ul=_exchanged(state),
    )


def _exchanged(state: State) -> dict[str, int]:
    """What each pump of an exchange moved in its account, as far as it ever ran."""
    accounts = state.exchanges.values()
    sides = [side for one in accounts for side in (one.drain, one.fill)]
    return {side.pump: side.moved_ul for side in sides if side.pump}


def _between(state: State, before: Fill, event: LevelMeasured) -> Interval:
    return Interval(
        began_at=before.since or event.at,
        ended_at=event.at,
        pumps=event.pumps,
        used_ul=before.content_ul - event.volume_ul,
        believed_ul=sum(
            state.drawn_ul.get(pump, 0) - before.drawn_ul.get(pump, 0)
            for pump in event.pumps
        ),
        runs=sum(
            state.runs.get(pump, 0) - before.runs.get(pump, 0) for pump in event.pumps
        ),
        begin_ul=before.within_ul,
        end_ul=event.within_ul,
    )


def _fold_moved(state: State, event: BottleMoved) -> None:
    """Change nothing: it holds what it held."""


STORE_FOLDS: Mapping[type, Callable[[State, Any], None]] = {
    ReservoirFilled: fold_filled,
    LevelMeasured: fold_level,
    TubeSwapped: fold_tube_swapped,
    BottleMoved: _fold_moved,
}
