"""Daily amounts → plan lines a pump can give.

Floor 3. One subject: doses and windows of a line. Laws here: the present windows,
times and number of doses stay where they can; nothing falls below the smallest
reliable dose nor brings more at once than the limits say; amounts are rounded down.
Units: volumes microlitres.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import ceil

from slackwater.assessment.knobs import Knob
from slackwater.facts.plan import PlanLine, Purpose, Window
from slackwater.water.limits import ALKALINITY_PER_DOSE

# What people can read off a screen and a measuring cylinder.
COARSE_UL = 100
COARSE_FROM_UL = 2_000
FINE_UL = 10
LONGEST_CYCLE_DAYS = 30
MOST_DOSES = 96
MINUTES_A_DAY = 1440
# How long after its other dose a pump gives a correction at explicit times.
LATER_MIN = 30

_NIGHT = (
    Window(start_minute=0, end_minute=480),
    Window(start_minute=1200, end_minute=1440),
)
_DAY = (Window(start_minute=480, end_minute=1200),)
_DARK = (Window(start_minute=0, end_minute=360),)
_NOON = (Window(start_minute=600, end_minute=960),)
# When a solution that has no line yet is given, and in how many doses: what raises the
# pH by night, what light spoils in the dark, carbon by day. Common practice, no source.
_HABITS: Mapping[str, tuple[tuple[Window, ...], int]] = {
    "alkalinity": (_NIGHT, 12),
    "calcium": (_DAY, 12),
    "iodine": (_DARK, 4),
    "iron": (_DARK, 4),
    "manganese": (_DARK, 4),
    "carbon": (_NOON, 4),
}
_OTHERWISE = (_DAY, 6)


@dataclass(frozen=True, slots=True, kw_only=True)
class Portion:
    """An amount a day for a stretch of days; `last_day` None: until further notice."""

    id: str
    per_day_ul: float
    purpose: Purpose = "maintenance"
    first_day: date | None = None
    last_day: date | None = None
    group: str = ""
    exact: bool = False

    @property
    def ramp_days(self) -> int:
        """How many days a correction lasts; 0 for anything else."""
        if self.purpose != "correction" or not (self.first_day and self.last_day):
            return 0
        return (self.last_day - self.first_day).days + 1


@dataclass(frozen=True, slots=True, kw_only=True)
class _When:
    """How many doses, and when."""

    count: int
    windows: tuple[Window, ...] = ()
    times: tuple[int, ...] = ()


def line_for(
    knob: Knob, portion: Portion, beside: Collection[int] = ()
) -> PlanLine | None:
    """The line that gives a portion; None when the pump cannot give so little.

    A portion that is `exact` keeps its amount to the microlitre, for a group's ratio.
    `beside` are the numbers of doses of the lines that a correction runs beside; the
    present line's where there are none.
    """
    shape = _present(knob)
    amount = int(portion.per_day_ul)
    if not portion.exact:
        amount = rounded_down(amount)
    smallest = max(knob.pump.smallest_dose_ul, 1)
    every = 1
    if amount < smallest:
        every, amount = _cycle(portion, amount, smallest)
        if not amount or every > LONGEST_CYCLE_DAYS or portion.exact:
            return None
    count = _count(knob, amount, shape, smallest)
    if count is None:
        return None
    when = _when(knob, shape, count)
    if portion.purpose == "correction":
        when = _between(when, sorted({*beside}) or [shape.count], count)
        # Fewer doses than were counted: none of them gives more than one may.
        amount = min(amount, rounded_down(when.count * most_per_dose_ul(knob)))
        if amount < when.count * smallest:
            return None
    return replace(
        shape,
        id=portion.id,
        per_day_ul=amount,
        count=when.count,
        times_minute=when.times,
        windows=when.windows,
        every_days=every,
        weekdays=(),
        first_day=portion.first_day,
        last_day=portion.last_day,
        group=portion.group,
        purpose=portion.purpose,
        note="",
    )


def _cycle(portion: Portion, amount: int, smallest: int) -> tuple[int, int]:
    """Every how many days a dose is given, and how much then; 0 where none fits.

    A ramp has as many doses as it would bring by the day, wherever they fall in it: one
    more would lead beyond its target.
    """
    if not amount:
        return 1, 0
    days = portion.ramp_days
    if not days:
        every = ceil(smallest / amount)
        return every, amount * every
    doses = amount * days // smallest
    if not doses:
        return 1, 0
    every = ceil(days / doses)
    return every, amount * days // ceil(days / every)


def _when(knob: Knob, shape: PlanLine, count: int) -> _When:
    if shape.times_minute and count == len(shape.times_minute):
        return _When(count=count, times=shape.times_minute)
    return _When(count=count, windows=shape.windows or _habit(knob)[0])


def _between(when: _When, others: Sequence[int], count: int) -> _When:
    """Doses half-way between those of the pump's other lines, so that it rests.

    The windows lose half a share at the front and the rest at the end: what is left is
    a whole number of shares, and the doses keep their distance on any day. Where lines
    of other numbers follow each other, the shares are of the one that keeps most of it.
    """
    if when.times:
        later = (minute + LATER_MIN for minute in when.times)
        return replace(when, times=tuple(minute % MINUTES_A_DAY for minute in later))
    length = sum(one.end_minute - one.start_minute for one in when.windows)
    found = [_shares(length, number, count) for number in others]
    best = max(found, key=lambda one: _apart(one, others, length))
    windows = tuple(_cut(when.windows, best.first, best.last))
    return _When(count=best.count, windows=windows)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shares:
    """So many doses from a minute of joined windows to another, each after a share."""

    count: int
    first: int
    last: int


def _shares(length: int, others: int, count: int) -> _Shares:
    """Half a share off those of another line, and no more doses than fit between."""
    share = length / others
    fitting = max(min(count, others - 1), 1)
    stride = max((others - 1) // fitting, 1)
    first = round(share / 2)
    last = min(round(first + fitting * stride * share), length)
    return _Shares(count=fitting, first=first, last=last)


def _apart(one: _Shares, others: Sequence[int], length: int) -> float:
    """The fewest minutes between its doses and those of lines over all windows."""
    stride = (one.last - one.first) / one.count
    return min(
        abs(one.first + number * stride - other * length / count)
        for number in range(one.count)
        for count in others
        for other in range(count + 1)
    )


def _cut(windows: tuple[Window, ...], first: int, last: int) -> Iterator[Window]:
    """The part of joined windows from a minute of them to another."""
    passed = 0
    for one in windows:
        start = one.start_minute + max(first - passed, 0)
        end = min(one.end_minute, one.start_minute + last - passed)
        passed += one.end_minute - one.start_minute
        if start < end:
            yield Window(start_minute=start, end_minute=end)


def rounded_down(amount_ul: int) -> int:
    """An amount a day as people read it, never more than was asked."""
    step = COARSE_UL if amount_ul >= COARSE_FROM_UL else FINE_UL
    return amount_ul // step * step


def most_per_dose_ul(knob: Knob) -> int:
    """The most one dose may be, by the pump's cap and by what it does to the water."""
    caps = [knob.pump.per_dose_ul] if knob.pump.per_dose_ul else []
    per_ul = knob.per_ul[knob.parameter]
    return min([*caps, int(_most_per_dose(knob) / per_ul)])


