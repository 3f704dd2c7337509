"""Tests and probe days of one parameter, each with its marks.

Floor 8. One subject: what became of each value. Laws here: what is far out is marked
and never left out; outliers are those of one method; two methods that disagree about
one water are both marked, for nobody knows which of them is wrong.
Units: levels canonical.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from math import hypot

from slackwater.assessment.agreement import DISAGREE_SDS, PAIR_WITHIN_DAYS
from slackwater.assessment.practice import home_sd, laboratory_sd
from slackwater.facts.history import ProbeDay
from slackwater.facts.waters import OWN_TESTS_ONLY, MeasurementKept
from slackwater.ledger.measured import Marked
from slackwater.water.show import show_level
from slackwater.water.statistics import median, outliers_hampel1974

# Fewer values show no pattern to stand out from.
FEWEST = 5
OUTLIER = "outlier"
# What changes by the hour is compared over a day, elements as laboratories are.
ONE_DAY = timedelta(days=1)
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
    """The tests in their order, each with its marks.

    Shape: `found` in the order of their times.
    """
    series: dict[tuple[str, str], list[int]] = {}
    for place, one in enumerate(found):
        if not (one.mark or one.kept.censored):
            key = (one.kept.provenance, one.kept.method)
            series.setdefault(key, []).append(place)
    far = {place for places in series.values() for place in _far(found, places)}
    times = [one.kept.taken_at for one in found]

    def near(place: int) -> Sequence[Marked]:
        within = PAIR_WITHIN_DAYS * ONE_DAY
        first = bisect_left(times, times[place] - within)
        return found[first : bisect_right(times, times[place] + within)]

    return [
        TestedRow(
            value=one,
            marks=(*_marks(one, is_far=place in far), *_unlike(one, near(place))),
        )
        for place, one in enumerate(found)
    ]


def _unlike(row: Marked, found: Sequence[Marked]) -> Iterator[str]:
    """The nearest test by another method, where the two cannot both be right."""
    kept = row.kept
    others = [
        one.kept for one in found if not one.mark and _is_comparable(kept, one.kept)
    ]
    near = min(others, key=lambda one: abs(one.taken_at - kept.taken_at), default=None)
    if near is None or row.mark:
        return
    allowed = DISAGREE_SDS * hypot(_sd(kept), _sd(near))
    if abs(kept.value - near.value) > allowed:
        by = near.method or near.provenance
        yield f"unlike {show_level(near.parameter, near.value)} by {by}"


def _is_comparable(kept: MeasurementKept, other: MeasurementKept) -> bool:
    """Whether two tests by different methods speak of one water."""
    ways = {(one.provenance, one.method) for one in (kept, other)}
    own_only = kept.parameter in OWN_TESTS_ONLY
    if len(ways) == 1 or kept.censored or other.censored:
        return False
    if own_only and "lab" in {kept.provenance, other.provenance}:
        return False
    within = ONE_DAY if own_only else PAIR_WITHIN_DAYS * ONE_DAY
    return abs(kept.taken_at - other.taken_at) <= within


def _sd(kept: MeasurementKept) -> float:
    if kept.sd is not None and kept.sd > 0:
        return kept.sd
    if kept.provenance == "lab":
        return laboratory_sd(kept.parameter, kept.value, None)
    return home_sd(kept.parameter, kept.value)


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
