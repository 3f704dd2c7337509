"""An invented series seen to its end, for tests of what can be said of it then."""

from collections.abc import Callable, Sequence
from random import Random

from slackwater.facts.courses import Course
from slackwater.facts.tank import Probe
from slackwater.gate.moment import Moment
from slackwater.gate.swings.judging import judge_probe
from slackwater.gate.swings.verdicts import Verdict
from tests.gate.swing_runs import Run, started
from tests.gate.swing_tanks import DAY_MIN, Series, Told, Truth, flat

LevelAt = Callable[[float], float]
NOISE_DKH, RESOLUTION_DKH, TARGET_DKH = 0.05, 0.01, 8.0
Dose = tuple[float, float]


def noisy(level: LevelAt, seed: int = 1, noise_dkh: float = NOISE_DKH) -> LevelAt:
    """A level with the noise of an instrument; call it in the order of time."""
    chance = Random(seed)  # noqa: S311 -- an invented instrument, no secret
    return lambda minute: level(minute) + chance.gauss(0, noise_dkh)


def at_target(_minute: float) -> float:
    """A tank that stands still."""
    return TARGET_DKH


def series(
    shown: LevelAt,
    days: float,
    period_min: float,
    *,
    doses: Sequence[Dose] = (),
    told: Sequence[Told] = (),
    uptake: float = 0.0,
) -> Series:
    """Readings at even times from half a period on."""
    count = int(days * DAY_MIN / period_min)
    minutes = [(place + 0.5) * period_min for place in range(count)]
    return Series(
        truth=Truth(label="steady"),
        period_min=period_min,
        resolution=RESOLUTION_DKH,
        noise=NOISE_DKH,
        target=TARGET_DKH,
        uptake_told=uptake,
        doses=doses,
        told=told,
        readings=[(minute, round(shown(minute), 2)) for minute in minutes],
        baseline=flat,
        shown=shown,
    )


def seen(one: Series) -> tuple[Moment, Probe, Course]:
    """The moment after the last reading."""
    run = started(one)
    for minute, value in one.readings:
        run.until(minute)
        run.read(minute, value)
    return _parts(run)


def said_at_the_end(one: Series) -> Verdict:
    """What the judge says of the last reading."""
    return judge_probe(*seen(one))


def _parts(run: Run) -> tuple[Moment, Probe, Course]:
    return run.at, run.probe, run.at.sight.courses["kh"]
