"""Switches at the very second at which their silence or their word counts.

Times are common practice, no source: ten seconds after the last possible drop a motor
is at rest.
"""

from dataclasses import replace

import pytest

from slackwater.facts.events import HoldRaised
from slackwater.facts.reasons import Code, because
from slackwater.facts.sight import SwitchSight
from slackwater.facts.state import Flow
from slackwater.gate.moment import Moment
from slackwater.gate.switches import clears_at, doubts_at, is_wrong, looks_at
from tests.gate.scene import NOW
from tests.gate.watched import Watched, switch, watched_machine

POWER = switch("power", "socket", pump="soda")
LEVEL = switch("level", period_s=40.0, grace_s=20.0, hold_at_least_s=60.0)


def heard(at: Moment, name: str, ago_s: float, *, is_on: bool, since_s: float) -> None:
    """The last word of a switch, and since when it says so."""
    at.sight.switches[name] = SwitchSight(
        is_on=is_on,
        heard_boot_s=at.now.boot_s - ago_s,
        since_boot_s=at.now.boot_s - since_s,
    )


def scene() -> Moment:
    """A tank with a socket of the soda pump and a level."""
    return Watched(watched_machine(switches=(POWER, LEVEL))).at


@pytest.mark.parametrize(
    ("ended_ms", "is_rest"), [(15_000, False), (15_001, True), (14_999, False)]
)
def test_h22_power_is_of_the_run_for_ten_seconds(
    ended_ms: int, *, is_rest: bool
) -> None:
    """Heard five seconds ago; ten seconds later than the last possible drop."""
    at = scene()
    end_ms = at.proven_ms - ended_ms
    at.state.flows["soda"] = Flow(tank="reef", solution="soda", end_ms=end_ms)
    heard(at, "socket", 5.0, is_on=True, since_s=5.0)
    assert is_rest == is_wrong(at, POWER, at.sight.switches["socket"])


LEVEL_HOLD = HoldRaised(
    at=NOW,
    boot_s=0.0,
    proven_ms=0,
    hold_id="level/level",
    scope="water/reef",
    reason=because(Code.LEVEL_WRONG),
    latched=False,
)


@pytest.mark.parametrize(
    ("ago_s", "since_s", "clears"),
    [
        (None, 0.0, False),
        (100.0, 200.0, True),
        (100.5, 200.0, False),
        (1.0, 59.0, False),
    ],
)
def test_a_level_is_well_when_it_was_heard_to_be_for_a_minute(
    ago_s: float | None, since_s: float, *, clears: bool
) -> None:
    """Its word counts for 2 x 40 + 20 s; one that was never heard ends nothing."""
    at = scene()
    at.sight.switches.clear()
    if ago_s is not None:
        heard(at, "level", ago_s, is_on=LEVEL.normal_on, since_s=since_s)
    assert clears == clears_at("level")(at, "reef", LEVEL_HOLD)


@pytest.mark.parametrize(("ago_s", "is_silent"), [(100.0, False), (100.5, True)])
def test_a_switch_is_silent_or_wrong(ago_s: float, *, is_silent: bool) -> None:
    """A wrong word counts as long as it is not silent; then it is a doubt."""
    at = scene()
    heard(at, "level", ago_s, is_on=not LEVEL.normal_on, since_s=ago_s)
    looks, doubts = looks_at("level")(at, "reef"), doubts_at("level")(at, "reef")
    assert ([] if is_silent else ["level/level"]) == [seen.hold_id for seen in looks]
    found = [(one.reason.figures["silent_s"], one.for_s) for one in doubts]
    assert ([(100, 100.5)] if is_silent else []) == found
    assert not list(looks_at("leak")(at, "reef"))


def test_a_switch_of_another_role_ends_a_hold_of_its_old_one() -> None:
    """Nothing of that role is there any more that could be wrong."""
    at = scene()
    other = replace(at.machine, switches={"level": replace(LEVEL, role="hands")})
    assert clears_at("level")(replace(at, machine=other), "reef", LEVEL_HOLD)
