"""History → assessment: where a tank stands, what is doubtful, what to do.

Floor 3. One subject: the order in which things are found. Laws here: equal inputs give
equal assessments; only the windows that are needed are looked at; nothing is dosed,
corrected or changed from here.
"""

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from slackwater.assessment.agreement import Agreement, agreements
from slackwater.assessment.answering import Answer, answer_of
from slackwater.assessment.beginning import (
    evidence_begins,
    known_inflow,
    tests_before,
)
from slackwater.assessment.blocks import blocks
from slackwater.assessment.carbonate_state import carbonate_state
from slackwater.assessment.cleaning import cleaned
from slackwater.assessment.coherence import calcification_check, report_checks
from slackwater.assessment.excess import Bounded, bound_of, held_to
from slackwater.assessment.inflow import Inflow, inflows
from slackwater.assessment.metal_advice import metal_advice
from slackwater.assessment.notices import notices
from slackwater.assessment.picture import Picture
from slackwater.assessment.practice import (
    ALKALINITY,
    CONSUMED,
    CORE,
    SALINITY,
)
from slackwater.assessment.records import (
    Advice,
    Assessment,
    Check,
    Series,
    Standing,
    TraceStanding,
    UptakeFound,
)
from slackwater.assessment.salting import Salt
from slackwater.assessment.series import series_of
from slackwater.assessment.standing import Scene, consumption_of, standing
from slackwater.assessment.testing import advice_to_test, missing_tests
from slackwater.assessment.todo import todo
from slackwater.assessment.trace_bands import is_trace
from slackwater.assessment.traces import Seen, trace_standing
from slackwater.assessment.unconfirmed import unconfirmed
from slackwater.assessment.uptakes import WINDOW_DAYS, Evidence, marked, uptake_found
from slackwater.assessment.water_advice import water_advice
from slackwater.errors import Finding, InputError
from slackwater.facts.history import History
from slackwater.facts.tank import Machine
from slackwater.facts.waters import OWN_TESTS_ONLY
from slackwater.water.parameters import PARAMETERS

# Two laboratory samples a season, so that one can confirm the other.
LOOK_BACK_DAYS = 365.0
CALCIUM = "calcium"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """What was found so far; each map by parameter."""

    machine: Machine
    history: History
    now: datetime
    series: Mapping[str, tuple[Series, ...]]
    inflows: Mapping[str, Inflow]
    uptakes: Mapping[str, UptakeFound]
    dosed: frozenset[str]

    def begins(self, parameter: str) -> datetime | None:
        """From when on what came in of a parameter is known."""
        return evidence_begins(self.history, self.machine, self.inflows[parameter])

    def bounded(self, parameter: str) -> Bounded:
        """The tests of a parameter beside the level above which nothing is raised."""
        bound = bound_of(parameter, self.machine, self.history.tank)
        tank = self.machine.tanks[self.history.tank]
        series = self.series[parameter]
        return Bounded(
            tank=tank, series=series, bound=bound, now=self.now, salt=self.salt
        )

    @property
    def salt(self) -> Salt:
        """The tests of salinity."""
        return Salt(series=self.series[SALINITY], inflow=self.inflows[SALINITY])

    def scene(self, parameter: str) -> Scene:
        """The scene of one parameter, before laboratory and salinity are known."""
        return Scene(
            tank=self.machine.tanks[self.history.tank],
            history=self.history,
            now=self.now,
            series=self.series[parameter],
            inflow=self.inflows[parameter],
            uptake=self.uptakes.get(parameter),
        )


def assess(history: History, machine: Machine, tank: str, now: datetime) -> Assessment:
    """Where a tank stands at a moment.

    Range: the history is that of the tank.
    Raises: InputError for a tank that the machine does not have, or another's history.
    """
    if tank not in machine.tanks or history.tank != tank:
        raise InputError(_not_this_tank(history, machine, tank))
    recent = _recent(history, now)
    dosed = _dosed(recent, machine, now)
    found = _found(recent, machine, dosed, now)
    agreed = {
        parameter: agreements(
            found.series[parameter],
            recent,
            found.inflows[parameter],
            consumption_of(found.scene(parameter)),
        )
        for parameter in found.series
    }
    standings = _standings(found, agreed)
    picture = Picture(
        machine=machine,
        history=recent,
        now=now,
        dosed=dosed,
        before=_before(found),
        series=found.series,
        standings=standings,
        uptakes=found.uptakes,
        traces=_traces(found),
        agreements={name: one for name, one in agreed.items() if one},
        checks=_checks(found),
        answer=_answer(found),
    )
    return _assessment(picture)


def _assessment(picture: Picture) -> Assessment:
    told = notices(picture)
    advice = tuple(_advice(picture))
    return Assessment(
        tank=picture.tank.id,
        at=picture.now,
        todo=todo(picture, told, advice),
        standings=picture.standings,
        uptakes=picture.uptakes,
        traces=picture.traces,
        carbonate=carbonate_state(picture),
        checks=picture.checks,
        notices=told,
        blocks=blocks(picture),
        missing=missing_tests(picture),
        advice=advice,
        series=tuple(one for each in picture.series.values() for one in each),
        unconfirmed=unconfirmed(picture),
    )


def _before(found: _Found) -> dict[str, int]:
    since = found.now - timedelta(days=WINDOW_DAYS)
    return {
        name: tests_before(found.series[name], since, found.begins(name))
        for name in found.series
        if name in CONSUMED or name in found.dosed
    }


