"""Whether a pump gives what its calibration says, by the levels of its reservoir.

Floor 3. One subject: what was used between levels, over what was believed to flow. Laws
here: levels alone judge, never a test of the water; an interval that began before the
newest calibration or tube of any of its pumps tells nothing of it; intervals too short
for the precision of their levels are joined until they say something, those in which
nothing ran are left out; no dose is ever made larger for what is found.

Two cumulative sums of (ratio - 1), one up, one down, each less a slack. Half the drift
that matters (10 %) is the best slack for a shift of that size; it is a little less
here, because a calibration may itself be off by 1 or 2 % the other way. The threshold
lets one week of 10 % alone pass; it is more where levels are so coarse that 3 standard
deviations of one ratio lie beyond both. What comes of it for 1 000 invented pumps:
`python -m tests.bench.drift`.
Source: Page 1954, Biometrika 41:100 (from memory); the sizes of 10 and 20 % are those
of hazard H28; how far off a pump must be to stop is set by the operator.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from math import hypot, inf, sqrt

from slackwater.facts.inventory import EVEN, RUN_SD
from slackwater.facts.limits import LIMITS, limits_of
from slackwater.facts.state import Interval, State
from slackwater.facts.tank import Machine

DRIFT = 0.10
SLACK = 0.4 * DRIFT
THRESHOLD = 0.02
SURE_SDS = 3.0
# An interval tells something when its ratio is known to so much.
TELLS_SD = 0.04
# Before every interval: a pump that nobody ever measured.
NEVER = datetime.min.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """What levels say: `ratio` of used to believed since a sum last was nothing.

    `levels` are the intervals that were judged; `is_found` says that a sum passed its
    threshold and did not come back to nothing since.
    """

    pumps: tuple[str, ...]
    ratio: float
    levels: int
    is_found: bool

    def is_beyond(self, share: float) -> bool:
        """Whether it is found, and further off than a share of what was believed."""
        return self.is_found and abs(self.ratio - 1) > share


@dataclass(slots=True, kw_only=True)
class _Sum:
    """One of the two sums, and what was used and believed since it left nothing."""

    sign: int
    height: float = 0.0
    used_ul: int = 0
    believed_ul: int = 0
    is_found: bool = False

    def take(self, one: Interval, sd: float) -> None:
        ratio = one.used_ul / one.believed_ul
        self.height = max(self.height + self.sign * (ratio - 1) - SLACK, 0.0)
        if self.height <= 0:
            self.used_ul = self.believed_ul = 0
            self.is_found = False
            return
        self.used_ul += one.used_ul
        self.believed_ul += one.believed_ul
        if self.height > max(THRESHOLD, SURE_SDS * sd - SLACK):
            self.is_found = True


def drift_of(state: State, reservoir: str) -> Drift | None:
    """What the levels of a reservoir say of its pumps since they were measured.

    Gives None while no interval since then tells anything.
    """
    intervals = state.intervals.get(reservoir, ())
    renewed = {
        pumps: _renewed_at(state, pumps) for pumps in {one.pumps for one in intervals}
    }
    return judged([one for one in intervals if renewed[one.pumps] <= one.began_at])


def stops_beyond(machine: Machine, reservoir: str) -> float:
    """The share beyond which a reservoir's pumps stop: the least of their tanks."""
    tanks = {
        pump.tank for pump in machine.pumps.values() if pump.reservoir == reservoir
    }
    limits = [limits_of(machine.limits, tank) for tank in tanks]
    return min((one.drift_stops for one in limits), default=LIMITS.drift_stops)


def judged(intervals: Sequence[Interval]) -> Drift | None:
    """The verdict on intervals of one calibration, in the order of time."""
    sums = (_Sum(sign=1), _Sum(sign=-1))
    newest, count = None, 0
    for one, sd in _telling(intervals):
        newest, count = one, count + 1
        for each in sums:
            each.take(one, sd)
    if newest is None:
        return None
    higher = max(sums, key=lambda each: (each.is_found, each.height))
    used, believed = newest.used_ul, newest.believed_ul
    if higher.height > 0:
        used, believed = higher.used_ul, higher.believed_ul
    return Drift(
        pumps=newest.pumps,
        ratio=used / believed,
        levels=count,
        is_found=higher.is_found,
    )


def ratio_sd(one: Interval) -> float:
    """How far the ratio of an interval may be off: both levels and the runs' spread."""
    if one.believed_ul <= 0 or one.runs <= 0:
        return inf
    levels = hypot(one.begin_ul, one.end_ul) / EVEN / one.believed_ul
    return hypot(levels, RUN_SD / sqrt(one.runs))


def _renewed_at(state: State, pumps: tuple[str, ...]) -> datetime:
    """When one of these pumps was measured last, or had its tube swapped."""
    measured = [state.calibrations.get(pump) for pump in pumps]
    renewed = [known.at for known in measured if known is not None]
    renewed += [state.tubes[pump] for pump in pumps if pump in state.tubes]
    return max(renewed, default=NEVER)


def _telling(intervals: Sequence[Interval]) -> Iterator[tuple[Interval, float]]:
    """Intervals, joined with those before them until each tells something."""
    waiting: Interval | None = None
    for one in intervals:
        if one.runs == 0:
            # Read twice, say before and after a fill: the second reading counts on.
            continue
        joined = one if waiting is None else _joined(waiting, one)
        sd = ratio_sd(joined)
        waiting = joined if sd > TELLS_SD else None
        if waiting is None:
            yield joined, sd


def _joined(first: Interval, second: Interval) -> Interval:
    """Two intervals in one; what the level between them was off cancels out.

    After a fill in between nothing cancels; then it is a little surer than it should.
    """
    return replace(
        second,
        began_at=first.began_at,
        used_ul=first.used_ul + second.used_ul,
        believed_ul=first.believed_ul + second.believed_ul,
        runs=first.runs + second.runs,
        begin_ul=first.begin_ul,
    )
