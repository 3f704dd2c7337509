"""What is said of a pump to which alkalinity answers otherwise than believed.

Floor 3. One subject: one notice and its words. Laws here: it points at everything that
would look the same, and asks for the reading that tells them apart; an uptake that fell
is said as that, and not twice.
"""

from collections.abc import Iterator

from slackwater.assessment.picture import Picture
from slackwater.assessment.practice import ALKALINITY
from slackwater.assessment.records import HALF_WIDTH_90, Notice
from slackwater.water.show import show_level


def answer_notice(picture: Picture) -> Iterator[Notice]:
    """The notice, where what was seen is surely not what was believed."""
    found, uptake = picture.answer, picture.uptakes.get(ALKALINITY)
    if found is None or not found.is_found:
        return
    if found.ratio > 1 and uptake is not None and uptake.fell:
        return
    reach = HALF_WIDTH_90 * found.sd
    gives, bottle, takes = ("less", "weaker", "more")
    if found.ratio > 1:
        gives, bottle, takes = ("more", "stronger", "less")
    pumps = " or ".join(found.pumps)
    instead = show_level(ALKALINITY, max(found.instead_per_day, 0.0))
    learned = show_level(ALKALINITY, found.uptake_per_day)
    yield Notice(
        code="pump-answers",
        weight="warning",
        parameter=ALKALINITY,
        text=f"since {picture.day(found.since)} alkalinity answers as if {pumps} gave "
        f"{found.ratio:.2f} of what is believed (90 %: {found.ratio - reach:.2f} to "
        f"{found.ratio + reach:.2f}): the pump gives {gives}, its bottle is {bottle}, "
        f"or the tank takes up {takes}, {instead} a day for {learned}, which would "
        "look the same; read its bottle (`slackwater level`), then measure the pump "
        "(`slackwater calibrate`)",
        figures={
            "pumps": ", ".join(found.pumps),
            "seen_over_believed": round(found.ratio, 2),
            "sd": round(found.sd, 3),
            "uptake_per_day": found.uptake_per_day,
            "uptake_instead_per_day": found.instead_per_day,
        },
    )