def _most_per_dose(knob: Knob) -> float:
    if knob.parameter == "alkalinity":
        return ALKALINITY_PER_DOSE[_carrier(knob)]
    return knob.limits.per_dose


def _carrier(knob: Knob) -> str:
    if knob.solution.hydroxide:
        return "hydroxide"
    ions = set(knob.solution.ions)
    return "bicarbonate" if "HCO3" in ions and "CO3" not in ions else "carbonate"


def _count(knob: Knob, amount: int, shape: PlanLine, smallest: int) -> int | None:
    most = most_per_dose_ul(knob)
    if most < smallest:
        return None
    fewest = ceil(amount / most)
    count = min(max(shape.count, fewest), max(amount // smallest, 1))
    return count if fewest <= count <= MOST_DOSES else None


def _present(knob: Knob) -> PlanLine:
    kept = [line for line in knob.lines if line.purpose == "maintenance"]
    if kept:
        return kept[-1]
    windows, count = _habit(knob)
    pump = knob.pump
    return PlanLine(
        id=pump.id,
        tank=pump.tank,
        solution=pump.solution,
        pump=pump.id,
        per_day_ul=0,
        count=count,
        windows=windows,
    )


def _habit(knob: Knob) -> tuple[tuple[Window, ...], int]:
    windows, count = _HABITS.get(knob.parameter, _OTHERWISE)
    return (_DARK if knob.solution.light_sensitive else windows), count
