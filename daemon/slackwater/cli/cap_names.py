"""Caps of the file by the names people give them.

Floor 8. One subject: the words of a cap that is lower than approved. Laws here: a place
that has no name here is shown as it is; volumes stand with their unit, and what is
counted in an inner unit stands without a figure.
"""

from collections.abc import Mapping

from slackwater.water.show import show_volume

_FIELDS = {
    "per_dose_ul": "most per dose",
    "per_hour_ul": "most per hour",
    "per_day_ul": "most per day",
    "per_calibration_ul": "most per calibration",
    "per_priming_ul": "most per priming",
    "per_hand_ul": "most by hand",
    "day_limit_ul": "limit of a day",
    "cut_limit_ms": "longest run",
    "gross": "most to pour in a day",
    "net_rise": "most to climb in a day",
    "ceiling": "alkalinity ceiling",
    "rise": "alkalinity rise",
}
_TANKS = frozenset({"cap", "limit"})


def lowered_words(caps: Mapping[str, float]) -> str:
    """The first of the lowered caps, and how many more there are; never empty caps.

    Shape: places such as `pump/carbonate/per_day_ul` with what counts.
    """
    place = min(caps)
    more = f" and {len(caps) - 1} more" if len(caps) > 1 else ""
    return f"{cap_name(place)}{_amount(place, caps[place])}{more}"


def cap_name(place: str) -> str:
    """A place such as `pump/carbonate/per_day_ul` as people call it."""
    kind, *names, field = place.split("/")
    if not names:
        return place
    owner = "tank" if kind in _TANKS else kind
    return f"{' '.join((owner, *names))}, {_FIELDS.get(field, field.replace('_', ' '))}"


def _amount(place: str, amount: float) -> str:
    return f" {show_volume(int(amount))}" if place.endswith("_ul") else ""
