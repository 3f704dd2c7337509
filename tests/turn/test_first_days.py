"""A tank in its first three days: what is judged before a series can be.

A baseline takes two whole days before the last one. Until then the ceiling, the floor
and the range of the hourly medians (a climb and a fall of 0.8 dKH in a day) count, and
a probe that repeats itself; sums, slopes, noise and doses gone astray do not.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from functools import partial

import pytest

from slackwater.facts.events import HoldRaised
from slackwater.facts.judgements import SeriesJudged
from slackwater.facts.reasons import Code
from slackwater.gate.alkalinity import climbs, falls
from slackwater.gate.swings.judging import judge_probe
from tests.gate.scene import GUARD, PROBE, probed
from tests.gate.swing_runs import started
from tests.gate.swing_series import Source, labelled, steady
from tests.gate.swing_tanks import DAY_MIN, Deviation, Series, ramp
from tests.gate.swings.followed import TARGET_DKH, noisy, series
from tests.turn.test_probes import follow, quiet
from tests.turn.test_step import Bench

HOURLY = replace(probed(), probes={"kh": replace(PROBE, period_s=3600.0)})
HOUR = timedelta(hours=1)


def holds(bench: Bench) -> list[Code]:
    """What was held for."""
    return [one.reason.code for one in bench.events if isinstance(one, HoldRaised)]


def said(bench: Bench) -> list[str]:
    """What was said of the series."""
    return [one.verdict for one in bench.events if isinstance(one, SeriesJudged)]


def test_h51_the_very_first_reading_above_the_ceiling_stops() -> None:
    """Nothing is known of the tank, and this is too much."""
    bench = Bench(HOURLY)
    follow(bench, [9.8], HOUR)
    assert [Code.ALKALINITY_CEILING] == holds(bench)


def test_h51_a_climb_on_the_first_day_latches() -> None:
    """The range of hourly medians, upwards, once the next reading says it again."""
    bench = Bench(HOURLY)
    follow(bench, [*quiet(6), 8.9], HOUR)
    assert [] == holds(bench)
    follow(bench, [8.9], HOUR)
    assert [Code.ALKALINITY_CLIMB] == holds(bench)
    assert [] == said(bench)


def test_h51_a_fall_on_the_first_day_shortens() -> None:
    """The same range downwards; nothing is held."""
    bench = Bench(HOURLY)
    follow(bench, [*quiet(6), 7.1, 7.12, 7.1], HOUR)
    assert [] == holds(bench)
    late = [one.dose.volume_ul for one in bench.intents() if one.reasons]
    assert late


def test_h49_a_probe_that_repeats_itself_is_named_on_its_first_days() -> None:
    """By its own habits, of which thirty readings are enough."""
    bench = Bench(HOURLY)
    follow(bench, [*quiet(30), *[8.05] * 24], HOUR)
    assert ["probe-fault"] == said(bench)


@pytest.mark.parametrize("source", ["probe", "titrator"])
def test_clean_days_before_the_third_say_nothing(source: Source) -> None:
    """Twenty steady tanks each: no verdict on a series that has no baseline yet."""
    found = [
        name
        for seed in range(20)
        for name in verdicts(labelled(steady, seed, source), 2 * DAY_MIN)
        if name != "too-little"
    ]
    assert [] == found


def verdicts(one: Series, until: float) -> Sequence[str]:
    """What is said of each reading up to a minute; one each half hour is enough."""
    run, found = started(one), []
    for minute, value in one.readings:
        if minute > until:
            break
        run.until(minute)
        course = run.read(minute, value)
        if len(course.open) == 1:
            found.append(judge_probe(run.at, run.probe, course).name)
    return found


@pytest.mark.parametrize("period_min", [5.0, 60.0])
@pytest.mark.parametrize("seed", range(5))
def test_h51_a_step_of_a_day_old_tank_is_seen_within_two_hours(
    period_min: float, seed: int
) -> None:
    """1.2 dKH up climbs, and down falls, whatever the seed of the noise."""
    for size, rule in ((1.2, climbs), (-1.2, falls)):
        step = ramp(1.5 * DAY_MIN, size, 30.0)
        level = noisy(partial(_above, step), seed)
        run = started(series(level, 1.5 + 2.5 / 24, period_min))
        for minute, value in run.series.readings:
            run.read(minute, value)
        found = rule(GUARD, run.at.sight.readings["kh"], run.at.now.utc)
        assert found is not None


def _above(step: Deviation, minute: float) -> float:
    return TARGET_DKH + step(minute)
