"""The salinity that a test of an element belongs to.

Floor 3. One subject: salinity beside a test. Laws here: what keeps its proportion is
brought to salinity 35 by the salinity of its own water, never by that of another day;
a change of water that was tested moves both alike.
Units: practical salinity.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from slackwater.assessment.carrying import Carried, Consumption, carried
from slackwater.assessment.inflow import Inflow, day_of
from slackwater.assessment.practice import SALINITY, shelf_days
from slackwater.assessment.records import Point, Series


@dataclass(frozen=True, slots=True, kw_only=True)
class Salt:
    """The tests of salinity, and what water changes did to it."""

    series: Sequence[Series] = ()
    inflow: Inflow

    def beside(self, at: datetime) -> float | None:
        """The salinity tested nearest to a moment; None where none was tested."""
        near = _near(self.series, at)
        return None if near is None else near.value

    def of_level(self, at: datetime, now: datetime) -> float | None:
        """What belongs to a level of a moment that was carried to now by the books."""
        near = _near(self.series, at)
        if near is None:
            return None
        start = Carried(level=near.value, sd=near.sd, day=day_of(near.at))
        return carried(start, day_of(now), self.inflow, Consumption()).level

    def at_home(self, at: datetime) -> float | None:
        """The salinity of a moment by no laboratory; None where none counts for it."""
        near = _near([one for one in self.series if one.provenance != "lab"], at)
        if near is None or abs(day_of(near.at) - day_of(at)) > shelf_days(SALINITY):
            return None
        return near.value


def _near(all_series: Sequence[Series], at: datetime) -> Point | None:
    tests = [
        point
        for series in all_series
        for point in series.points
        if point.use == "used" and not point.censored
    ]
    return min(tests, key=lambda point: abs(point.at - at), default=None)
