"""Tests and probe days of one parameter, each with its marks.

Floor 8. One subject: what became of each value. Laws here: what is far out is marked
and never left out; only values of one method are compared with each other.
Units: levels canonical.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from slackwater.assessment.practice import home_sd
from slackwater.facts.history import ProbeDay
from slackwater.ledger.measured import Marked
from slackwater.water.statistics import median, outliers_hampel1974

# Fewer values show no pattern to stand out from.
FEWEST = 5
OUTLIER = "outlier"
# Where nobody says how well a test repeats.
_LEAST_SD = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class TestedRow:
    """One test with its marks."""

    value: Marked
    marks: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeRow:
    """One day of a probe, marked where it stands out."""

    value: ProbeDay
    marks: tuple[str, ...]


def tested_rows(found: Sequence[Marked]) -> list[TestedRow]:
    """The tests in their order, each with its marks."""
    series: dict[tuple[str, str], list[int]] = {}
    for place, one in enumerate(found):
        if not (one.mark or one.kept.censored):
            key = (one.kept.provenance, one.kept.method)
            series.setdefault(key, []).append(place)
    far = {place for places in series.values() for place in _far(found, places)}
    return [
        TestedRow(value=one, marks=tuple(_marks(one, is_far=place in far)))
        for place, one in enumerate(found)
    ]


def probe_rows(days: Sequence[ProbeDay]) -> list[ProbeRow]:
    """The days of probes in order of time, medians that stand out marked."""
    far: set[int] = set()
    for probe in {day.probe for day in days}:
        places = [place for place, day in enumerate(days) if day.probe == probe]
        values = [days[place].median for place in places]
        far.update(places[one] for one in _outliers(days[0].parameter, values))
    return [
        ProbeRow(value=day, marks=(OUTLIER,) if place in far else ())
        for place, day in enumerate(days)
    ]


def _far(found: Sequence[Marked], places: Sequence[int]) -> Iterator[int]:
    values = [found[place].kept.value for place in places]
    parameter = found[places[0]].kept.parameter
    yield from (places[one] for one in _outliers(parameter, values))


def _outliers(parameter: str, values: Sequence[float]) -> tuple[int, ...]:
    if len(values) < FEWEST:
        return ()
    # A series that repeats itself must not make the next figure an outlier.
    sd = home_sd(parameter, median(values))
    return outliers_hampel1974(values, sd_floor=max(sd, _LEAST_SD))


def _marks(one: Marked, *, is_far: bool) -> Iterator[str]:
    if one.mark == "superseded":
        yield f"superseded by {one.by}"
    if one.mark == "struck":
        yield f"struck by {one.by}: {one.why}"
    if one.kept.supersedes:
        yield f"corrects {one.kept.supersedes}"
    if is_far:
        yield OUTLIER
    if one.kept.confirmed:
        yield "confirmed"
