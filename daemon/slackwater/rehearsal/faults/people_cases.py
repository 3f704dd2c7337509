"""What people do in the middle of a plan: hold it, pause it, and go on.

Floor 6. One subject: group H of the hazards as scripts. Laws here: whoever holds or
pauses makes it safer, and what was missed meanwhile stays missed.
"""

from slackwater.facts.events import HoldRaised, HoldReleased
from slackwater.facts.messages import Request
from slackwater.facts.reasons import Code, because
from slackwater.rehearsal.faults.case import Case, Target
from slackwater.rehearsal.faults.house import HOUR_MS, MINUTE_MS, House

MANUAL = "manual/rehearsal"


def _held_by_hand(house: House, target: Target) -> None:
    house.at(target.before_ms, lambda: _hold(house))
    house.at(target.before_ms + 6 * HOUR_MS, lambda: _release(house))


def _hold(house: House) -> None:
    held = HoldRaised(
        **house.stamp(),
        hold_id=MANUAL,
        scope="all",
        reason=because(Code.MANUAL_HOLD),
        latched=True,
        by="keeper",
    )
    house.append([held])


def _release(house: House) -> None:
    house.append([HoldReleased(**house.stamp(), hold_id=MANUAL, by="keeper")])
    house.look_closely(MINUTE_MS)


def _paused(house: House, target: Target) -> None:
    at_ms = target.before_ms
    asked = Request(tank=target.tank, id="rehearsal", act="pause", minutes=60)
    house.at(at_ms, lambda: house.wire.to_daemon(asked, at_ms))


PEOPLE_CASES: tuple[Case, ...] = (
    Case(
        id="held-by-hand",
        group="H",
        hazards=("H59",),
        title="A person holds everything for six hours and releases it",
        strike=_held_by_hand,
        expects=frozenset({Code.MANUAL_HOLD}),
        about=("person", "hold"),
    ),
    Case(
        id="paused-from-afar",
        group="H",
        hazards=("H59",),
        title="Somebody pauses the tank for an hour from afar",
        strike=_paused,
        expects=frozenset({Code.PAUSE}),
        about=("person", "pause"),
    ),
)
