"""Reasons for people: the sentence, and its figures in the units they use.

Floor 8. One subject: the words of a reason. Laws here: a level stands in the unit it
was stated in, never in the one it is computed in; what has no unit of its own is shown
as it is; nothing here loads the settings, because a status does without them.
"""

from collections.abc import Callable

from slackwater.facts.reasons import Figure, Reason
from slackwater.planning.daily import ALKALINITY
from slackwater.water.show import show_level, show_volume


def reason_words(reason: Reason) -> str:
    """A reason's sentence with its figures in brackets."""
    told = [figure_words(name, value) for name, value in reason.figures.items()]
    if not told:
        return reason.text
    return f"{reason.text.removesuffix('.')} ({', '.join(told)})."


def figure_words(name: str, value: Figure) -> str:
    """One figure with its name, such as "ceiling 9.50 dKH"."""
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
    "_min": _with("min"),
    "_ms": _with("ms"),
    "_s": _with("s"),
}
