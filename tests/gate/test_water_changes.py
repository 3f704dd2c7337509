"""A climb that a water change explains: judged less its step, never above the ceiling.

Figures by hand from C1 = C0 (1 - f) + Cn f, the mixing of two waters: 40 L of 10.4 dKH
into 200 L of 8.0 dKH lift it by 0.2 * 2.4 = 0.48 dKH.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.messages import Reading
from slackwater.facts.reasons import Code
from slackwater.facts.waters import WaterChanged
from slackwater.gate.alkalinity import Step, climbs, too_high, water_steps
from tests.gate.scene import GUARD, NOW, dkh, moment
from tests.gate.test_alkalinity import thrice

MINUTE = timedelta(minutes=1)
STEP = 0.48
# Quiet water, a change two hours ago, and the level it left.
BEFORE = ((600.0, 8.0), (300.0, 8.0), (180.0, 8.0))


def step(age_min: float, rise: float = STEP) -> Step:
    """A water change some minutes ago."""
    return Step(at=NOW - age_min * MINUTE, rise=dkh(rise))


def climb(series: Sequence[Reading], *steps: Step) -> bool:
    """Whether the guard of 0.8 dKH sees a climb."""
    return climbs(GUARD, series, NOW, steps) is not None


def change(age_min: float, tank: str = "reef", rise: float = STEP) -> WaterChanged:
    """A recorded or announced water change."""
    return WaterChanged(
        at=NOW,
        boot_s=0.0,
        proven_ms=0,
        id=f"w{age_min:+.0f}{tank}",
        tank=tank,
        changed_at=NOW - age_min * MINUTE,
        volume_ul=40_000_000,
        by="keeper",
        steps={"alkalinity": dkh(rise), "calcium": 4.0},
    )


@pytest.mark.parametrize(("rise", "expected"), [(1.27, False), (1.29, True)])
def test_a_climb_is_judged_less_the_step_of_a_change(
    rise: float, *, expected: bool
) -> None:
    """0.8 dKH and the 0.48 of the change together; without the change 0.81 stops."""
    series = thrice(*BEFORE, (10, 8.0 + rise), (0, 8.0 + rise))

    assert expected == climb(series, step(120))
    assert climb(thrice(*BEFORE, (0, 8.81)))


def test_the_reason_says_what_was_explained() -> None:
    """1.4 dKH less 0.48 are 0.92; 0.328 and 0.171 meq/L."""
    reason = climbs(GUARD, thrice(*BEFORE, (0, 9.4)), NOW, [step(120)])
    assert reason is not None

    figures = {
        "probe": "kh",
        "rise_meq_per_l": 0.328,
        "limit_meq_per_l": 0.285,
        "explained_meq_per_l": 0.171,
    }
    assert (Code.ALKALINITY_CLIMB, figures) == (reason.code, reason.figures)


@pytest.mark.parametrize(("rise", "expected"), [(0.79, False), (0.81, True)])
def test_what_climbs_after_the_change_is_judged_in_full(
    rise: float, *, expected: bool
) -> None:
    """The hour from 60 to 120 min ago lies after it, however much it lifted before."""
    series = thrice((170, 7.0), (90, 8.0), (0, 8.0 + rise))
    reason = climbs(GUARD, series, NOW, [step(120, 2.0)])

    assert expected == (reason is not None)
    assert reason is None or "explained_meq_per_l" not in reason.figures


@pytest.mark.parametrize(("age_min", "expected"), [(119.0, False), (120.0, True)])
def test_the_hour_of_the_change_counts_as_before_it(
    age_min: float, *, expected: bool
) -> None:
    """A low reading 110 min ago may be of old water if the change was 119 min ago."""
    series = thrice((110, 8.0), (0, 9.0))

    assert expected == climb(series, step(age_min))


@pytest.mark.parametrize("age_min", [-1.0, -600.0])
def test_a_change_that_lies_ahead_explains_nothing(age_min: float) -> None:
    """Announced for later, the climb came by itself."""
    at = moment()
    at.state.changes["w"] = change(age_min)

    assert [] == water_steps(at, "reef")
    assert climb(thrice(*BEFORE, (0, 9.0)), step(age_min))


def test_a_change_after_the_newest_reading_explains_nothing() -> None:
    """What was read before the change is not of the new water."""
    assert climb(thrice(*BEFORE, (20, 9.0)), step(10))


def test_only_changes_of_this_tank_within_a_day_explain() -> None:
    """The one of another tank, the old one and the one ahead are passed over."""
    at = moment()
    for one in (
        change(0),
        change(1440),
        change(1441),
        change(-5),
        change(5, "frag"),
        replace(change(60), id="dry", steps={"calcium": 4.0}),
    ):
        at.state.changes[one.id] = one

    assert [step(0), step(1440), step(60, 0.0)] == water_steps(at, "reef")


def test_two_changes_explain_together_and_a_lowering_one_nothing() -> None:
    """0.48 twice; a change with weaker water makes no room for a climb."""
    series = thrice(*BEFORE, (0, 9.7))

    assert climb(series, step(120))
    assert not climb(series, step(120), step(90))
    assert climb(thrice(*BEFORE, (0, 8.81)), step(120, -0.48))


def test_the_ceiling_stops_whatever_a_change_explains() -> None:
    """9.71 dKH are too much, from whichever bottle they came."""
    series = thrice(*BEFORE, (0, 9.71))

    assert not climb(series, step(120, 2.0))
    assert too_high(GUARD, series, NOW) is not None
