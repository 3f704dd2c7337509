"""What is wrong with probes and levels, and whether a tank comes back slowly.

Floor 4. One subject: the water. Laws here: one sound probe is enough to know it, the
others are told all the same; a level is judged by what was measured, never by what was
reckoned; a threshold that was passed must be left by a margin.
Source: thresholds of levels are those of the interlocks.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from slackwater.alarms.conditions import Condition
from slackwater.alarms.foresight import level_now, levels_in_dkh, measured
from slackwater.facts.alarms import Cause, alarm_id
from slackwater.facts.judgements import SeriesJudged
from slackwater.facts.messages import Reading
from slackwater.facts.reasons import Figure, Reason
from slackwater.facts.tank import AlkalinityGuard, Probe, Tank
from slackwater.gate.alkalinity import (
    STALE_PERIODS,
    alkalinity_probes,
    falls,
    frozen,
    is_fresh,
    is_out,
)
from slackwater.gate.moment import Moment
from slackwater.gate.resuming import WHOLE, resume_ppm
from slackwater.gate.shortening import base_ppm
from slackwater.gate.swings.doubts import counts

# What is said of a series and only shortens; what holds is told as a hold.
VERDICTS = {
    "swing-down": Cause.ALKALINITY_SWING_DOWN,
    "dose-fault": Cause.ALKALINITY_DOSE_FAULT,
}
PROBE_FAULT = "probe-fault"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ear:
    """How well probes are heard; none is blamed for what could not be heard.

    Units: `since_s` boot-time seconds. `spoiled` names probes that talk nonsense.
    """

    since_s: float
    spoiled: frozenset[str] = frozenset()


def water(moment: Moment, ear: Ear) -> Iterator[Condition]:
    """Every condition of the water."""
    for _, tank in sorted(moment.machine.tanks.items()):
        probes = [
            probe
            for probe in alkalinity_probes(moment, tank.id)
            if not is_out(moment, probe.id)
        ]
        yield from _probes(moment, tank, probes, ear)
        yield from _levels(moment, tank, probes)
        yield from _verdicts(moment, tank, probes)
        if tank.id in moment.state.resuming:
            yield _resuming(moment, tank)


def _of(tank: Tank, cause: Cause, /, **figures: Figure) -> Condition:
    return Condition(cause=cause, about=tank.id, tanks=(tank.id,), figures=figures)


def _resuming(moment: Moment, tank: Tank) -> Condition:
    """The way back; below the floor also that it is no more than a share of the plan.

    Above it no time is told: uptake has sunk with the level, and a steady one would
    foresee a fall where the water rises.
    """
    found, guard = _of(tank, Cause.RESUMING), moment.machine.guards.get(tank.id)
    level = level_now(moment, tank)
    if guard is None or level is None or level >= guard.floor:
        return found
    return replace(found, share=resume_ppm(moment, tank.id) / WHOLE)


def _probes(
    moment: Moment, tank: Tank, probes: Sequence[Probe], ear: Ear
) -> Iterator[Condition]:
    found = [
        condition
        for probe in probes
        if (condition := _probe(moment, probe, ear)) is not None
    ]
    # Another sound probe speaks for the water: then nothing is shortened.
    share = 1.0 if len(found) < len(probes) else _base_share(moment, tank)
    yield from (replace(condition, share=share) for condition in found)
    yield from _spread(moment, tank, probes)


def _probe(moment: Moment, probe: Probe, ear: Ear) -> Condition | None:
    series = moment.sight.readings.get(probe.id, [])
    if probe.id in ear.spoiled:
        why = moment.sight.flawed.get(probe.id)
        return _at(probe, Cause.PROBE_SPOILED, **({"why": why} if why else {}))
    had_time = moment.now.boot_s - ear.since_s >= STALE_PERIODS * probe.period_s
    if not series:
        return _at(probe, Cause.PROBE_MISSING) if had_time else None
    if not is_fresh(probe, series, moment.now.utc):
        if not had_time:
            return None
        age_min = int((moment.now.utc - series[-1].at).total_seconds() // 60)
        return _at(probe, Cause.PROBE_STALE, age_min=age_min)
    reason = frozen(probe, series)
    return None if reason is None else _at(probe, Cause.PROBE_FROZEN, **reason.figures)


def _at(probe: Probe, cause: Cause, /, **figures: Figure) -> Condition:
    return Condition(cause=cause, about=probe.id, tanks=(probe.tank,), figures=figures)


def _base_share(moment: Moment, tank: Tank) -> float:
    """The part of the plan that is given while the water is not known."""
    rules = [
        rule
        for rule in moment.rules.lines.values()
        if rule.line.tank == tank.id and rule.follows_alkalinity
    ]
    shares = [base_ppm(moment, tank.id, rule) / WHOLE for rule in rules]
    return min(shares, default=1.0)


def _fresh(moment: Moment, probes: Sequence[Probe]) -> list[Reading]:
    series = [(p, moment.sight.readings.get(p.id, [])) for p in probes]
    return [
        readings[-1]
        for probe, readings in series
        if is_fresh(probe, readings, moment.now.utc)
    ]


def _spread(moment: Moment, tank: Tank, probes: Sequence[Probe]) -> Iterator[Condition]:
    guard = moment.machine.guards.get(tank.id)
    values = [reading.value for reading in _fresh(moment, probes)]
    if guard is None or not values:
        return
    apart = max(values) - min(values)
    if apart > guard.spread:
        yield replace(
            _of(tank, Cause.PROBES_CONTRADICT, apart_dkh=levels_in_dkh(apart)),
            share=_base_share(moment, tank),
        )


def _levels(moment: Moment, tank: Tank, probes: Sequence[Probe]) -> Iterator[Condition]:
    guard, level = moment.machine.guards.get(tank.id), measured(moment, tank)
    if guard is None:
        return
    if level is not None:
        shown = levels_in_dkh(level.value)
        if level.value > guard.ceiling:
            yield _of(tank, Cause.ALKALINITY_CEILING, newest_dkh=shown)
        if level.value < _floor(moment, tank, guard):
            low = _of(tank, Cause.ALKALINITY_LOW, newest_dkh=shown)
            yield replace(low, share=_base_share(moment, tank))
    fell = [_fall(moment, guard, probe) for probe in probes]
    for reason in fell:
        if reason is not None:
            share = _base_share(moment, tank)
            fall = _of(tank, Cause.ALKALINITY_FALL, **reason.figures)
            yield replace(fall, share=share)
            return


def _floor(moment: Moment, tank: Tank, guard: AlkalinityGuard) -> float:
    """The floor, a little higher while it has been passed."""
    known = moment.state.alarms.get(alarm_id(Cause.ALKALINITY_LOW, tank.id))
    stands = known is not None and known.is_standing
    return guard.floor + (guard.hysteresis if stands else 0.0)


def _fall(moment: Moment, guard: AlkalinityGuard, probe: Probe) -> Reason | None:
    return falls(guard, moment.sight.readings.get(probe.id, []), moment.now.utc)


def _verdicts(
    moment: Moment, tank: Tank, probes: Sequence[Probe]
) -> Iterator[Condition]:
    """What the course of a series says: a fall, a dose that never came, a bad probe.

    A bad probe is told all the same where another one speaks for the water.
    """
    serving = {f"probe/{probe.id}" for probe in probes}
    for source, judged in sorted(moment.state.judged.items()):
        if judged.tank != tank.id or judged.excess or judged.reason is None:
            continue
        if source in serving and judged.verdict == PROBE_FAULT:
            yield _told(moment, tank, judged, _fault_of(judged))
        elif judged.verdict in VERDICTS and counts(moment, judged):
            yield _told(moment, tank, judged, VERDICTS[judged.verdict])


def _fault_of(judged: SeriesJudged) -> Cause:
    """A series that stood still is the same trouble as a probe that stands still."""
    figures = {} if judged.reason is None else judged.reason.figures
    is_frozen = figures.get("how") == "frozen"
    return Cause.PROBE_FROZEN if is_frozen else Cause.ALKALINITY_PROBE_FAULT


def _told(moment: Moment, tank: Tank, judged: SeriesJudged, cause: Cause) -> Condition:
    of_probe = judged.verdict == PROBE_FAULT
    about = judged.source.removeprefix("probe/") if of_probe else tank.id
    return Condition(
        cause=cause,
        about=about,
        tanks=(tank.id,),
        share=_base_share(moment, tank) if counts(moment, judged) else 1.0,
        figures={} if judged.reason is None else judged.reason.figures,
    )
