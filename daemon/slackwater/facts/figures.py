"""Figures of reasons and alarms in words, in the units people use.

Floor 2. One subject: how a figure reads by its name. Laws here: the end of a name says
its unit; a level stands in the unit it was stated in, never in the one it is computed
in; what has no unit of its own is shown as it is.
"""

from collections.abc import Callable

from slackwater.facts.charging import ALKALINITY
from slackwater.facts.reasons import Figure
from slackwater.water.show import show_level, show_seconds, show_volume

CHANCE = "chance"
A_MILLION = 1_000_000


def figure_words(name: str, value: Figure) -> str:
    """One figure with its name, such as "ceiling 9.50 dKH"."""
    if name == CHANCE and isinstance(value, float):
        return _chance(value)
    suffix = next((end for end in _UNITS if name.endswith(end)), "")
    subject = _plain(name.removesuffix(suffix))
    if suffix and isinstance(value, int | float):
        return f"{subject} {_UNITS[suffix](value)}"
    return f"{subject} {_plain(value)}"


def _plain(word: Figure) -> str:
    if isinstance(word, bool):
        return "yes" if word else "no"
    return "unknown" if word is None else str(word).replace("_", " ")


def _level(value: float) -> str:
    return show_level(ALKALINITY, value)


def _volume(value: float) -> str:
    return show_volume(round(value))


def _milliseconds(value: float) -> str:
    return show_seconds(value / 1000)


def _minutes(value: float) -> str:
    return show_seconds(value * 60)


def _chance(value: float) -> str:
    """How seldom chance alone does it; smaller than one in a million says no more."""
    if value * A_MILLION < 1:
        return "by chance less than once in a million times"
    return f"by chance once in {round(1 / value)} times"


def _with(unit: str) -> Callable[[float], str]:
    def shown(value: float) -> str:
        return f"{value:.10g} {unit}"

    return shown


# The ends of figure names, the longest first where one ends like another.
_UNITS: dict[str, Callable[[float], str]] = {
    "_meq_per_l": _level,
    "_ul": _volume,
    "_percent": _with("%"),
    "_bytes": _with("bytes"),
    "_days": _with("days"),
    "_dkh": _with("dKH"),
    "_min": _minutes,
    "_ms": _milliseconds,
    "_s": show_seconds,
    "_h": _with("h"),
}
