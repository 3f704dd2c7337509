"""An invented tank with a probe or titrator in front of it, in dKH and minutes.

Shares no code with the daemon: a tank that is dosed and takes up, a daily cycle, noise.
What is told of doses and changes is what a keeper would have on record; what was true
may differ.
Ranges: uptake 0.3 to 4 dKH a day, in proportion to the level above 3 dKH; daily cycle 0
to 0.4 dKH from top to bottom; noise 0.03 to 0.3 dKH of a probe, 0.03 to 0.1 of a
titrator, 0.05 to 0.15 of drops counted by hand (common practice, no source).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from math import cos, pi
from random import Random

STEP_MIN = 5
HOUR_MIN = 60
DAY_MIN = 1440
DEAD_DKH = 3.0
# A swing counts from where it passed this.
CROSSED_DKH = 0.5
# The largest rise of one dose that is usual (bicarbonate).
DOSE_DKH = 0.3

Deviation = Callable[[float], float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """Something announced: written down at a minute, said to have been at another.

    `rise` is what it is said to bring, None where nobody knows.
    """

    what: str
    written: float
    at: float
    rise: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What really happened, and when: the label.

    `crossed` is the minute at which a swing passed 0.5 dKH, `above_min` how long it
    stayed beyond.
    """

    label: str
    shape: str = ""
    size: float = 0.0
    begins: float = 0.0
    crossed: float = 0.0
    above_min: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One course: readings by minute, and what is on record of the tank.

    Without noise they would be as `shown`; the `baseline` is what record and told
    changes would have made of it.
    """

    truth: Truth
    period_min: float
    resolution: float
    noise: float
    target: float
    uptake_told: float
    doses: Sequence[tuple[float, float]]
    told: Sequence[Told]
    readings: Sequence[tuple[float, float]]
    baseline: Deviation = field(repr=False)
    shown: Deviation = field(repr=False)


@dataclass(slots=True, kw_only=True)
class Tank:
    """An invented tank and its instrument before anything happens to it."""

    rng: Random
    days: int
    period_min: float
    noise: float
    resolution: float
    target: float
    uptake: float
    doses_a_day: int
    cycle: float
    phase: float
    skew: float
    drift: float
    outliers: float
    lost: float
    mismatch: float
    told_error: float
    wander: Sequence[float]

    def begins(self, within_days: float = 0.5) -> float:
        """A minute at which something may happen, early on the day after the lead."""
        lead_min = lead_days(self.period_min) * DAY_MIN
        return lead_min + self.rng.uniform(0, within_days * DAY_MIN)

    def doses(self) -> list[tuple[float, float]]:
        """Equal doses laid evenly over each day, always at the same minutes."""
        gap = DAY_MIN / self.doses_a_day
        rise = self.uptake / self.doses_a_day
        first = self.phase * gap
        count = int(self.days * self.doses_a_day)
        return [(first + gap * number, rise) for number in range(count)]

    def levels(
        self, doses: Sequence[tuple[float, float]], poured: Deviation
    ) -> list[float]:
        """The true level each five minutes, without cycle and deviation.

        `poured` is what changes of the water have brought until a minute.
        """
        by_step: dict[int, float] = {}
        for minute, rise in doses:
            step = int(minute // STEP_MIN)
            by_step[step] = by_step.get(step, 0.0) + rise
        level, found = self.target, []
        uptake = self.uptake * (1 + self.mismatch)
        room = self.target - DEAD_DKH
        for step in range(self.days * DAY_MIN // STEP_MIN + 1):
            if step % (DAY_MIN // STEP_MIN) == 0:
                uptake *= 1 + self.wander[step * STEP_MIN // DAY_MIN]
            level += by_step.get(step, 0.0)
            minute = step * STEP_MIN
            level += poured(minute) - poured(minute - STEP_MIN)
            found.append(level)
            share = max(level - DEAD_DKH, 0.0) / room
            level -= uptake * share * STEP_MIN / DAY_MIN
        return found

    def wave(self, minute: float) -> float:
        """The daily cycle, with a second wave that makes it lopsided."""
        angle = 2 * pi * (minute / DAY_MIN - self.phase)
        return self.cycle / 2 * (cos(angle) + self.skew * cos(2 * angle))

    def shows(self, levels: Sequence[float], deviation: Deviation) -> Deviation:
        """What the instrument would show of these levels without noise.

        After the last level the tank goes on as it stood.
        """
        return lambda minute: (
            levels[min(int(minute // STEP_MIN), len(levels) - 1)]
            + self.wave(minute)
            + self.drift * minute / DAY_MIN
            + deviation(minute)
        )


def lead_days(period_min: float) -> int:
    """The days before anything happens: as many readings as habits can be told by."""
    return 6 if period_min < 4 * HOUR_MIN else 10


@dataclass(frozen=True, slots=True)
class Instrument:
    """What reads a tank: its noise, resolutions, shares far out and shares lost.

    The time between readings differs by up to `jitter`, as a part of it.
    """

    noise: tuple[float, float]
    resolutions: Sequence[float]
    outliers: Sequence[float]
    lost: Sequence[float]
    jitter: float


FINE = (0.01, 0.01, 0.02, 0.05)
QUICK = Instrument((0.03, 0.3), FINE, (0.0, 0.002, 0.01), (0.0, 0.01, 0.05), 0.02)
SLOW = Instrument((0.03, 0.1), FINE, (0.0, 0.01, 0.02), (0.0, 0.01, 0.05), 0.02)
HAND = Instrument((0.05, 0.15), (0.05, 0.1, 0.2), (0.0, 0.02), (0.0, 0.05, 0.1), 0.1)


# So many days more are tested by hand.
HAND_DAYS = 3


def instrument_of(period_min: float) -> Instrument:
    """What reads so often."""
    if period_min >= DAY_MIN:
        return HAND
    return QUICK if period_min < HOUR_MIN else SLOW


def tank(rng: Random, period_min: float, more_days: int = 2) -> Tank:
    """A tank with an instrument of this period, drawn from the ranges above."""
    source = instrument_of(period_min)
    uptake, days = rng.uniform(0.3, 4.0), lead_days(period_min) + more_days
    # A day's test tells nothing of the next day before it is made.
    days += HAND_DAYS if source is HAND else 0
    fewest = max(int(uptake / DOSE_DKH) + 1, 4)
    return Tank(
        rng=rng,
        days=days,
        period_min=period_min,
        noise=rng.uniform(*source.noise),
        resolution=rng.choice(source.resolutions),
        target=rng.uniform(7.0, 9.0),
        uptake=uptake,
        doses_a_day=max(fewest, rng.choice((6, 12, 24, 48))),
        cycle=rng.uniform(0.0, 0.4),
        phase=rng.random(),
        skew=rng.uniform(0.0, 0.3),
        drift=rng.uniform(-0.03, 0.03),
        outliers=rng.choice(source.outliers),
        lost=rng.choice(source.lost),
        mismatch=rng.gauss(0, 0.03),
        told_error=rng.uniform(-0.15, 0.15),
        wander=[rng.gauss(0, 0.01) for _ in range(days + 1)],
    )


def observed(
    made: Tank, levels: Sequence[float], deviation: Deviation
) -> list[tuple[float, float]]:
    """What the instrument shows: noise, drift, gross outliers, gaps, whole steps."""
    rng, jitter = made.rng, instrument_of(made.period_min).jitter
    shown = made.shows(levels, deviation)
    readings: list[tuple[float, float]] = []
    minute = rng.uniform(0, made.period_min)
    end = made.days * DAY_MIN
    while minute < end:
        if rng.random() >= made.lost:
            value = shown(minute) + rng.gauss(0, made.noise)
            if rng.random() < made.outliers:
                value += rng.choice((-1, 1)) * rng.uniform(0.5, 3.0)
            readings.append((minute, round(value / made.resolution) * made.resolution))
        minute += made.period_min * (1 + rng.uniform(-jitter, jitter))
    return readings


def flat(_minute: float) -> float:
    """No deviation at all."""
    return 0.0


def step(begins: float, size: float) -> Deviation:
    """A rise within half an hour that stays."""
    return ramp(begins, size, 30.0)


def ramp(begins: float, size: float, lasts: float) -> Deviation:
    """A steady rise that stays."""
    return lambda minute: size * min(max((minute - begins) / lasts, 0.0), 1.0)


def vee(begins: float, size: float, flanks: tuple[float, float]) -> Deviation:
    """Up along one flank and down along the other."""
    top, end = begins + flanks[0], begins + flanks[0] + flanks[1]

    def deviation(minute: float) -> float:
        if minute <= top:
            return size * max((minute - begins) / flanks[0], 0.0)
        return size * max((end - minute) / flanks[1], 0.0)

    return deviation


def series_of(
    made: Tank,
    truth: Truth,
    deviation: Deviation = flat,
    *,
    doses: Sequence[tuple[float, float]] | None = None,
    told: Sequence[Told] = (),
    poured: Deviation = flat,
) -> Series:
    """The series of a tank; `doses` are the true ones where they differ."""
    on_record = made.doses()
    levels = made.levels(on_record if doses is None else doses, poured)
    usual = made.levels(on_record, poured if told else flat)
    return Series(
        truth=truth,
        period_min=made.period_min,
        resolution=made.resolution,
        noise=made.noise,
        target=made.target,
        uptake_told=made.uptake * (1 + made.told_error),
        doses=on_record,
        told=told,
        readings=observed(made, levels, deviation),
        baseline=made.shows(usual, deviation if told else flat),
        shown=made.shows(levels, deviation),
    )
