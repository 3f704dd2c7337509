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
from slackwater.assessment.records import Point, Series


@dataclass(frozen=True, slots=True, kw_only=True)
class Salt:
    """The tests of salinity, and what water changes did to it."""

    series: Sequence[Series] = ()
    inflow: Inflow

    def beside(self, at: datetime) -> float | None:
        """The salinity tested nearest to a moment; None where none was tested."""
        near = self._near(at)
        return None if near is None else near.value

    def of_level(self, at: datetime, now: datetime) -> float | None:
        """What belongs to a level of a moment that was carried to now by the books."""
        near = self._near(at)
        if near is None:
            return None
        start = Carried(level=near.value, sd=near.sd, day=day_of(near.at))
        return carried(start, day_of(now), self.inflow, Consumption()).level

    def _near(self, at: datetime) -> Point | None:
        tests = [
            point
            for series in self.series
            for point in series.points
            if point.use == "used" and not point.censored
        ]
        return min(tests, key=lambda point: abs(point.at - at), default=None)