def _recent(history: History, now: datetime) -> History:
    """The part of the past that anything here looks at."""
    since = now - timedelta(days=LOOK_BACK_DAYS)
    return replace(
        history,
        since=max(history.since, since),
        measurements=tuple(
            one for one in history.measurements if since <= one.taken_at <= now
        ),
        reports=tuple(one for one in history.reports if since <= one.sampled_at <= now),
        changes=tuple(one for one in history.changes if one.changed_at <= now),
        probe_days=tuple(one for one in history.probe_days if since <= one.at <= now),
    )


def _dosed(history: History, machine: Machine, now: datetime) -> frozenset[str]:
    by_pumps = {
        parameter
        for pump in machine.pumps.values()
        if pump.tank == history.tank
        for parameter in machine.solutions[pump.solution].effects
    }
    since = now - timedelta(days=WINDOW_DAYS)
    first = bisect_left(history.deliveries, since, key=lambda one: one.at)
    delivered = {
        parameter for one in history.deliveries[first:] for parameter in one.amounts
    }
    # A ledger outlives the version that wrote it, and its names.
    return frozenset((by_pumps | delivered) & PARAMETERS.keys())


def _found(
    history: History, machine: Machine, dosed: frozenset[str], now: datetime
) -> _Found:
    tested = {one.parameter for one in history.measurements}
    tested |= {one.parameter for one in history.probe_days}
    tank = machine.tanks[history.tank]
    wanted = {*CORE, *dosed, *tested, *tank.targets}
    # Sorted, so that equal histories give equal assessments; carbon is not tested.
    parameters = [
        name for name in PARAMETERS if name in wanted and PARAMETERS[name].is_measured
    ]
    since = history.since
    came = {
        name: known_inflow(history, machine, one)
        for name, one in inflows(
            history, machine, parameters, since=since, now=now
        ).items()
    }
    series = {
        name: tuple(cleaned(one, came[name]) for one in series_of(history, name, now))
        for name in parameters
    }
    uptakes = {}
    for name in parameters:
        if name in CONSUMED or name in dosed:
            evidence = Evidence(
                history=history, machine=machine, inflow=came[name], now=now
            )
            uptake = uptake_found(_speaking(series[name]), evidence)
            if uptake is not None:
                uptakes[name] = uptake
                series[name] = marked(series[name], uptake)
    return _Found(
        machine=machine,
        history=history,
        now=now,
        series=series,
        inflows=came,
        uptakes=uptakes,
        dosed=dosed,
    )


def _speaking(all_series: Sequence[Series]) -> list[Series]:
    """The series that may decide: no posted sample for what changes in the post."""
    return [
        one
        for one in all_series
        if one.provenance != "lab" or one.parameter not in OWN_TESTS_ONLY
    ]


def _standings(
    found: _Found, agreed: Mapping[str, Mapping[tuple[str, str], Agreement]]
) -> dict[str, Standing]:
    salt = standing(found.scene(SALINITY))
    salinity = None if salt.word == "too old" else salt.level
    return {
        name: held_to(
            standing(
                replace(
                    found.scene(name),
                    agreements=agreed[name],
                    salinity=salinity,
                    salt=found.salt,
                )
            ),
            found.bounded(name),
        )
        for name in found.series
    }


def _traces(found: _Found) -> dict[str, TraceStanding]:
    seen = Seen(
        history=found.history,
        series=found.series,
        inflows=found.inflows,
        proven={
            name: one.low_per_day for name, one in found.uptakes.items() if one.enough
        },
        now=found.now,
        bands=found.machine.tanks[found.history.tank].bands,
    )
    judged = {
        name: trace_standing(name, seen) for name in found.series if is_trace(name)
    }
    return {name: one for name, one in judged.items() if one is not None}


def _answer(found: _Found) -> Answer | None:
    """What the method that tells the uptake of alkalinity says of its pumps."""
    told = found.uptakes.get(ALKALINITY)
    speaking = (
        series
        for series in found.series.get(ALKALINITY, ())
        if told is not None
        and (series.provenance, series.method) == (told.provenance, told.method)
    )
    series = max(speaking, key=lambda one: len(one.points), default=None)
    if series is None:
        return None
    inflow = found.inflows[ALKALINITY]
    return answer_of(series, inflow, found.history, found.machine)


def _checks(found: _Found) -> tuple[Check, ...]:
    since = found.now - timedelta(days=WINDOW_DAYS)
    known = [found.begins(name) or since for name in (CALCIUM, ALKALINITY)]
    since = max(since, *known)
    both = calcification_check(
        (_since(found.series[CALCIUM], since), found.inflows[CALCIUM]),
        (_since(found.series[ALKALINITY], since), found.inflows[ALKALINITY]),
    )
    # A report is held against the water that it is of.
    reports = found.history.reports
    salinity = found.salt.at_home(reports[-1].sampled_at) if reports else None
    checks = report_checks(found.history, salinity)
    return (*(() if both is None else (both,)), *checks)


def _since(all_series: Sequence[Series], since: datetime) -> list[Series]:
    return [
        replace(one, points=tuple(point for point in one.points if point.at >= since))
        for one in all_series
    ]


def _advice(picture: Picture) -> Iterator[Advice]:
    """Everything to do, the most urgent first, each remedy once for a parameter."""
    every = [
        *metal_advice(picture),
        *water_advice(picture),
        *advice_to_test(picture),
    ]
    told = set()
    for one in sorted(every, key=lambda one: (one.rank, one.parameter, one.remedy)):
        if (one.remedy, one.parameter) not in told:
            told.add((one.remedy, one.parameter))
            yield one


def _not_this_tank(history: History, machine: Machine, tank: str) -> Finding:
    return Finding(
        what=f"the tank {tank!r} with the history of {history.tank!r}",
        where="",
        expected=f"one of {', '.join(sorted(machine.tanks))} with its own history",
        do="Name a tank of the machine.",
    )
