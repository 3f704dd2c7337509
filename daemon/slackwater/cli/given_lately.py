"""What a pump gave in the last 24 hours, beside the bottle it gave it from.

Floor 8. One subject: an answer that cannot be right. Laws here: more than a bottle
holds is asked about, because a slip of the unit looks like it and stands in the ledger
for good; whoever knows no better figure says so, and then the caps are used up for a
day.
"""

from slackwater.errors import Finding, InputError
from slackwater.water.show import show_volume


def within_bottle(volume_ul: int, bottle_ul: int, place: str, unknown: str) -> int:
    """The same volume, where its bottle can have held it.

    Shape: `place` names the answer, `unknown` is how one says that nobody knows.
    Raises: InputError.
    """
    if volume_ul <= bottle_ul:
        return volume_ul
    bottle = show_volume(bottle_ul)
    raise InputError(
        Finding(
            what=f"{show_volume(volume_ul)} in 24 hours out of a bottle of {bottle}",
            where=place,
            expected=f"at most {bottle}",
            do=f"Check the figure and its unit. If so much was given, {unknown}: the "
            "daily caps then stay used up for 24 hours.",
        )
    )
