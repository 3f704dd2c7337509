"""The interlocks on alkalinity: what stops, what ends that, and what only shortens.

Floor 3. One subject: from the alkalinity of a tank to holds and doubts. Laws here: too
much holds with the reading or the verdict that shows it, and what a reading raised only
a reading ends; what is missing, contradictory or low only shortens; one sound probe is
enough to know the water; a tank without a probe doses on hand tests.
"""

from collections.abc import Callable, Iterator, Sequence

from slackwater.facts.events import HoldRaised
from slackwater.facts.judgements import SeriesJudged, Verdict
from slackwater.facts.messages import Reading
from slackwater.facts.reasons import Code, Reason, because
from slackwater.facts.tank import AlkalinityGuard, Probe
from slackwater.gate.alkalinity import (
    PAIR,
    alkalinity_probes,
    climbs,
    falls,
    frozen,
    is_fresh,
    is_out,
    may_release_ceiling,
    since_serviced,
    too_high,
    water_steps,
)
from slackwater.gate.moment import ALKALINITY, Moment
from slackwater.gate.probes import TEST_STANDS_IN, known, newest_test, serving, silent_s
from slackwater.gate.swings.doubts import counts
from slackwater.gate.watch import Doubt, Doubts, Hears, News, Seen

Find = Callable[[Moment, str], Iterator[Reason]]


def ceiling_hears(moment: Moment, news: News) -> Iterator[Seen]:
    """One reading above the ceiling is enough, of any probe that serves."""
    if not isinstance(news, Reading) or news.parameter != ALKALINITY:
        return
    guard = moment.machine.guards.get(news.tank)
    if guard is None or is_out(moment, news.probe):
        return
    series = moment.sight.readings.get(news.probe, [])
    high = too_high(guard, series, moment.now.utc)
    if high is not None:
        yield _seen(news.tank, f"{high.code}/{news.tank}", high)


def ceiling_clears(moment: Moment, tank: str, _hold: HoldRaised) -> bool:
    """Enough good readings of every probe, for long enough."""
    guard = moment.machine.guards.get(tank)
    if guard is None:
        return False
    series = [
        moment.sight.readings.get(probe.id, [])
        for probe in alkalinity_probes(moment, tank)
    ]
    return may_release_ceiling(guard, series, moment.now.utc)


def climb_hears(moment: Moment, news: News) -> Iterator[Seen]:
    """The hourly medians of one probe rose further in a day than a tank should."""
    if not isinstance(news, Reading) or news.parameter != ALKALINITY:
        return
    guard = moment.machine.guards.get(news.tank)
    if guard is None or is_out(moment, news.probe):
        return
    series = moment.sight.readings.get(news.probe, [])
    comparable = since_serviced(moment, news.tank, series)
    steps = water_steps(moment, news.tank)
    climb = climbs(guard, comparable, moment.now.utc, steps)
    if climb is not None:
        yield _seen(news.tank, f"{climb.code}/alkalinity/{news.tank}", climb)


def verdict_hears(code: Code) -> Hears:
    """What raises a hold when a verdict on a series tells of too much for this code."""

    def hears(_moment: Moment, news: News) -> Iterator[Seen]:
        if not isinstance(news, SeriesJudged) or not news.excess:
            return
        if news.reason is not None and news.reason.code is code:
            yield _seen(news.tank, f"{code}/alkalinity/{news.tank}", news.reason)

    return hears


def _seen(tank: str, hold_id: str, reason: Reason) -> Seen:
    return Seen(hold_id=hold_id, scope=f"alkalinity/{tank}", reason=reason)


def _shortens(find: Find) -> Doubts:
    """A row that shortens what follows alkalinity by what a function finds."""

    def doubts(moment: Moment, tank: str) -> Iterator[Doubt]:
        scope = f"alkalinity/{tank}"
        for reason in find(moment, tank):
            for_s = unknown_for_s(moment, tank)
            yield Doubt(scope=scope, reason=reason, for_s=for_s)

    return doubts


def unknown_for_s(moment: Moment, tank: str) -> float:
    """Seconds since any alkalinity probe of the tank was last heard.

    Where none ever was, since the plan took over.
    """
    return silent_s(moment, alkalinity_probes(moment, tank))


@_shortens
def unknown_doubts(moment: Moment, tank: str) -> Iterator[Reason]:
    """No probe of the tank can be believed; each says why."""
    probes = _guarded(moment, tank)[1]
    reasons = []
    for probe in probes:
        doubt = _doubt(moment, probe)
        # One sound probe is enough: then the doubts about others say nothing.
        if doubt is None:
            return
        reasons.append(doubt)
    yield from reasons


