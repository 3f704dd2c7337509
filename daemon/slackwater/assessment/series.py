"""Test results → one series for each method, ready to be compared.

Floor 3. One subject: series. Laws here: replicates within half an hour are one test
where they agree, and where they do not the highest of them, which waits for a retest;
the bias of a kit is known by method and lot, taken off and shown; two methods, and two
lots whose bias nobody tried, are never in one series; what was superseded is left out;
nothing from after `now` counts.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from math import sqrt

from slackwater.assessment.practice import floor_sd, home_sd, laboratory_sd
from slackwater.assessment.records import Point, Series, Single
from slackwater.facts.history import History
from slackwater.facts.waters import ONE_WATER, MeasurementKept, Provenance
from slackwater.water.show import show_level

REPLICATES_WITHIN = ONE_WATER
# Replicates further apart than so many standard deviations are no replicates.
REPLICATES_APART_SDS = 3.0
# A day of a probe stands in its middle.
_LABORATORY = "laboratory"
# Stands for every lot whose bias is known: these are joined.
_KNOWN_LOTS = "\0known"


@dataclass(frozen=True, slots=True, kw_only=True)
class Bias:
    """What a kit reads too high, from checks on a standard."""

    value: float
    sd: float
    checks: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _Reading:
    at: datetime
    value: float
    sd: float
    one_sd: float
    entry: str
    spread: float
    censored: bool


_Key = tuple[Provenance, str, str]


def kit_biases(history: History, parameter: str) -> Mapping[tuple[str, str], Bias]:
    """The bias of each method and lot that was tried on a standard."""
    found: dict[tuple[str, str], list[float]] = defaultdict(list)
    sds: dict[tuple[str, str], float] = {}
    for check in history.standards:
        if check.parameter == parameter:
            key = check.method, check.lot
            found[key].append(check.found - check.expected)
            sds[key] = home_sd(parameter, check.expected)
    return {
        key: Bias(
            value=sum(differences) / len(differences),
            sd=sds[key] / sqrt(len(differences)),
            checks=len(differences),
        )
        for key, differences in found.items()
    }


def series_of(history: History, parameter: str, now: datetime) -> tuple[Series, ...]:
    """Every series of one parameter, sorted by provenance, method and lot.

    Shape: each has at least one point. Units: canonical.
    """
    biases = kit_biases(history, parameter)
    gathered: dict[_Key, list[tuple[_Reading, Bias | None]]] = defaultdict(list)
    for one in _standing(history, parameter, now):
        bias = biases.get((one.method, one.lot)) if one.provenance == "hand" else None
        gathered[_key(one, bias, history)].append((_reading(one, history), bias))
    made = [
        Series(
            parameter=parameter,
            provenance=provenance,
            method=method,
            lot="" if lot == _KNOWN_LOTS else lot,
            points=_waiting(tuple(_points(parameter, readings))),
        )
        for (provenance, method, lot), readings in sorted(gathered.items())
    ]
    return (*made, *_probe_series(history, parameter, now))


def without_bias(
    history: History, parameter: str, now: datetime
) -> MeasurementKept | None:
    """The newest hand test, where a bias is known of another method or lot only."""
    biases = kit_biases(history, parameter)
    by_hand = [
        one for one in _standing(history, parameter, now) if one.provenance == "hand"
    ]
    newest = max(by_hand, key=lambda one: one.taken_at, default=None)
    if newest is None or not biases or (newest.method, newest.lot) in biases:
        return None
    return newest


def quantification_limit(history: History, parameter: str) -> float | None:
    """The newest limit that a laboratory states for a parameter."""
    for report in reversed(history.reports):
        if parameter in report.limits:
            return report.limits[parameter]
    return None


def far_replicates(
    history: History, parameter: str, now: datetime
) -> tuple[MeasurementKept, ...]:
    """Averaged tests whose replicates lie too far apart to be one value."""
    return tuple(
        one
        for one in _standing(history, parameter, now)
        if (one.spread or 0.0) > REPLICATES_APART_SDS * _sd_of_one(one, history)
    )


def apart_words(parameter: str, point: Point) -> str:
    """Readings that contradict each other, in the order of their size, each once."""
    levels = sorted(one.value for one in point.singles)
    return " and ".join(dict.fromkeys(show_level(parameter, one) for one in levels))


def _standing(
    history: History, parameter: str, now: datetime
) -> Iterator[MeasurementKept]:
    gone = {one.supersedes for one in history.measurements if one.supersedes}
    for one in history.measurements:
        if one.parameter == parameter and one.taken_at <= now and one.id not in gone:
            yield one


def _key(one: MeasurementKept, bias: Bias | None, history: History) -> _Key:
    if one.provenance == "lab":
        return "lab", one.method or _laboratory(one, history), ""
    return one.provenance, one.method, _KNOWN_LOTS if bias else one.lot


def _laboratory(one: MeasurementKept, history: History) -> str:
    for report in history.reports:
        if report.report == one.report and report.laboratory:
            return report.laboratory
    return _LABORATORY


def _reading(one: MeasurementKept, history: History) -> _Reading:
    sd = max(
        _sd_of_one(one, history) / sqrt(one.replicates),
        floor_sd(one.parameter) / sqrt(2),
    )
    value = one.value
    if one.censored:
        # Anything from nothing to the limit, each as likely.
        value, sd = one.value / 2, one.value / sqrt(12)
    return _Reading(
        at=one.taken_at,
        value=value,
        sd=sd,
        one_sd=_sd_of_one(one, history),
        entry=one.id,
        spread=one.spread or 0.0,
        censored=one.censored,
    )


def _sd_of_one(one: MeasurementKept, history: History) -> float:
    if one.sd is not None and one.sd > 0:
        return one.sd
    if one.provenance == "lab":
        limit = quantification_limit(history, one.parameter)
        return laboratory_sd(one.parameter, one.value, limit)
    return home_sd(one.parameter, one.value)


def _points(
    parameter: str, readings: Iterable[tuple[_Reading, Bias | None]]
) -> Iterator[Point]:
    """At least one reading makes at least one point."""
    together: list[tuple[_Reading, Bias | None]] = []
    for reading, bias in sorted(readings, key=lambda pair: pair[0].at):
        if together and reading.at - together[0][0].at > REPLICATES_WITHIN:
            yield _averaged(parameter, together)
            together = []
        together.append((reading, bias))
    yield _averaged(parameter, together)


def _waiting(points: tuple[Point, ...]) -> tuple[Point, ...]:
    """Of readings that contradict each other nobody knows which is wrong."""
    last = len(points) - 1
    return tuple(
        replace(one, use="held" if place == last else "outlier") if one.apart else one
        for place, one in enumerate(points)
    )


def _averaged(parameter: str, together: list[tuple[_Reading, Bias | None]]) -> Point:
    count = len(together)
    singles = _singles(together)
    levels = [one.value for one in singles]
    spread = max(levels, default=0.0) - min(levels, default=0.0)
    one_sd = max(reading.one_sd for reading, _ in together)
    if spread > REPLICATES_APART_SDS * one_sd:
        return _highest(spread, together, singles)
    raw = sum(reading.value for reading, _ in together) / count
    bias = sum(found.value if found else 0.0 for _, found in together) / count
    sd = sqrt(sum(reading.sd**2 for reading, _ in together)) / count
    return Point(
        at=together[-1][0].at,
        value=raw - bias,
        sd=max(sd, floor_sd(parameter) / sqrt(2)),
        raw=raw,
        bias=bias,
        bias_sd=max(found.sd if found else 0.0 for _, found in together),
        censored=all(reading.censored for reading, _ in together),
        entries=tuple(reading.entry for reading, _ in together),
        singles=singles if count > 1 else (),
    )


def _singles(together: list[tuple[_Reading, Bias | None]]) -> tuple[Single, ...]:
    """Every reading that is no limit."""
    return tuple(
        Single(at=reading.at, value=_less_bias(reading, bias))
        for reading, bias in together
        if not reading.censored
    )


def _highest(
    spread: float,
    together: list[tuple[_Reading, Bias | None]],
    singles: tuple[Single, ...],
) -> Point:
    """The highest of readings that contradict each other: too much stops."""
    seen = [pair for pair in together if not pair[0].censored]
    reading, bias = max(seen, key=lambda pair: _less_bias(*pair))
    return Point(
        at=together[-1][0].at,
        value=_less_bias(reading, bias),
        sd=spread,
        raw=reading.value,
        bias=bias.value if bias else 0.0,
        bias_sd=bias.sd if bias else 0.0,
        entries=tuple(one.entry for one, _ in together),
        singles=singles,
        apart=True,
    )


def _less_bias(reading: _Reading, bias: Bias | None) -> float:
    return reading.value - (bias.value if bias else 0.0)


def _probe_series(history: History, parameter: str, now: datetime) -> Iterator[Series]:
    days: dict[str, list[Point]] = defaultdict(list)
    for day in history.probe_days:
        if day.parameter == parameter and day.at <= now:
            days[day.probe].append(
                Point(
                    at=min(day.centre, now),
                    value=day.median,
                    sd=max(floor_sd(parameter), 1e-12),
                    raw=day.median,
                )
            )
    for probe, points in sorted(days.items()):
        yield Series(
            parameter=parameter, provenance="probe", method=probe, points=tuple(points)
        )
