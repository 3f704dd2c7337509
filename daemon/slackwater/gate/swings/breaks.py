"""Steps that people told of: the series is joined again across them.

Floor 3. One subject: announced steps. Laws here: a step that was told is explained as
far as it reaches and no further; until the water has settled and was read again,
nothing is said; what was there before is kept as far as it can be joined.
Shape: residuals as in `usual`. Units: meq/L, hours since 1970.
Source: reaches are common practice, no source.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import exp, inf
from statistics import median

from slackwater.facts.courses import HOUR_S
from slackwater.facts.judgements import Break
from slackwater.gate.swings.limits import DKH, SETTLES_H, WINDOW_H
from slackwater.gate.swings.usual import MEDIAN_PRICE, Residual

# So far before and after a step its size is taken from, and at least so many readings.
LOOKS_H = 6.0
LOOKS_READINGS = 4.5
FEWEST = 2
# How far beyond what was told a step may go: this and a part of it.
BEYOND = 0.3 * DKH
BEYOND_SHARE = 0.5
# How far a step may go of which nobody knows what it does.
UNKNOWN_REACH = 1.0 * DKH
SERVICE_REACH = 2.0 * DKH
# What moves the water itself, as far as anybody knows.
WATERY = frozenset({"change", "addition", "event"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """What is taken off a series from an hour on; `readings` of each side say so.

    A step of the water fades by the share `fades` an hour, one of a probe does not.
    """

    begins: float
    size: float
    readings: int
    fades: float

    def at(self, hour: float) -> float:
        """What is taken off at an hour."""
        passed = hour - self.begins
        return self.size * exp(-passed * self.fades) if passed >= 0 else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Habits:
    """What joining needs to know of a source and its tank.

    `clock` is the daily cycle at an hour, `period_h` the time between readings;
    `per_peq` what one pico-equivalent does, `fades` the share an hour by which what
    moved the water fades.
    """

    clock: Callable[[float], float]
    period_h: float
    per_peq: float
    fades: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Joined:
    """How a series is made one across its breaks.

    Before `cut` nothing counts; `unsettled` are spans in which no reading is judged.
    `settling`: the newest break is too young for the readings there are.
    """

    shifts: tuple[Shift, ...] = ()
    unsettled: tuple[tuple[float, float], ...] = ()
    cut: float = -inf
    settling: bool = False

    def shifted(self, residuals: Sequence[Residual]) -> list[Residual]:
        """The residuals as they would be without the steps."""
        found = [(hour, value) for hour, value in residuals if hour >= self.cut]
        for shift in self.shifts:
            found = _less(found, shift)
        return found

    def is_settled(self, hour: float) -> bool:
        """Whether a reading of this hour may be judged."""
        return not any(begins < hour < ends for begins, ends in self.unsettled)

    def variance_at(self, hour: float, variance: float) -> float:
        """How uncertain the joining of the last day makes an hour, as a variance."""
        if not self.shifts:
            return 0.0
        return sum(
            2 * MEDIAN_PRICE**2 * variance / shift.readings
            for shift in self.shifts
            if hour - WINDOW_H < shift.begins <= hour
        )


def joined(
    residuals: Sequence[Residual],
    breaks: Sequence[Break],
    habits: Habits,
) -> Joined:
    """How to join a series, which has a reading, at these breaks, oldest first."""
    looks = max(LOOKS_H, LOOKS_READINGS * habits.period_h)
    shifts: list[Shift] = []
    cut, settling, found, last = -inf, False, list(residuals), residuals[-1][0]
    for known in breaks:
        at = known.at.timestamp() / HOUR_S
        before = _near(found, (at - looks, at - SETTLES_H), habits.clock)
        after = _near(found, (at + SETTLES_H, at + looks), habits.clock)
        if len(after) < FEWEST:
            # Long ago it was not read at all: then what came before is of no use.
            cut, settling = at, settling or last < at + looks
        elif len(before) < FEWEST:
            cut = at + SETTLES_H
        else:
            reach = reach_of(known, habits.per_peq)
            step = median(after) - median(before)
            shift = Shift(
                begins=at,
                size=min(max(step, -reach), reach),
                readings=min(len(after), len(before)),
                fades=habits.fades if known.told in WATERY else 0.0,
            )
            shifts.append(shift)
            found = _less(found, shift)
        found = [(hour, value) for hour, value in found if hour >= cut]
    return Joined(
        shifts=tuple(shifts),
        unsettled=tuple(_span(known) for known in breaks),
        cut=cut,
        settling=settling,
    )


def reach_of(known: Break, per_peq: float) -> float:
    """How far a series may step at a break beyond what is explained already."""
    if known.told == "release":
        return inf
    if known.told == "service":
        return SERVICE_REACH
    rise = known.added * per_peq if known.told == "addition" else known.rise
    return UNKNOWN_REACH if rise is None else BEYOND + BEYOND_SHARE * abs(rise)


def _span(known: Break) -> tuple[float, float]:
    at = known.at.timestamp() / HOUR_S
    return at - SETTLES_H, at + SETTLES_H


def _near(
    residuals: Sequence[Residual],
    span: tuple[float, float],
    clock: Callable[[float], float],
) -> list[float]:
    begins, ends = span
    return [value - clock(hour) for hour, value in residuals if begins <= hour < ends]


def _less(residuals: Sequence[Residual], shift: Shift) -> list[Residual]:
    return [(hour, value - shift.at(hour)) for hour, value in residuals]
