"""Whatever a source sends and a keeper tells, there is a verdict and no error."""

import random
from dataclasses import replace

import pytest

from slackwater.facts.judgements import Break, Told
from slackwater.gate.moment import Moment
from slackwater.gate.swings.judging import judge_probe
from slackwater.gate.swings.limits import DKH
from tests.gate.swing_runs import started, utc
from tests.gate.swing_tanks import Series
from tests.gate.swings.followed import TARGET_DKH, at_target, noisy, series

PERIODS_MIN = (1 / 6, 1.0, 5.0, 29.0, 30.0, 31.0, 60.0, 180.0, 360.0, 1440.0)
TOLD: tuple[Told, ...] = ("change", "addition", "service", "event", "release")
NAMES = {"steady", "swing-up", "swing-down", "probe-fault", "dose-fault", "too-little"}


def anything(chance: random.Random) -> Series:
    """Readings at odd times, of odd values, with odd doses."""
    period, minute, readings = chance.choice(PERIODS_MIN), 0.0, []
    for _ in range(chance.choice((1, 2, 10, 60, 150))):
        minute += period * chance.choice((1, 1, 1, 0.01, chance.uniform(0.1, 20)))
        level = chance.choice((8, 8 + chance.gauss(0, 0.3), chance.uniform(1, 20)))
        readings.append((minute, round(level, chance.choice((0, 1, 2)))))
    doses = [(chance.uniform(0, minute), chance.uniform(0, 2)) for _ in range(20)]
    one = series(at_target, 1, 60.0, doses=sorted(doses), uptake=chance.choice((0, 4)))
    resolution = chance.choice((0.0, 0.01, 0.5))
    return replace(one, readings=readings, period_min=period, resolution=resolution)


def tell(at: Moment, chance: random.Random, minute: float) -> None:
    """Something was told, at some time around now."""
    told = Break(
        at=utc(minute - chance.uniform(-100, 3000)),
        told=chance.choice(TOLD),
        rise=chance.choice((None, 0.1, -0.3)),
        added=10**9,
    )
    marks = {**at.state.breaks.get("reef", {}), str(minute): told}
    ordered = sorted(marks.items(), key=lambda named: named[1].at)
    at.state.breaks["reef"] = dict(ordered)


@pytest.mark.parametrize("seed", range(40))
def test_whatever_comes_there_is_a_verdict(seed: int) -> None:
    """Odd times, values, doses and marks; a stage that begins anew."""
    chance = random.Random(seed)  # noqa: S311 -- invented, no secret
    run = started(anything(chance))
    for minute, value in run.series.readings:
        run.until(minute)
        course = run.read(minute, value)
        if chance.random() < 0.05:
            tell(run.at, chance, minute)
        if chance.random() < 0.02:
            run.at.state.stage_since = utc(minute)
        assert judge_probe(run.at, run.probe, course).name in NAMES


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("low_dkh", [0.5, 3.0])
def test_h50_no_low_reading_ever_is_too_much(seed: int, low_dkh: float) -> None:
    """However many readings of the last day lie however far below the rest."""
    chance = random.Random(seed)  # noqa: S311 -- invented, no secret
    calm = series(noisy(at_target, seed), 6, 60.0)
    spikes = [
        (minute, value - low_dkh if n > 120 and chance.random() < 0.4 else value)
        for n, (minute, value) in enumerate(calm.readings)
    ]
    run, excess = started(replace(calm, readings=spikes)), []
    for minute, value in spikes:
        course = run.read(minute, value)
        if value < TARGET_DKH - 0.3:
            excess.append(judge_probe(run.at, run.probe, course).excess)
    assert excess
    assert not any(excess)


def test_a_level_is_in_meq() -> None:
    """10 mg/L of CaO are one dKH: 0.35665 meq/L (IUPAC weights)."""
    assert pytest.approx(2 * 10 / (40.078 + 15.999), rel=1e-4) == DKH
