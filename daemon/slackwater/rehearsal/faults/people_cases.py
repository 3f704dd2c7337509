"""What people do in the middle of a plan: hold it, pause it, test the water.

Floor 6. One subject: people in a rehearsed house, as scripts. Laws here: whoever holds
or pauses makes it safer, and what was missed meanwhile stays missed.
"""

from slackwater.facts.events import HoldRaised, HoldReleased
from slackwater.facts.limits import limits_of
from slackwater.facts.messages import Request
from slackwater.facts.reasons import Code, because
from slackwater.facts.tank import Machine
from slackwater.rehearsal.faults.case import Case, Target
from slackwater.rehearsal.faults.hand_tests import tested
from slackwater.rehearsal.faults.house import HOUR_MS, MINUTE_MS, House
from slackwater.rehearsal.virtual_tank import ALKALINITY

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


def _too_high(house: House, target: Target) -> None:
    """A test above the ceiling, beside whatever a probe shows."""
    house.at(target.before_ms, lambda: _test_too_high(house, target))


def _test_too_high(house: House, target: Target) -> None:
    kept = [
        series[-1].taken_at
        for series in house.state.readings.values()
        if (series[-1].tank, series[-1].parameter) == (target.tank, ALKALINITY)
    ]
    now, limits = house.stamp()["at"], limits_of(house.machine.limits, target.tank)
    # So far above that no probe which shows less speaks for the water.
    apart = 2 * (limits.against_test(ALKALINITY) or 0.0)
    value = house.machine.guards[target.tank].ceiling + apart
    taken_at = max(kept, default=now)
    house.append([tested(house, target, value=value, taken_at=taken_at)])


def alkaline(machine: Machine, target: Target) -> str:
    """Why a test of alkalinity would stop nothing there."""
    if target.tank not in machine.guards:
        return f"{target.tank} has no ceiling of alkalinity"
    pumps = [pump for pump in machine.pumps.values() if pump.tank == target.tank]
    if any(ALKALINITY in machine.solutions[pump.solution].effects for pump in pumps):
        return ""
    return f"nothing adds alkalinity to {target.tank}"


def _paused(house: House, target: Target) -> None:
    at_ms = target.before_ms
    asked = Request(tank=target.tank, id="rehearsal", act="pause", minutes=60)
    house.at(at_ms, lambda: house.wire.to_daemon(asked, at_ms))


PEOPLE_CASES: tuple[Case, ...] = (
    Case(
        id="test-too-high",
        group="G",
        hazards=("H51",),
        title="A hand test finds alkalinity above its ceiling",
        strike=_too_high,
        expects=frozenset({Code.ALKALINITY_TEST}),
        about=("hand test", "too high"),
        unfit=alkaline,
    ),
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
