"""Invented courses of alkalinity with a label each, from a seed.

Shares no code with the daemon; the tank behind each is that of `swing_tanks`.
"""

from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from math import sqrt
from random import Random
from typing import Literal

from tests.gate.swing_tanks import (
    CROSSED_DKH,
    DAY_MIN,
    HOUR_MIN,
    STEP_MIN,
    Deviation,
    Series,
    Tank,
    Told,
    Truth,
    ramp,
    series_of,
    step,
    tank,
    vee,
)


def steady(rng: Random, period_min: float) -> Series:
    """Nothing happens."""
    return series_of(tank(rng, period_min), Truth(label="steady"))


def swing(rng: Random, period_min: float) -> Series:
    """A step, ramp or V of 0.5 to 2 dKH, up or down, after some quiet days."""
    made = tank(rng, period_min)
    sign, size = rng.choice((1, 1, 1, -1)), rng.uniform(0.5, 2.0)
    begins = made.begins()
    shape = rng.choice(("step", "ramp", "vee"))
    if shape == "step":
        deviation = step(begins, sign * size)
    elif shape == "ramp":
        deviation = ramp(begins, sign * size, HOUR_MIN * rng.uniform(1, 24))
    else:
        least = max(HOUR_MIN, made.period_min)
        flanks = (rng.uniform(1, 8) * least, rng.uniform(1, 8) * least)
        deviation = vee(begins, sign * size, flanks)
    label = "swing-up" if sign > 0 else "swing-down"
    return series_of(
        made, _crossing((label, shape), made, begins, deviation), deviation
    )


def unannounced(rng: Random, period_min: float) -> Series:
    """A water change that nobody wrote down."""
    made = tank(rng, period_min)
    sign, size = rng.choice((1, -1)), rng.uniform(0.5, 1.5)
    begins = made.begins(1.0)
    deviation = ramp(begins, sign * size, 45.0)
    label = "swing-up" if sign > 0 else "swing-down"
    truth = _crossing((label, "change"), made, begins, deviation)
    return series_of(made, truth, poured=deviation)


def _crossing(
    named: tuple[str, str], made: Tank, begins: float, deviation: Deviation
) -> Truth:
    """The label of a swing, with when it passed 0.5 dKH and for how long."""
    span = max(2 * DAY_MIN, 4 * int(made.period_min))
    minutes = [begins + place for place in range(0, span, STEP_MIN)]
    top = max(abs(deviation(minute)) for minute in minutes)
    # A V whose tip lies between two of the minutes crosses at its highest one.
    beyond = [m for m in minutes if abs(deviation(m)) >= min(CROSSED_DKH, top)]
    return Truth(
        label=named[0],
        shape=named[1],
        size=top,
        begins=begins,
        crossed=beyond[0],
        above_min=float(len(beyond) * STEP_MIN),
    )


def announced(rng: Random, period_min: float) -> Series:
    """A water change on record: its rise 20 percent off, its time half an hour."""
    made = tank(rng, period_min)
    begins = made.begins()
    size = rng.uniform(-0.8, 0.8)
    told = Told(
        what="water_change",
        written=begins + rng.uniform(-120, 30),
        at=begins + rng.uniform(-30, 30),
        rise=size * rng.uniform(0.8, 1.2) if rng.random() < 0.8 else None,
    )
    truth = Truth(label="announced", shape="change", size=size, begins=begins)
    return series_of(made, truth, told=(told,), poured=ramp(begins, size, 45.0))


def added(rng: Random, period_min: float) -> Series:
    """Something poured in by hand and written down up to twenty minutes later."""
    made = tank(rng, period_min)
    begins = made.begins()
    size = rng.uniform(0.1, 0.8)
    told = Told(
        what="addition",
        written=begins + rng.uniform(0, 20),
        at=begins + rng.uniform(-10, 10),
        rise=size * rng.uniform(0.9, 1.1),
    )
    truth = Truth(label="announced", shape="addition", size=size, begins=begins)
    return series_of(made, truth, told=(told,), poured=ramp(begins, size, 15.0))


def serviced(rng: Random, period_min: float) -> Series:
    """A probe is calibrated, on record, and shows another value ever after."""
    made = tank(rng, period_min)
    begins = made.begins()
    size = rng.uniform(-0.8, 0.8)
    told = Told(
        what="probe_serviced", written=begins + rng.uniform(0, 30), at=begins, rise=None
    )
    truth = Truth(label="announced", shape="service", size=size, begins=begins)
    return series_of(made, truth, ramp(begins, size, 1.0), told=(told,))


