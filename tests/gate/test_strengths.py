"""A new strength at the very moments where its share changes.

Half for a day, the base until a test of a whole day of it, two weeks at most: limits of
the project; 2000 µL of the scene's 48 mL a day.
"""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.reasons import Code
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.strengths import Strength
from slackwater.gate.moment import Moment
from slackwater.gate.strengths import new_strength
from tests.gate.scene import NOW, PROVEN_MS, moment
from tests.gate.test_climate import hand_test
from tests.gate.watched import Watched, watched_machine

DAY = timedelta(days=1)
INSTANT = timedelta(microseconds=1)


def since(at: Moment, ago_ms: int) -> Moment:
    """The carbonate pump gives what it gives since so long ago by every clock."""
    at.state.strengths["carbonate"] = Strength(
        per_ul=dict(at.rules.pumps["carbonate"].adds),
        since=NOW - timedelta(milliseconds=ago_ms),
        since_ms=PROVEN_MS - ago_ms,
    )
    return at


@pytest.mark.parametrize(
    ("ago_ms", "is_half"),
    [
        (0, True),
        (DAY_MS - 1, True),
        (DAY_MS, False),
        (14 * DAY_MS - 1, False),
        (14 * DAY_MS, None),
    ],
)
def test_h58_half_ends_with_a_day_and_the_base_with_two_weeks(
    ago_ms: int, *, is_half: bool | None
) -> None:
    """To the millisecond of proven time; the base is told with whole days."""
    at = since(moment(), ago_ms)
    new = new_strength(at, at.rules.pumps["carbonate"])
    assert is_half == (None if new is None else new.is_half)
    if new is not None and not new.is_half:
        told = {"pump": "carbonate", "days": ago_ms // DAY_MS}
        assert (Code.STRENGTH_UNTESTED, told) == (new.reason.code, new.reason.figures)


@pytest.mark.parametrize(
    ("late", "is_confirmed"), [(-INSTANT, False), (timedelta(), True)]
)
def test_h58_a_test_after_a_whole_day_of_it_confirms(
    late: timedelta, *, is_confirmed: bool
) -> None:
    """An instant earlier the water may still hold what was given before."""
    water = Watched(watched_machine())
    pump = water.at.rules.pumps["soda"]
    begun = water.at.now.utc
    water.at.state.strengths["soda"] = Strength(
        per_ul=dict(pump.adds), since=begun, since_ms=water.at.proven_ms
    )
    water.pass_time(2 * DAY)
    kept = hand_test(water, "alkalinity", 2.85)
    water.write(replace(kept, taken_at=begun + DAY + late))
    assert is_confirmed == (new_strength(water.at, pump) is None)


def test_h58_the_first_strength_of_a_pump_is_none_that_is_new() -> None:
    """Nothing was there before it, however short ago its first dose was."""
    at = moment()
    pump = at.rules.pumps["carbonate"]
    at.state.strengths["carbonate"] = Strength(per_ul=dict(pump.adds))
    assert new_strength(at, pump) is None
