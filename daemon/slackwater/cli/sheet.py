"""One sheet for whoever looks after the tank.

Floor 8. One subject: words for somebody who has never seen the tank. Laws here: look,
press hold, call; never open a bottle, never mix, never pour; a test and fresh water up
to its mark when asked; it fits one page.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from slackwater.cli.render import local
from slackwater.facts.tank import Tank


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """Who is away when, and whom to call."""

    tanks: Sequence[Tank]
    begins: datetime
    ends: datetime
    contact: str


def sheet(stay: Stay) -> str:
    """The page as text."""
    return "\n".join(_lines(stay))


def _lines(stay: Stay) -> Iterator[str]:
    zone = stay.tanks[0].zone
    names = ", ".join(tank.name for tank in stay.tanks)
    yield f"FOR WHOEVER LOOKS AFTER: {names}"
    yield f"from {local(stay.begins, zone)} to {local(stay.ends, zone)}"
    yield f"Call: {stay.contact or '______________________________'}"
    yield ""
    yield "LOOK, once a day, one minute"
    yield "  Is the floor dry? Does the water move, and is it clear?"
    yield "  Is the water level where the mark is? Are the lights on in the day?"
    yield "  Are the animals open as in the photograph? Does it smell as always?"
    yield ""
    yield "IF ANYTHING LOOKS WRONG"
    yield "  1. Press HOLD (the switch at home, or type: slackwater hold)."
    yield "     It only stops the dosing pumps. You can do no harm with it."
    yield "  2. Call. Say what you see, and send a photograph."
    yield "  Lights, heating and water pumps stay on."
    yield ""
    yield "ONLY WHEN YOU ARE ASKED ON THE PHONE"
    yield "  Test the water and type the figure in at home: it may stop doses, and"
    yield "  counts for nothing else until the one who is away has confirmed it."
    yield "  Fill fresh water up to the marked line, from the can left for it."
    yield ""
    yield "NEVER"
    yield "  Open a bottle of the pumps, fill one up, move a hose, mix two liquids."
    yield "  Pour anything into the tank, whatever the water looks like."
    yield "  Release a hold: that waits for the one who is away."
    yield ""
    yield "WATER ON THE FLOOR, OR A SMELL OF BURNING"
    yield "  Touch nothing wet. Switch off the fuse of the room, then call."
    yield "  Splashes in the eye: rinse with water for ten minutes, see a doctor."
    yield "  Mains voltage stands beside salt water: repairs are for a licensed"
    yield "  electrician."
    yield "  Children stay away from the cabinet."
