"""Pictures of a tank made by hand, for what looks at pictures.

All figures are invented.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from slackwater.assessment.picture import Picture
from slackwater.assessment.practice import band_of, shelf_days, stop_above
from slackwater.assessment.records import Point, Series, Standing, TraceStanding
from slackwater.assessment.trace_bands import likely_sources, trace_band
from slackwater.facts.history import History
from slackwater.facts.tank import Machine
from slackwater.water.parameters import PARAMETERS
from tests.assessment.past import DKH, NOW, ago, history, machine


def stands(parameter: str, level: float | None, **other: object) -> Standing:
    """A standing of yesterday; None: never tested."""
    tank = machine().tanks["reef"]
    given: dict[str, object] = {
        "parameter": parameter,
        "word": "unknown" if level is None else "in band",
        "confidence": "none" if level is None else "good",
        "band": band_of(parameter, tank),
        "shelf_days": shelf_days(parameter),
        "stop_above": stop_above(parameter, tank),
        "natural": PARAMETERS[parameter].natural,
    }
    if level is not None:
        given |= {
            "provenance": "hand",
            "method": "drops",
            "sampled_at": ago(1),
            "age_days": 1.0,
            "sampled": level,
            "sampled_sd": 0.01 * level,
            "level": level,
            "level_sd": 0.01 * level,
        }
    return Standing(**{**given, **other})  # type: ignore[arg-type]  # any field


def seen(parameter: str, value: float, **other: object) -> TraceStanding:
    """A trace of three weeks ago, in the stage its value is in."""
    band = trace_band(parameter, 0.5)
    stage = "act" if value >= band.act else "watch" if value >= band.watch else "usual"
    given: dict[str, object] = {
        "parameter": parameter,
        "stage": stage,
        "value": value,
        "at_most": value,
        "sampled_at": ago(21),
        "age_days": 21.0,
        "natural": PARAMETERS[parameter].natural,
        "limit": 0.5,
        "watch": band.watch,
        "act": band.act,
        "bands_source": band.source,
        "sources": likely_sources(parameter),
    }
    return TraceStanding(**{**given, **other})  # type: ignore[arg-type]  # any field


def drops(parameter: str, *values: float, last: str = "used") -> Series:
    """Daily drops tests until yesterday; the newest one with a mark."""
    points = [
        Point(at=ago(len(values) - place), value=value, sd=0.01, raw=value)
        for place, value in enumerate(values)
    ]
    points[-1] = replace(points[-1], use=last)  # type: ignore[arg-type]  # a mark
    return Series(
        parameter=parameter, provenance="hand", method="drops", points=tuple(points)
    )


# What a tank has that needs nothing.
WELL: Mapping[str, float] = {
    "alkalinity": 8.2 * DKH,
    "salinity": 35.0,
    "temperature": 25.0,
    "calcium": 425.0,
    "magnesium": 1320.0,
    "nitrate": 5.0,
    "phosphate": 0.05,
    "potassium": 400.0,
    "ph": 8.2,
}


def picture(
    levels: Mapping[str, float | None] | None = None,
    *,
    standings: Sequence[Standing] = (),
    traces: Sequence[TraceStanding] = (),
    past: History | None = None,
    made: Machine | None = None,
    **other: object,
) -> Picture:
    """A tank that is well, but for these levels."""
    made = made or machine()
    found = {
        name: stands(name, level) for name, level in {**WELL, **(levels or {})}.items()
    }
    given: dict[str, object] = {
        "machine": made,
        "history": past or history(),
        "now": NOW,
        "dosed": frozenset({"alkalinity", "calcium"}),
        "standings": {**found, **{one.parameter: one for one in standings}},
        "traces": {one.parameter: one for one in traces},
    }
    return Picture(**{**given, **other})  # type: ignore[arg-type]  # any field
