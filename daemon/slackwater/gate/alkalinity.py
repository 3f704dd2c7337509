"""What the alkalinity readings of a tank say, and nothing more.

Floor 3. One subject: judging a series of readings. Laws here: evidence of too much
stops; evidence that is missing, old, frozen, contradictory or low only shortens; a
low reading never raises anything; a climb that a water change explains is no evidence,
a level above the ceiling always is.
Units: meq/L. Sources: `chemistry` limits are common practice, no source; hourly
medians after the swing chapter of the design (recomputed on simulated probes).
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from operator import attrgetter
from statistics import median

from slackwater.facts.messages import Reading
from slackwater.facts.reasons import Code, Reason, because
from slackwater.facts.safeguards import is_over
from slackwater.facts.tank import AlkalinityGuard, Probe
from slackwater.gate.moment import ALKALINITY, Moment

HOUR = timedelta(hours=1)
DAY = timedelta(hours=24)
INSTANT = timedelta(microseconds=1)
# A reading counts as current for twice the time expected between readings.
STALE_PERIODS = 2.0
# Two ordinary time services differ by no more.
AHEAD_S = 60.0
# A run of equal readings is frozen when chance alone gives it less often than this.
FROZEN_PROBABILITY = 0.001
# Before enough pairs are seen, equal neighbours are taken as likely as this.
EQUAL_PRIOR = 0.5
EQUAL_PRIOR_PAIRS = 10
# A change, and a repetition, takes two.
PAIR = 2
# One of three readings may be wrong.
FEWEST_FOR_A_MEDIAN = 3
_TAKEN_AT, _VALUE = attrgetter("at"), attrgetter("value")


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """What one water change is predicted to do to alkalinity, in meq/L."""

    at: datetime
    rise: float


def alkalinity_probes(moment: Moment, tank: str) -> list[Probe]:
    """The alkalinity probes of a tank that serve, in order of name; maybe none."""
    probes = moment.rules.probes.get(f"{tank}/{ALKALINITY}", ())
    if not moment.state.out_of_service:
        return list(probes)
    return [probe for probe in probes if not is_out(moment, probe.id)]


def is_out(moment: Moment, probe: str) -> bool:
    """Whether a person took the probe out of service and its time has not passed."""
    out = moment.state.out_of_service.get(probe)
    return out is not None and not is_over(out, moment.now, moment.proven_ms)


def is_fresh(probe: Probe, series: Sequence[Reading], utc: datetime) -> bool:
    """Whether the newest reading is young enough to speak for the water.

    One from ahead of the clock is not: put back, the clock would let it speak too long.
    """
    if not series:
        return False
    age_s = (utc - series[-1].at).total_seconds()
    return -AHEAD_S <= age_s <= STALE_PERIODS * probe.period_s


def too_high(
    guard: AlkalinityGuard, series: Sequence[Reading], utc: datetime
) -> Reason | None:
    """The newest reading above the ceiling; one is enough."""
    if not series or utc - series[-1].at > DAY:
        return None
    newest = series[-1].value
    if newest <= guard.ceiling:
        return None
    return because(
        Code.ALKALINITY_CEILING,
        probe=series[-1].probe,
        newest_meq_per_l=round(newest, 3),
        ceiling_meq_per_l=round(guard.ceiling, 3),
    )


def climbs(
    guard: AlkalinityGuard,
    series: Sequence[Reading],
    utc: datetime,
    steps: Sequence[Step] = (),
) -> Reason | None:
    """The last hour's median against the lowest hourly median of 24 h before it.

    An hour that lies before a water change is compared less the rise which that change
    explains; the hours since are compared as they are.
    """
    # Hardly ever is any reading so far below: then no hour is, and none is looked at.
    last = _of_last_hour(series, utc)
    if last is None or last - min(map(_VALUE, series)) <= guard.rise:
        return None
    newest = series[-1].at
    # The last hour is among them, and has not risen above itself.
    by_hour = _medians_by_hour(series, utc)
    rise, explained = max(
        (last - value - known, known)
        for hour, value in by_hour.items()
        for known in [_explained(steps, newest, hour)]
    )
    if rise <= guard.rise:
        return None
    water = {"explained_meq_per_l": round(explained, 3)} if explained else {}
    return because(
        Code.ALKALINITY_CLIMB,
        probe=series[-1].probe,
        rise_meq_per_l=round(rise, 3),
        limit_meq_per_l=round(guard.rise, 3),
        **water,
    )


def water_steps(moment: Moment, tank: str) -> list[Step]:
    """What water changes of the last 24 h lifted; one that lies ahead lifts nothing."""
    utc = moment.now.utc
    return [
        Step(at=change.changed_at, rise=change.steps.get(ALKALINITY, 0.0))
        for change in moment.state.changes.values()
        if change.tank == tank and timedelta() <= utc - change.changed_at <= DAY
    ]


def since_serviced(
    moment: Moment, tank: str, series: Sequence[Reading]
) -> Sequence[Reading]:
    """The readings since a probe was last serviced: a new scale is no climb."""
    marks = moment.state.breaks.get(tank)
    if not marks:
        return series
    utc = moment.now.utc
    services = [m.at for m in marks.values() if m.told == "service" and m.at <= utc]
    if not services:
        return series
    return [reading for reading in series if reading.at >= services[-1]]


def _explained(steps: Sequence[Step], newest: datetime, hour: int) -> float:
    """The rise that lies between an hour and the newest reading.

    In the hour of the change itself some readings are of the water before.
    """
    return sum(
        max(step.rise, 0.0)
        for step in steps
        if timedelta() <= newest - step.at < (hour + 1) * HOUR
    )


def falls(
    guard: AlkalinityGuard, series: Sequence[Reading], utc: datetime
) -> Reason | None:
    """The mirror of `climbs`: a fall only warns and shortens."""
    last = _of_last_hour(series, utc)
    if last is None or max(map(_VALUE, series)) - last <= guard.fall:
        return None
    # The last hour is among them, and has not fallen below itself.
    fall = max(hourly_medians(series, utc)) - last
    if fall <= guard.fall:
        return None
    return because(
        Code.ALKALINITY_FALL,
        probe=series[-1].probe,
        fall_meq_per_l=round(fall, 3),
        limit_meq_per_l=round(guard.fall, 3),
    )


def hourly_medians(series: Sequence[Reading], utc: datetime) -> list[float]:
    """Medians of the hours counted back from the newest reading, newest first.

    Shape: at most 25 values; hours without a reading are left out, and one with fewer
    than three takes the three nearest readings. Empty when the newest reading is more
    than a day old.
    """
    return list(_medians_by_hour(series, utc).values())


def _of_last_hour(series: Sequence[Reading], utc: datetime) -> float | None:
    """The median of the hour before the newest reading, None when that is too old."""
    if not series or utc - series[-1].at > DAY:
        return None
    first = bisect_right(series, series[-1].at - HOUR, key=_TAKEN_AT)
    near = series[_widened(first, len(series), len(series))]
    return median([one.value for one in near])


def _medians_by_hour(series: Sequence[Reading], utc: datetime) -> dict[int, float]:
    if not series or utc - series[-1].at > DAY:
        return {}
    newest, end = series[-1].at, len(series)
    medians: dict[int, float] = {}
    # A window may hold two thousand readings, and this is asked for with each of them.
    for hour in range(DAY // HOUR + 1):
        begins = max(newest - (hour + 1) * HOUR, newest - DAY - INSTANT)
        first = bisect_right(series, begins, 0, end, key=_TAKEN_AT)
        if first < end:
            near = series[_widened(first, end, len(series))]
            medians[hour] = median([one.value for one in near])
        end = first
    return medians


def _widened(first: int, end: int, count: int) -> slice:
    """The places of an hour, or of the three readings nearest to it if it has fewer.

    One wrong reading of a titrator would be the median of its hour.
    """
    lacking = FEWEST_FOR_A_MEDIAN - (end - first)
    if lacking <= 0:
        return slice(first, end)
    begins = max(0, min(first - (lacking + 1) // 2, count - FEWEST_FOR_A_MEDIAN))
    return slice(begins, begins + FEWEST_FOR_A_MEDIAN)


def may_release_ceiling(
    guard: AlkalinityGuard, all_series: Sequence[Sequence[Reading]], utc: datetime
) -> bool:
    """Whether every probe showed enough good readings for long enough.

    Good means below the ceiling by the hysteresis; silence releases nothing.
    """
    limit = guard.ceiling - guard.hysteresis
    for series in all_series:
        good = 0
        for reading in reversed(series):
            if reading.value > limit:
                break
            good += 1
        if good < guard.good_readings:
            return False
        first_good = series[len(series) - good]
        if (utc - first_good.at).total_seconds() < guard.hold_at_least_s:
            return False
    return bool(all_series)


def frozen(probe: Probe, series: Sequence[Reading]) -> Reason | None:
    """A run of equal readings too long for the probe's own noise.

    The chance that neighbours are equal is taken from the readings before the run;
    a run is frozen when that chance to the power of its length is below 0.001.
    """
    run = equal_run(probe, series)
    if run < PAIR:
        return None
    before = series[: len(series) - run]
    pairs = max(len(before) - 1, 0)
    equal = sum(
        abs(before[i + 1].value - before[i].value) < probe.resolution / 2
        for i in range(pairs)
    )
    chance = (equal + EQUAL_PRIOR * EQUAL_PRIOR_PAIRS) / (pairs + EQUAL_PRIOR_PAIRS)
    if chance ** (run - 1) >= FROZEN_PROBABILITY:
        return None
    return because(
        Code.ALKALINITY_FROZEN,
        probe=probe.id,
        equal_readings=run,
        chance=float(f"{chance ** (run - 1):.1e}"),
    )


def equal_run(probe: Probe, series: Sequence[Reading]) -> int:
    """How many of the newest readings show no change; 0 where there is none."""
    run = 0
    for reading in reversed(series):
        if abs(reading.value - series[-1].value) >= probe.resolution / 2:
            break
        run += 1
    return run
