"""Tests by hand in a rehearsed house.

Floor 6. One subject: a test of alkalinity as an entry. Laws here: it is written as a
person would write it, and says nothing that the house does not know.
"""

from datetime import datetime

from slackwater.facts.waters import MeasurementKept
from slackwater.rehearsal.faults.case import Target
from slackwater.rehearsal.faults.house import House
from slackwater.rehearsal.virtual_tank import ALKALINITY


def tested(
    house: House, target: Target, *, value: float, taken_at: datetime
) -> MeasurementKept:
    """A test of the target's tank, in meq/L."""
    return MeasurementKept(
        **house.stamp(),
        id="m-rehearsal",
        tank=target.tank,
        parameter=ALKALINITY,
        value=value,
        typed="",
        taken_at=taken_at,
        provenance="hand",
        by="keeper",
    )
