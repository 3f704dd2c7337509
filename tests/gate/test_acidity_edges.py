"""pH at the very seconds in which a rise counts, each figure worked by hand.

A run of the scene is cut off after 60 s at the latest and is begun within 8 s of its
command; a dose shows within a quarter of an hour: common practice, no source.
"""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.reasons import Code
from slackwater.gate.acidity import (
    jump_clears,
    jump_looks,
    rise_after,
    rise_looks,
    rise_per_hour,
)
from tests.gate.scene import moment
from tests.gate.test_caps_edges import acid, ran
from tests.gate.test_edges import the
from tests.gate.test_rounding import hold, scene
from tests.gate.watched import HOUR, MINUTE, PUMPS, Watched, watched_machine

BEGUN_S = 68.0
HALF_HOUR_S = 1800.0


@pytest.mark.parametrize(
    ("ended_s", "pairs", "rise"),
    [
        # The last moment at which the dose may show in the newest reading.
        (900.0, ((968.0, 8.0), (0.0, 8.3)), 0.3),
        (900.5, ((968.5, 8.0), (0.0, 8.3)), None),
        # What was read as the run can have begun at the earliest was before it.
        (0.0, ((BEGUN_S, 8.0), (0.0, 8.3)), 0.3),
        (0.0, ((BEGUN_S - 0.01, 8.0), (0.0, 8.3)), None),
        # A single reading is on one side of it.
        (0.0, ((BEGUN_S, 8.0),), None),
        # What was read half an hour before still tells of the water before.
        (0.0, ((BEGUN_S + HALF_HOUR_S, 8.0), (0.0, 8.3)), 0.3),
        (0.0, ((BEGUN_S + HALF_HOUR_S + 0.01, 8.0), (0.0, 8.3)), None),
    ],
)
def test_a_rise_after_a_dose_is_between_a_reading_before_and_the_newest(
    ended_s: float, pairs: tuple[tuple[float, float], ...], rise: float | None
) -> None:
    """None where either is missing, or too far away to tell of this dose."""
    at = ran(ended_s)
    found = rise_after(at, at.rules.pumps["carbonate"], acid(*pairs))
    assert rise == (None if found is None else round(found, 6))


@pytest.mark.parametrize(("late", "rise"), [(0.0, 0.4), (0.01, None)])
def test_a_rise_of_an_hour_is_told_for_an_hour(late: float, rise: float | None) -> None:
    """Of readings that ended an hour ago, and no second more."""
    series = acid((0.0, 8.5), (300.0, 8.5), (3600.0, 8.1), (3900.0, 8.1))
    at = moment()
    later = at.now.utc + HOUR + timedelta(seconds=late)
    found = rise_per_hour(series, replace(at, now=replace(at.now, utc=later)))
    assert rise == (None if found is None else round(found, 6))


def test_the_halves_of_a_rise_are_half_hours() -> None:
    """The second reading of either is 29 minutes older than its first."""
    series = acid(*((60.0 * age, 8.5 if age < 30 else 8.1) for age in (0, 29, 60, 89)))
    found = rise_per_hour(series, moment())
    assert found is not None
    assert 0.4 == pytest.approx(found)


def test_a_rise_is_told_in_thousandths_of_its_hour() -> None:
    """0.3456 of pH."""
    at = scene("ph", (0, 0.3456), (5, 0.3456), (60, 0.0), (65, 0.0))
    (seen,) = rise_looks(at, "reef")
    expected = {"probe": "ph", "rise": 0.346, "limit": 0.25, "minutes": 60}
    assert (Code.PH_RISE, expected) == (seen.reason.code, seen.reason.figures)


def test_a_jump_is_told_with_the_pump_that_ran() -> None:
    """Pumps that cannot raise pH are passed over, wherever they stand."""
    at = scene("ph", (0, 0.3456), (2, 0.0))
    pumps = {name: at.rules.pumps[name] for name in reversed([*PUMPS])}
    at = replace(at, rules=replace(at.rules, pumps=pumps))
    at.state.flows["soda"] = replace(
        ran(0.0).state.flows["carbonate"], end_ms=at.proven_ms
    )
    (seen,) = jump_looks(at, "reef")
    expected = {"probe": "ph", "rise": 0.346, "limit": 0.25, "after": "soda"}
    assert expected == dict(seen.reason.figures)


def test_a_jump_is_over_with_the_least_time() -> None:
    """An hour after the hold was raised."""
    at = moment()
    an_hour_ago = hold(at)
    assert jump_clears(at, "reef", an_hour_ago)
    later = replace(an_hour_ago, at=an_hour_ago.at + timedelta(seconds=1))
    assert not jump_clears(at, "reef", later)


def test_a_high_ph_is_told_in_thousandths() -> None:
    """8.5678 above 8.5."""
    water = Watched(watched_machine("ph"))
    water.pass_time(MINUTE)
    water.read("ph", 8.5678)
    reason = the(Code.PH_HIGH, [one.reason for one in water.raised])
    assert {"probe": "ph", "ph": 8.568, "limit": 8.5} == dict(reason.figures)
