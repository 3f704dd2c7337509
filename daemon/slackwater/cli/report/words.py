"""Figures of a report in words.

Floor 8. One subject: how a figure reads. Laws here: a level is told in the unit people
use; three digits are enough for what is forecast; a rounded figure is never written as
0 when it is not.
Units: levels and rates canonical.
"""

from datetime import datetime
from fractions import Fraction
from zoneinfo import ZoneInfo

from slackwater.water.parameters import parameter_named
from slackwater.water.show import show_figure, show_level, show_seconds
from slackwater.water.spellings import units_of

LONG_HOURS = 72


def number(value: float) -> str:
    """Three digits, without an exponent."""
    return show_figure(value)


def in_unit(parameter: str, value: float) -> float:
    """A canonical level or difference in the unit people use."""
    item = parameter_named(parameter, where="")
    return float(Fraction(value) / units_of(item)[item.display_unit])


def unit_of(parameter: str) -> str:
    """The unit people use."""
    return parameter_named(parameter, where="").display_unit


def level_words(parameter: str, level: float) -> str:
    """A level with its unit, such as "8.20 dKH"."""
    return show_level(parameter, level)


def shown_level(parameter: str, value: float) -> str:
    """A level that stands in the unit people use, with the digits it is read with."""
    return f"{shown_figure(parameter, value)} {unit_of(parameter)}"


def shown_figure(parameter: str, value: float) -> str:
    """The same without its unit."""
    return f"{value:.{parameter_named(parameter, where='').decimals}f}"


def rate_words(parameter: str, per_day: float) -> str:
    """A rate a day with its unit, such as "1.2 dKH"."""
    return f"{number(in_unit(parameter, per_day))} {unit_of(parameter)}"


def hours_words(hours: float) -> str:
    """Hours below three days, days beyond."""
    if hours < LONG_HOURS:
        return f"{number(hours)} h"
    return f"{number(hours / 24)} days"


def seconds_words(seconds: float) -> str:
    """Seconds below two minutes, then minutes, from three hours on hours."""
    return show_seconds(seconds)


def day_words(utc: datetime, zone: str) -> str:
    """The local date of a moment."""
    return utc.astimezone(ZoneInfo(zone)).date().isoformat()
