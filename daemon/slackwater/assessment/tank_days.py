"""The date at a tank: days are told, and tests fall due, by the calendar beside it.

Floor 3. One subject: from a moment to a date. Laws here: the zone is the tank's; what
is reckoned stays in UTC, only what a person reads or waits for is a date.
"""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from slackwater.facts.tank import Tank


def day_at_tank(tank: Tank, utc: datetime) -> date:
    """The date that a calendar beside the tank shows at a moment."""
    return utc.astimezone(ZoneInfo(tank.zone)).date()
