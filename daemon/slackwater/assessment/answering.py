"""How alkalinity answers to what its pumps are believed to give.

Floor 3. One subject: evidence of a pump's flow by the water. Laws here: what a tank
takes up cannot be told from what a pump withholds, so it is said with every finding,
and how far the uptake is known, and may have walked, counts; nothing is dosed
otherwise for it; it begins anew when a pump was measured or has a new tube.

The uptake is learned from the first tests since then, while the calibration is young.
Each later stretch between tests has a ratio: what was seen to come in, which is the
change of the level, the uptake and no water change, over what is believed to have come
in. Two cumulative sums of (ratio - 1), one up, one down, each less a slack: half the
drift that matters, and how far the uptake of that day may be from what was learned.
Source: Page 1954, Biometrika 41:100 (from memory); 10 % is the drift of hazard H28; the
walk of an uptake and the days it is learned in are common practice, no source.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from math import hypot, sqrt

from slackwater.assessment.beginning import evidence_begins
from slackwater.assessment.cleaning import Fallen, fallen
from slackwater.assessment.inflow import Inflow, day_of
from slackwater.assessment.practice import ALKALINITY, MEQ_PER_L_IN_DKH
from slackwater.assessment.records import Point, Series
from slackwater.assessment.uptake_inputs import REST_DKH
from slackwater.assessment.uptakes import GAP_AT_LEAST, WINDOW_DAYS
from slackwater.facts.history import History
from slackwater.facts.tank import Machine
from slackwater.water.lines import fitted_line

DRIFT = 0.10
THRESHOLD = 0.10
SURE_SDS, COVERAGE = 3.0, 2.0
# So many tests over so many days tell the uptake while the calibration is young.
LEARNED_DAYS, LEARNED_TESTS = 10.0, 5
# A stretch tells something when its ratio is known to so much.
TELLS_SD = 0.08
# An uptake walks by so much of itself in a day, and by the root of the days after.
WALK_SHARE = 0.006
_REST = REST_DKH * MEQ_PER_L_IN_DKH


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What alkalinity says of its pumps: `ratio` of what was seen to what was believed.

    `since` is when a sum last was nothing, `sd` how far the ratio may be off, the
    uptake among it; `uptake_per_day` is what was learned, and `instead_per_day` what
    the tank would take up if the pumps gave what is believed.
    """

    pumps: tuple[str, ...]
    since: datetime
    ratio: float
    sd: float
    uptake_per_day: float
    instead_per_day: float
    is_found: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Learned:
    """The uptake while the calibration was young, at the level of that time."""

    per_day: float
    sd: float
    level: float
    day: float

    def at(self, level: float) -> float:
        """The uptake at another level: corals build less of less."""
        if self.level <= _REST:
            return self.per_day
        return self.per_day * max(level - _REST, 0.0) / (self.level - _REST)

    def sd_on(self, day: float) -> float:
        """How far it may be off by then."""
        return hypot(self.sd, WALK_SHARE * self.per_day * sqrt(max(day - self.day, 0)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stretch:
    """Between two tests: days, what came in as believed and as seen."""

    begin: Point
    end: Point
    believed: float
    seen: float
    days: float
    may_be: float

    @property
    def sd(self) -> float:
        """How far its ratio may be off by the two tests."""
        return hypot(self.begin.sd, self.end.sd) / self.believed

    @property
    def slack(self) -> float:
        """What of a ratio is no evidence: half the drift, and the uptake's share."""
        return DRIFT / 2 + COVERAGE * self.may_be * self.days / self.believed


@dataclass(slots=True)
class _Sum:
    """One of the two sums, and the stretches since it left nothing."""

    sign: int
    height: float = 0.0
    is_found: bool = False
    since: list[_Stretch] = field(default_factory=list)

    def take(self, one: _Stretch) -> None:
        off = self.sign * (one.seen / one.believed - 1) - one.slack
        self.height = max(self.height + off, 0.0)
        if self.height <= 0:
            self.since, self.is_found = [], False
            return
        self.since.append(one)
        if self.height > max(THRESHOLD, SURE_SDS * one.sd):
            self.is_found = True


def answer_of(
    series: Series, inflow: Inflow, history: History, machine: Machine
) -> Answer | None:
    """What tests of alkalinity by one method say of the pumps that bring it.

    Shape: outliers of the series are marked. Gives None where too few tests follow the
    newest calibration, or no pump brings any.
    """
    pumps = bringing(machine, history.tank)
    points = _since_measured(series, inflow, history, machine)
    split = _young(points)
    if not pumps or split is None or split == len(points):
        return None
    less = fallen(points, inflow)
    learned = _learned(points[:split], less[:split])
    if learned.per_day <= 0:
        return None
    sums = (_Sum(sign=1), _Sum(sign=-1))
    for one in _telling(_stretches(points, less, inflow, learned, split - 1)):
        for each in sums:
            each.take(one)
    higher = max(sums, key=lambda each: (each.is_found, each.height))
    return _answer(higher, pumps, learned) if higher.since else None


def bringing(machine: Machine, tank: str) -> tuple[str, ...]:
    """The pumps of a tank whose solution brings alkalinity."""
    return tuple(
        name
        for name, pump in sorted(machine.pumps.items())
        if pump.tank == tank and ALKALINITY in machine.solutions[pump.solution].effects
    )


def _since_measured(
    series: Series, inflow: Inflow, history: History, machine: Machine
) -> list[Point]:
    """The tests that may speak: from the window, the newest calibration and tube on."""
    begins = [history.until - timedelta(days=WINDOW_DAYS)]
    known = evidence_begins(history, machine, inflow)
    begins += [] if known is None else [known]
    begins += [
        history.renewed[pump]
        for pump in bringing(machine, history.tank)
        if pump in history.renewed
    ]
    begins += [
        gap.ends for gap in history.gaps if gap.ends - gap.begins >= GAP_AT_LEAST
    ]
    return [
        point
        for point in series.points
        if point.at >= max(begins) and point.use == "used" and not point.censored
    ]


def _young(points: Sequence[Point]) -> int | None:
    """How many of the tests tell the uptake; None where there are not enough yet."""
    for place, point in enumerate(points):
        days = day_of(point.at) - day_of(points[0].at)
        if days >= LEARNED_DAYS and place + 1 >= LEARNED_TESTS:
            return place + 1
    return None


def _learned(points: Sequence[Point], less: Sequence[Fallen]) -> _Learned:
    days = [one.day for one in less]
    line = fitted_line(days, [one.value for one in less], [one.sd for one in less])
    # Tests that lie on a line by luck are no better than they are said to be.
    return _Learned(
        per_day=-line.slope,
        sd=line.slope_sd * max(line.scale, 1.0),
        level=sum(point.value for point in points) / len(points),
        day=line.centre,
    )


def _stretches(
    points: Sequence[Point],
    less: Sequence[Fallen],
    inflow: Inflow,
    learned: _Learned,
    first: int,
) -> Iterator[_Stretch]:
    for place in range(first, len(points) - 1):
        begin, end = points[place], points[place + 1]
        days = less[place + 1].day - less[place].day
        believed = inflow.delivered(less[place].day, less[place + 1].day)
        uptake = learned.at((begin.value + end.value) / 2)
        fell = less[place].value - less[place + 1].value
        yield _Stretch(
            begin=begin,
            end=end,
            believed=believed,
            seen=believed + uptake * days - fell,
            days=days,
            may_be=learned.sd_on(less[place + 1].day),
        )


def _telling(stretches: Iterator[_Stretch]) -> Iterator[_Stretch]:
    """Stretches, joined with those before them until each tells something."""
    waiting: _Stretch | None = None
    for one in stretches:
        joined = one if waiting is None else _joined(waiting, one)
        waiting = joined
        if joined.believed > 0 and joined.sd <= TELLS_SD:
            waiting = None
            yield joined


def _joined(first: _Stretch, second: _Stretch) -> _Stretch:
    """Two stretches in one; what the test between them was off cancels out."""
    return replace(
        second,
        begin=first.begin,
        believed=first.believed + second.believed,
        seen=first.seen + second.seen,
        days=first.days + second.days,
    )


def _answer(found: _Sum, pumps: tuple[str, ...], learned: _Learned) -> Answer:
    whole = found.since[0]
    for one in found.since[1:]:
        whole = _joined(whole, one)
    ratio = whole.seen / whole.believed
    sd = hypot(whole.sd, whole.may_be * whole.days / whole.believed)
    return Answer(
        pumps=pumps,
        since=whole.begin.at,
        ratio=ratio,
        sd=sd,
        uptake_per_day=learned.per_day,
        instead_per_day=learned.per_day + (1 - ratio) * whole.believed / whole.days,
        is_found=found.is_found and abs(ratio - 1) > COVERAGE * sd,
    )