@_shortens
def floor_doubts(moment: Moment, tank: str) -> Iterator[Reason]:
    """The lowest sound reading lies below the floor."""
    guard, probes = _guarded(moment, tank)
    if guard is None or not any(r.value < guard.floor for r in _newest(moment, probes)):
        return
    fresh = _fresh(moment, probes)
    low = min(fresh, key=lambda reading: reading.value, default=None)
    if low is not None and low.value < guard.floor:
        yield because(
            Code.ALKALINITY_LOW,
            probe=low.probe,
            newest_meq_per_l=round(low.value, 3),
            floor_meq_per_l=round(guard.floor, 3),
        )


@_shortens
def spread_doubts(moment: Moment, tank: str) -> Iterator[Reason]:
    """Two sound probes disagree by more than they may."""
    guard, probes = _guarded(moment, tank)
    if guard is None or len(probes) < PAIR:
        return
    fresh = _fresh(moment, probes)
    if len(fresh) < PAIR:
        return
    low = min(fresh, key=lambda reading: reading.value)
    high = max(fresh, key=lambda reading: reading.value)
    if high.value - low.value > guard.spread:
        yield because(
            Code.ALKALINITY_SPREAD,
            probes=f"{low.probe}, {high.probe}",
            apart_meq_per_l=round(high.value - low.value, 3),
            limit_meq_per_l=round(guard.spread, 3),
        )


@_shortens
def fall_doubts(moment: Moment, tank: str) -> Iterator[Reason]:
    """The hourly medians of a probe fell further in a day than they should."""
    guard, probes = _guarded(moment, tank)
    for probe in () if guard is None else probes:
        series = moment.sight.readings.get(probe.id, [])
        fall = None if guard is None else falls(guard, series, moment.now.utc)
        if fall is not None:
            yield fall


@_shortens
def out_doubts(moment: Moment, tank: str) -> Iterator[Reason]:
    """Every probe is out of service, and no test is young enough to stand in."""
    if moment.state.out_of_service:
        yield from _of_known(moment, tank, Code.PROBE_OUT)


def stood_in_doubts(moment: Moment, tank: str) -> Iterator[Doubt]:
    """Hand tests stand in for every probe: the base, for as long as it is so."""
    if not moment.state.out_of_service or tank not in moment.machine.guards:
        return
    configured = moment.rules.probes.get(f"{tank}/{ALKALINITY}", ())
    if not configured or serving(moment, tank, ALKALINITY):
        return
    if newest_test(moment, tank, ALKALINITY, TEST_STANDS_IN) is not None:
        names = ", ".join(probe.id for probe in configured)
        reason = because(Code.PROBE_STOOD_IN, probe=names)
        yield Doubt(scope=f"alkalinity/{tank}", reason=reason)


@_shortens
def against_doubts(moment: Moment, tank: str) -> Iterator[Reason]:
    """The newest hand test beside a probe says otherwise."""
    if moment.state.compared:
        yield from _of_known(moment, tank, Code.PROBE_AGAINST_TEST)


def _of_known(moment: Moment, tank: str, code: Code) -> Iterator[Reason]:
    found = known(moment, tank, ALKALINITY).doubts
    return (reason for reason in found if reason.code is code)


def verdict_doubts(verdict: Verdict) -> Doubts:
    """What shortens while a verdict of this name stands that tells of no excess."""

    @_shortens
    def doubts(moment: Moment, tank: str) -> Iterator[Reason]:
        for _, judged in sorted(moment.state.judged.items()):
            is_one = (judged.tank, judged.verdict) == (tank, verdict)
            if not is_one or judged.excess or judged.reason is None:
                continue
            if counts(moment, judged):
                yield judged.reason

    return doubts


def _guarded(
    moment: Moment, tank: str
) -> tuple[AlkalinityGuard, list[Probe]] | tuple[None, tuple[()]]:
    guard = moment.machine.guards.get(tank)
    return (None, ()) if guard is None else (guard, alkalinity_probes(moment, tank))


def _newest(moment: Moment, probes: Sequence[Probe]) -> Iterator[Reading]:
    for probe in probes:
        if series := moment.sight.readings.get(probe.id):
            yield series[-1]


def _fresh(moment: Moment, probes: Sequence[Probe]) -> list[Reading]:
    """The newest reading of each probe that can be believed."""
    return [
        moment.sight.readings[probe.id][-1]
        for probe in probes
        if _doubt(moment, probe) is None
    ]


def _doubt(moment: Moment, probe: Probe) -> Reason | None:
    """Why a probe cannot be believed; a refused word of it takes back all before."""
    why = moment.sight.flawed.get(probe.id)
    if why:
        return because(Code.PROBE_REFUSED, probe=probe.id, why=why)
    series = moment.sight.readings.get(probe.id, [])
    if not series:
        return because(Code.ALKALINITY_MISSING, probe=probe.id)
    if not is_fresh(probe, series, moment.now.utc):
        age_min = int((moment.now.utc - series[-1].at).total_seconds() // 60)
        return because(Code.ALKALINITY_STALE, probe=probe.id, age_min=age_min)
    return frozen(probe, series)
