"""Tests entered from afar, as an assessment shows them.

Floor 3. One subject: what nobody has confirmed. Laws here: it is marked, and stands
beside the figures and never among them; it makes no test fresh and no level known.
Units: levels canonical.
"""

from slackwater.assessment.picture import Picture
from slackwater.assessment.records import Unconfirmed
from slackwater.water.show import show_level


def unconfirmed(picture: Picture) -> tuple[Unconfirmed, ...]:
    """Every test of the tank that waits to be confirmed, the oldest first."""
    told = [
        one
        for one in picture.history.entered
        if one.tank == picture.tank.id and one.taken_at <= picture.now
    ]
    return tuple(
        Unconfirmed(
            entry=one.id,
            parameter=one.parameter,
            level=one.value,
            at=one.taken_at,
            text=f"{show_level(one.parameter, one.value)} was entered from afar "
            f"({one.id}) and is not confirmed.",
        )
        for one in sorted(told, key=lambda one: (one.taken_at, one.id))
    )
