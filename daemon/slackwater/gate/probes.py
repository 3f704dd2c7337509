"""Whether what the probes of one kind show can be believed.

Floor 3. One subject: soundness of probes. Laws here: one sound probe is enough to know
a value, and any one may stop on too much; what is missing, old, refused, frozen or
contradicted is unknown; a probe out of service says nothing, and a hand test stands in
for it.
Source: limits are common practice, no source.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from slackwater.facts.limits import limits_of
from slackwater.facts.messages import Reading
from slackwater.facts.reasons import Code, Reason, because
from slackwater.facts.sight import READINGS_AT_MOST
from slackwater.facts.tank import Probe
from slackwater.gate.alkalinity import DAY, equal_run, frozen, is_fresh, is_out
from slackwater.gate.moment import Moment

# A hand test stands in for a probe out of service for so long.
TEST_STANDS_IN = timedelta(hours=48)
# Differences of two readings carry the rounding of their last bits.
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What is known of one parameter: newest sound readings, else why there are none.

    `for_s` is how long nothing sound was heard.
    """

    fresh: tuple[Reading, ...] = ()
    doubts: tuple[Reason, ...] = field(default_factory=tuple)
    for_s: float = 0.0


NOTHING_CONFIGURED = Known()


def known(moment: Moment, tank: str, parameter: str) -> Known:
    """What the probes of a tank say of a parameter; nothing where there are none."""
    probes = _probes(moment, tank, parameter)
    if not probes:
        return NOTHING_CONFIGURED
    serving = in_service(moment, probes)
    if not serving:
        return _stood_in(moment, tank, parameter, probes)
    fresh: list[Reading] = []
    doubts: list[Reason] = []
    for probe in serving:
        series = series_of(moment, probe)
        doubt = _doubt(moment, probe, series)
        if doubt is None:
            fresh.append(series[-1])
        else:
            doubts.append(doubt)
    if fresh:
        doubts = [*_apart(moment, fresh), *_against_test(moment, fresh)]
    return Known(
        fresh=tuple(fresh), doubts=tuple(doubts), for_s=silent_s(moment, serving)
    )


def in_service(moment: Moment, probes: Sequence[Probe]) -> list[Probe]:
    """Those that nobody took out of service."""
    if not moment.state.out_of_service:
        return list(probes)
    return [probe for probe in probes if not is_out(moment, probe.id)]


def serving(moment: Moment, tank: str, parameter: str) -> list[Probe]:
    """The probes of a parameter that count, in order of name."""
    return in_service(moment, _probes(moment, tank, parameter))


def series_of(moment: Moment, probe: Probe) -> Sequence[Reading]:
    """The readings of a probe, oldest first; empty when none was heard."""
    return moment.sight.readings.get(probe.id, ())


def newest(moment: Moment, tank: str, parameter: str) -> list[Reading]:
    """The newest reading of each serving probe, none older than a day."""
    return [
        series[-1]
        for probe in serving(moment, tank, parameter)
        if (series := series_of(moment, probe))
        and moment.now.utc - series[-1].at <= DAY
    ]


def silent_s(moment: Moment, probes: Sequence[Probe]) -> float:
    """Seconds since any of these was heard; where none was, since the plan began."""
    heard = [series[-1].at for probe in probes if (series := series_of(moment, probe))]
    if moment.approval is not None:
        heard.append(moment.approval.takes_over_at)
    return (moment.now.utc - max(heard)).total_seconds() if heard else 0.0


def has_calmed(
    moment: Moment, tank: str, parameter: str, is_good: Callable[[float], bool]
) -> bool:
    """Whether every probe heard within a day showed enough good readings for long.

    A day without any reading ends the evidence; what is unknown shortens from then on.
    """
    limits = limits_of(moment.machine.limits, tank)
    for probe in serving(moment, tank, parameter):
        series = series_of(moment, probe)
        if not series or moment.now.utc - series[-1].at > DAY:
            continue
        good = 0
        for reading in reversed(series):
            if not is_good(reading.value):
                break
            good += 1
        if good < limits.good_readings:
            return False
        since = series[len(series) - good].at
        if (moment.now.utc - since).total_seconds() < limits.hold_at_least_s:
            return False
    return True