def noted(rng: Random, period_min: float) -> Series:
    """Something that happened and moved the water by nobody knows how much."""
    made = tank(rng, period_min)
    begins = made.begins()
    size = rng.uniform(-0.8, 0.8)
    told = Told(
        what="event",
        written=begins + rng.uniform(-60, 30),
        at=begins + rng.uniform(-30, 30),
        rise=None,
    )
    truth = Truth(label="announced", shape="event", size=size, begins=begins)
    return series_of(made, truth, told=(told,), poured=ramp(begins, size, 45.0))


def frozen(rng: Random, period_min: float) -> Series:
    """A probe that repeats one value from a moment on."""
    made = tank(rng, period_min)
    begins = made.begins()
    whole = series_of(made, Truth(label="probe-fault", shape="frozen", begins=begins))
    place = bisect_right(whole.readings, (begins, 0.0))
    last = whole.readings[place - 1][1]
    stuck = [
        (minute, last if index >= place else value)
        for index, (minute, value) in enumerate(whole.readings)
    ]
    return replace(whole, readings=stuck)


def dying(rng: Random, period_min: float) -> Series:
    """A probe whose noise grows within hours, with spikes and gaps.

    It ends at 3 to 6 times what it was, and at 0.3 dKH or more, which no titrator has.
    """
    made = tank(rng, period_min, 2 + int(36 * period_min / DAY_MIN))
    begins = made.begins()
    worst = max(made.noise * rng.uniform(3, 6), 0.3)
    grows, takes = sqrt(worst**2 - made.noise**2), rng.uniform(0, 12) * HOUR_MIN
    spikes, gaps = rng.choice((0.0, 0.1, 0.3)), rng.choice((0.0, 0.1, 0.3))
    whole = series_of(made, Truth(label="probe-fault", shape="dying", begins=begins))
    readings = []
    for minute, value in whole.readings:
        part = min(max((minute - begins) / max(takes, 1.0), 0.0), 1.0)
        if rng.random() < gaps * part:
            continue
        noisy = value + rng.gauss(0, grows) * part
        if rng.random() < spikes * part:
            noisy += rng.choice((-1, 1)) * rng.uniform(0.5, 2.0)
        readings.append((minute, noisy))
    return replace(whole, readings=readings)


def misdosed(rng: Random, period_min: float) -> Series:
    """One dose that did not come, or came twice, while the record says it came once.

    Half of the tanks get their day in one or two large doses, so that one can be seen.
    """
    made = tank(rng, period_min)
    if rng.random() < 0.5:
        made.uptake = rng.uniform(0.6, 1.2)
        made.doses_a_day = 1
    doses = made.doses()
    begins = made.begins()
    number = bisect_right(doses, (begins, 0.0))
    sign = rng.choice((1, -1))
    begins, rise = doses[number]
    truth = Truth(
        label="dose-fault",
        shape="doubled" if sign > 0 else "missed",
        size=rise,
        begins=begins,
    )
    true = [
        (minute, dose * (1 + sign) if place == number else dose)
        for place, (minute, dose) in enumerate(doses)
    ]
    return series_of(made, truth, doses=true)


def drifting(rng: Random, period_min: float) -> Series:
    """A probe that drifts by up to 0.15 dKH a day: no swing."""
    made = tank(rng, period_min)
    made.drift = rng.choice((-1, 1)) * rng.uniform(0.05, 0.15)
    return series_of(made, Truth(label="steady", shape="drift"))


Make = Callable[[Random, float], Series]
Source = Literal["probe", "titrator", "hand"]
PERIODS_MIN: Mapping[Source, Sequence[float]] = {
    "probe": (5.0,),
    "titrator": (60.0, 60.0, 60.0, 120.0, 180.0, 240.0, 360.0),
    "hand": (1440.0,),
}
# A keeper who finds a test so far from the one before tests again soon.
RETEST_DKH = 0.6


def labelled(kind: Make, seed: int, source: Source) -> Series:
    """One series of a kind; equal seeds give equal series."""
    rng = Random(f"{kind.__name__}/{seed}/{source}")  # noqa: S311 -- seeded on purpose
    made = kind(rng, rng.choice(PERIODS_MIN[source]))
    return retested(rng, made) if source == "hand" else made


def retested(rng: Random, made: Series) -> Series:
    """With a second test an hour or two after each that stands out."""
    readings: list[tuple[float, float]] = []
    for minute, value in made.readings:
        before = readings[-1][1] if readings else value
        readings.append((minute, value))
        if abs(value - before) > RETEST_DKH:
            later = minute + rng.uniform(60, 120)
            again = made.shown(later) + rng.gauss(0, made.noise)
            readings.append((later, round(again / made.resolution) * made.resolution))
    return replace(made, readings=readings)
