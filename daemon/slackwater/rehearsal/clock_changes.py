"""When the clocks of a zone change next, each way.

Floor 6. One subject: the two days of a year on which an hour is missing or twice there.
Laws here: a day is told by its length, so that any change counts, of an hour or not.
"""

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Literal

from slackwater.planning.days import DAY_S, ONE_DAY
from slackwater.planning.wall import reached_s, zone_named

Way = Literal["forward", "back"]
# A year and a month: every zone that changes at all changes within it.
LOOKED_AT_DAYS = 400


def next_changes(zone_name: str, first: date) -> Mapping[Way, date]:
    """The first local day on or after another that is short, and the first long one.

    Shape: a way in which the zone never changes is not there.
    Raises: InputError for an unknown zone.
    """
    zone = zone_named(zone_name)
    found: dict[Way, date] = {}
    for offset in range(LOOKED_AT_DAYS):
        day = first + timedelta(days=offset)
        length_s = reached_s(zone, day + ONE_DAY, 0) - reached_s(zone, day, 0)
        if length_s != DAY_S:
            found.setdefault("forward" if length_s < DAY_S else "back", day)
    return found