def contradicted(moment: Moment, probe: str) -> Reason | None:
    """Whether the newest hand test beside a probe says otherwise."""
    compared = moment.state.compared.get(probe)
    configured = moment.machine.probes.get(probe)
    if compared is None or configured is None:
        return None
    limits = limits_of(moment.machine.limits, configured.tank)
    tolerance = limits.against_test(configured.parameter)
    if (
        tolerance is None
        or abs(compared.tested - compared.shown) <= tolerance + ROUNDING
    ):
        return None
    return because(
        Code.PROBE_AGAINST_TEST,
        probe=probe,
        shown=round(compared.shown, 3),
        tested=round(compared.tested, 3),
        tolerance=round(tolerance, 3),
    )


def newest_test(
    moment: Moment, tank: str, parameter: str, within: timedelta
) -> float | None:
    """The newest test of a parameter, if it is not older than that."""
    test = moment.state.levels.get(f"{tank}/{parameter}")
    if test is None or not _within(test.taken_at, moment.now.utc, within):
        return None
    return 0.0 if test.censored else test.value


def _within(at: datetime, utc: datetime, span: timedelta) -> bool:
    return timedelta() <= utc - at <= span


def _probes(moment: Moment, tank: str, parameter: str) -> Sequence[Probe]:
    return moment.rules.probes.get(f"{tank}/{parameter}", ())


def _stood_in(
    moment: Moment, tank: str, parameter: str, probes: Sequence[Probe]
) -> Known:
    if newest_test(moment, tank, parameter, TEST_STANDS_IN) is not None:
        return NOTHING_CONFIGURED
    out = because(
        Code.PROBE_OUT,
        probe=", ".join(probe.id for probe in probes),
        parameter=parameter,
    )
    return Known(doubts=(out,), for_s=silent_s(moment, probes))


def _doubt(moment: Moment, probe: Probe, series: Sequence[Reading]) -> Reason | None:
    # What it said last had to be refused: that is more than that it is old.
    if moment.sight.flawed and probe.id in moment.sight.flawed:
        why = moment.sight.flawed[probe.id]
        return because(Code.PROBE_REFUSED, probe=probe.id, why=why)
    if not series:
        return because(Code.PROBE_MISSING, probe=probe.id)
    utc = moment.now.utc
    if not is_fresh(probe, series, utc):
        age_min = int((utc - series[-1].at).total_seconds() // 60)
        return because(Code.PROBE_STALE, probe=probe.id, age_min=age_min)
    return _frozen(probe, series)


def _frozen(probe: Probe, series: Sequence[Reading]) -> Reason | None:
    """A run of equal readings that is too long for its noise, and long in time."""
    run = equal_run(probe, series)
    lasted_s = (series[-1].at - series[len(series) - run].at).total_seconds()
    if lasted_s < probe.frozen_after_s and run < READINGS_AT_MOST:
        return None
    found = frozen(probe, series)
    return None if found is None else because(Code.PROBE_FROZEN, **found.figures)


def _apart(moment: Moment, fresh: Sequence[Reading]) -> list[Reason]:
    low = min(fresh, key=lambda reading: reading.value)
    high = max(fresh, key=lambda reading: reading.value)
    tolerance = limits_of(moment.machine.limits, low.tank).spread(low.parameter)
    if tolerance is None or high.value - low.value <= tolerance + ROUNDING:
        return []
    apart = because(
        Code.PROBES_APART,
        probes=f"{low.probe}, {high.probe}",
        apart=round(high.value - low.value, 3),
        tolerance=round(tolerance, 3),
    )
    return [apart]


def _against_test(moment: Moment, fresh: Sequence[Reading]) -> list[Reason]:
    if not moment.state.compared:
        return []
    found = (contradicted(moment, reading.probe) for reading in fresh)
    return [reason for reason in found if reason is not None]
