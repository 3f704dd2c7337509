"""What probes and hand tests say, at the very moment and digit where it changes.

A hand test stands in for two days, a reading counts for one: common practice.
"""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.limits import WaterLimits
from slackwater.facts.messages import Reading
from slackwater.facts.reasons import Code
from slackwater.facts.sight import READINGS_AT_MOST
from slackwater.facts.state import Compared
from slackwater.gate.moment import Moment
from slackwater.gate.probes import (
    TEST_STANDS_IN,
    contradicted,
    has_calmed,
    known,
    newest,
    newest_test,
)
from tests.gate.test_alkaline_edges import out_of_service
from tests.gate.test_climate import hand_test
from tests.gate.test_edges import the
from tests.gate.test_rounding import shown
from tests.gate.watched import DAY, HOUR, PROBES, Watched, watched_machine

SECOND = replace(PROBES["ph"], id="second")
LIMITS = WaterLimits(
    ph_spread=0.2346, ph_against_test=0.1234, good_readings=1, hold_at_least_s=0.0
)


def two(ph: list[Reading] | None = None, second: float | None = None) -> Moment:
    """A tank with two pH probes that showed this; by default nothing."""
    at = Watched(watched_machine("ph", SECOND, limits=LIMITS)).at
    at.sight.readings.clear()
    if ph:
        at.sight.readings["ph"] = ph
    if second is not None:
        reading = shown("ph", (0, second), ends=at.now.utc)[0]
        at.sight.readings["second"] = [replace(reading, probe="second")]
    return at


def ph(*pairs: tuple[float, float]) -> list[Reading]:
    """What the first of the two showed so many minutes ago."""
    return shown("ph", *pairs, ends=two().now.utc)


@pytest.mark.parametrize(("late", "counts"), [(0, True), (1, False)])
def test_a_reading_counts_for_a_day_and_the_newest_does(
    late: int, *, counts: bool
) -> None:
    """24 hours to the minute; one from two days ago beside it changes nothing."""
    at = two(ph((2 * 1440, 8.0), (1440 + late, 8.3)))
    found = [reading.value for reading in newest(at, "reef", "ph")]
    assert ([8.3] if counts else []) == found


def test_a_probe_that_fell_silent_hides_no_other_that_is_not_calm() -> None:
    """The first was not heard for more than a day; the second is still high."""
    at = two(ph((1441, 8.0)), second=8.9)
    assert not has_calmed(at, "reef", "ph", lambda value: value <= 8.5)
    assert has_calmed(at, "reef", "ph", lambda value: value <= 9.0)


def test_a_refused_word_of_one_probe_is_none_of_the_other() -> None:
    """Which is sound, and enough to know the water."""
    at = two(ph((0, 8.2)), second=8.2)
    at.sight.flawed["second"] = "unit changed"
    found = known(at, "reef", "ph")
    assert (["ph"], ()) == ([one.probe for one in found.fresh], found.doubts)


def test_two_probes_apart_are_told_in_thousandths() -> None:
    """8.0 and 8.4567 where 0.2346 is allowed."""
    reason = the(
        Code.PROBES_APART, known(two(ph((0, 8.4567)), 8.0), "reef", "ph").doubts
    )
    expected = {"probes": "second, ph", "apart": 0.457, "tolerance": 0.235}
    assert expected == dict(reason.figures)


def test_a_contradiction_is_told_in_thousandths() -> None:
    """It showed 8.0123 beside a test of 8.2346, where 0.1234 is allowed."""
    at = two()
    at.state.compared["ph"] = Compared(
        tank="reef",
        measurement="m",
        taken_at=at.now.utc,
        tested=8.2346,
        shown=8.0123,
    )
    reason = contradicted(at, "ph")
    assert reason is not None
    expected = {"probe": "ph", "shown": 8.012, "tested": 8.235, "tolerance": 0.123}
    assert expected == dict(reason.figures)


@pytest.mark.parametrize(("late", "stands_in"), [(0, True), (1, False)])
def test_a_hand_stands_in_for_two_days(late: int, *, stands_in: bool) -> None:
    """To the second, as long as the probe is out of service."""
    water = Watched(watched_machine("ph"))
    taken_at = water.at.now.utc - 2 * DAY - timedelta(seconds=late)
    water.write(hand_test(water, "ph", 8.2, taken_at=taken_at))
    at = out_of_service(water.at, "ph")
    doubts = [one.code for one in known(at, "reef", "ph").doubts]
    assert ([] if stands_in else [Code.PROBE_OUT]) == doubts
    found = newest_test(at, "reef", "ph", TEST_STANDS_IN)
    assert (8.2 if stands_in else None) == found


def test_what_a_hand_did_not_see_is_nothing() -> None:
    """Below what it can show: 0, not the figure of its limit."""
    water = Watched(watched_machine())
    water.write(hand_test(water, "nitrate", 0.5, censored=True))
    assert 0.0 == newest_test(water.at, "reef", "nitrate", DAY)


@pytest.mark.parametrize(("count", "is_frozen"), [(0, False), (1, True)])
def test_h49_a_full_window_of_one_value_is_frozen_however_short(
    count: int, *, is_frozen: bool
) -> None:
    """Every reading there is room for; one less may still be six quiet hours."""
    at = two()
    end, step = at.now.utc, timedelta(seconds=1)
    like = ph((0, 8.2))[0]
    readings = READINGS_AT_MOST - 1 + count
    at.sight.readings["ph"] = [
        replace(like, at=end - step * (readings - 1 - n)) for n in range(readings)
    ]
    at = out_of_service(at, "second")
    doubts = [one.code for one in known(at, "reef", "ph").doubts]
    assert ([Code.PROBE_FROZEN] if is_frozen else []) == doubts


@pytest.mark.parametrize(
    ("moved", "is_frozen"), [(0.004, True), (0.0051, False), (0.009, False)]
)
def test_h49_half_a_hundredth_ends_a_run(moved: float, *, is_frozen: bool) -> None:
    """Of a display of hundredths: the run is six hours long, or less by its step.

    Before it the readings moved by a tenth each.
    """
    before = [(5.0 * n, 8.0 + n % 2 / 10) for n in range(73, 90)]
    run = [(5.0 * n, 8.2 + (moved if n >= 72 else 0.0)) for n in range(73)]
    at = out_of_service(two(ph(*run, *before)), "second")
    doubts = [one.code for one in known(at, "reef", "ph").doubts]
    assert ([Code.PROBE_FROZEN] if is_frozen else []) == doubts
    assert 6 * HOUR == timedelta(minutes=5 * 72)
