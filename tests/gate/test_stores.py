"""Old calibrations, empty bottles, old solutions: corrections end, upkeep goes on.

Ages are common practice, no source: 180 days for a calibration; a bottle is low at the
rest that the file names.
"""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.events import Calibrated
from slackwater.facts.limits import WaterLimits
from slackwater.facts.reasons import Code
from slackwater.facts.safeguards import ReservoirFilled, TubeSwapped
from slackwater.facts.state import Interval
from slackwater.gate.drift import stops_beyond
from slackwater.gate.stores import empty_refuses
from tests.gate.watched import (
    DAY,
    LINES,
    MINUTE,
    Watched,
    watched_machine,
)

DOSE_UL = 2_000


def calibrated(water: Watched, pump: str, ago: timedelta) -> None:
    """A pump was measured so long ago; the approval knows it."""
    stamp = {**water.stamp, "at": water.at.now.utc - ago}
    water.at.state.calibrations[pump] = Calibrated(
        **stamp,  # type: ignore[arg-type]  # the three clocks
        pump=pump,
        rate_nl_per_s=1_300_000,
        cal="77aa01cf",
        shots=3,
        spread_percent=1.0,
        proofs=(),
        by="keeper",
    )
    assert water.at.approval is not None
    approval = replace(water.at.approval, calibrations={pump: "77aa01cf"})
    water.at = replace(water.at, approval=approval)


def filled(water: Watched, content_ul: int, mixed_ago: timedelta = timedelta()) -> None:
    """Somebody filled the one bottle of the scene."""
    water.write(
        ReservoirFilled(
            **water.stamp,
            reservoir="one",
            content_ul=content_ul,
            mixed_at=water.at.now.utc - mixed_ago,
            by="keeper",
        )
    )


def bottle(*groups: tuple[str, ...], low_ul: int = 0, keeps: int = 0) -> Watched:
    """The tank with all pumps on one bottle that was just filled with a litre."""
    used = watched_machine()
    one = replace(
        used.reservoirs["one"], low_ul=low_ul, keeps_s=keeps * DAY.total_seconds()
    )
    water = Watched(replace(used, reservoirs={"one": one}), *groups)
    filled(water, 1_000_000)
    return water


def drawn(water: Watched, volume_ul: int) -> None:
    """So much left the bottle since it was filled."""
    water.at.state.drawn_ul["soda"] = volume_ul


def test_h28_a_new_tube_ends_corrections_until_it_is_measured() -> None:
    """Of that pump alone, never its upkeep; a calibration after it ends that."""
    water = Watched(watched_machine())
    calibrated(water, "raise", 2 * DAY)
    stamp = {**water.stamp, "at": water.at.now.utc - DAY}
    water.write(TubeSwapped(**stamp, pump="raise", by="keeper"))  # type: ignore[arg-type]  # the three clocks
    assert {"raise"} == water.stopped
    calibrated(water, "raise", DAY / 2)
    assert set() == water.stopped


@pytest.mark.parametrize(
    ("pump", "ago", "stopped"),
    [
        ("raise", 180 * DAY - MINUTE, set()),
        ("raise", 180 * DAY, {"raise"}),
        ("raise", 900 * DAY, {"raise"}),
        ("soda", 900 * DAY, set()),
    ],
)
def test_h28_an_old_calibration_ends_corrections(
    pump: str, ago: timedelta, stopped: set[str]
) -> None:
    """At 180 days, of that pump alone, and never its upkeep."""
    water = Watched(watched_machine())
    calibrated(water, pump, ago)
    assert stopped == water.stopped


def test_h28_the_age_stands_in_the_file() -> None:
    """A careful keeper may end them after 60 days."""
    limits = WaterLimits(calibration_ends_s=60 * DAY.total_seconds())
    water = Watched(watched_machine(limits=limits))
    calibrated(water, "raise", 60 * DAY)
    assert [Code.CALIBRATION_OLD] == water.codes("raise")
    assert 60 == water.reasons("raise")[0].figures["age_days"]


def lost(water: Watched, ratio: float) -> None:
    """In the week before its bottle lost so much of what was believed to flow."""
    week = Interval(
        began_at=water.at.now.utc - 7 * DAY,
        ended_at=water.at.now.utc,
        pumps=("soda",),
        used_ul=round(300_000 * ratio),
        believed_ul=300_000,
        runs=56,
        begin_ul=5_000,
        end_ul=5_000,
    )
    water.at.state.intervals["one"] = [week]


@pytest.mark.parametrize(
    ("ratio", "stops"),
    [(1.19, False), (1.21, True), (0.81, False), (0.79, True), (0.0, True)],
)
def test_h28_a_pump_that_is_far_off_by_its_bottle_stops(
    ratio: float, *, stops: bool
) -> None:
    """Beyond a fifth more or less; which pump of the bottle it is, nobody knows."""
    water = Watched(watched_machine())
    lost(water, ratio)
    assert (set(LINES) if stops else set()) == water.stopped
    if stops:
        (reason,) = water.reasons("soda")
        told = {
            "reservoir": "one",
            "pumps": "soda",
            "used_over_believed": ratio,
            "limit_percent": 20,
        }
        assert (Code.PUMP_FAR_OFF, told) == (reason.code, reason.figures)


def test_h28_how_far_off_stops_a_pump_stands_in_the_file() -> None:
    """A careful keeper may stop it at 15 %, a patient one at 40 %."""
    for limit, stops in ((0.15, True), (0.2, False), (0.4, False)):
        water = Watched(watched_machine(limits=WaterLimits(drift_stops=limit)))
        lost(water, 1.18)
        assert (set(LINES) if stops else set()) == water.stopped


def test_h28_of_tanks_that_share_a_bottle_the_careful_one_speaks() -> None:
    """A bottle knows no tank; one nobody draws from goes by what is usual."""
    base = watched_machine()
    other = replace(base.pumps["soda"], id="other", tank="frag")
    limits = {"reef": WaterLimits(drift_stops=0.3), "frag": WaterLimits()}
    shared = replace(base, pumps={**base.pumps, "other": other}, limits=limits)
    assert 0.2 == stops_beyond(shared, "one")
    assert 0.3 == stops_beyond(replace(base, limits=limits), "one")
    assert 0.2 == stops_beyond(base, "nobodys")


def test_h28_a_pump_that_is_far_off_may_dose_when_it_is_measured_again() -> None:
    """Older levels tell nothing of a new calibration."""
    water = Watched(watched_machine())
    lost(water, 1.3)
    assert set(LINES) == water.stopped
    calibrated(water, "soda", MINUTE)
    assert set() == water.stopped


@pytest.mark.parametrize(
    ("left_ul", "is_empty"), [(DOSE_UL, False), (DOSE_UL - 1, True), (0, True)]
)
def test_h58_an_empty_bottle_stops_its_pumps(left_ul: int, *, is_empty: bool) -> None:
    """What covers one dose is not empty; a microlitre less is."""
    water = bottle()
    drawn(water, 1_000_000 - left_ul)
    assert (set(LINES) if is_empty else set()) == water.stopped


def test_h58_more_was_drawn_than_was_known_to_be_there() -> None:
    """An unnoted refill: the books say less than nothing, and the pump stops."""
    water = bottle()
    drawn(water, 1_200_000)
    assert [Code.RESERVOIR_EMPTY] == water.codes("soda")
    assert 0 == water.reasons("soda")[0].figures["left_ul"]
    filled(water, 500_000)
    assert set() == water.stopped


def test_a_bottle_whose_fill_nobody_noted_is_not_judged() -> None:
    """The machine file's content may be months old."""
    water = Watched(watched_machine())
    drawn(water, 50_000_000)
    assert set() == water.stopped


@pytest.mark.parametrize(("left_ul", "is_low"), [(100_001, False), (100_000, True)])
def test_a_low_bottle_ends_corrections(left_ul: int, *, is_low: bool) -> None:
    """What is left is for upkeep."""
    water = bottle(low_ul=100_000)
    drawn(water, 1_000_000 - left_ul)
    assert ({"raise"} if is_low else set()) == water.stopped


@pytest.mark.parametrize(
    ("ago", "is_old"), [(90 * DAY - MINUTE, False), (90 * DAY, True)]
)
def test_an_old_solution_ends_corrections(ago: timedelta, *, is_old: bool) -> None:
    """Counted from when it was made, not from when it was filled in."""
    water = bottle(keeps=90)
    filled(water, 1_000_000, ago)
    assert ({"raise"} if is_old else set()) == water.stopped


def test_a_solution_of_which_nobody_said_how_long_it_keeps() -> None:
    """It is never old."""
    water = bottle()
    filled(water, 1_000_000, 5_000 * DAY)
    assert set() == water.stopped


def test_a_partner_of_an_ended_correction_waits_with_it() -> None:
    """Lines of a group hold together, with the line named."""
    water = bottle(("calcium", "raise"), keeps=90)
    filled(water, 1_000_000, 90 * DAY)
    assert {"raise", "calcium"} == water.stopped
    (reason,) = water.reasons("calcium")
    assert (Code.GROUP, "raise") == (reason.code, reason.figures["line"])


def test_ages_are_told_in_whole_days() -> None:
    """A second before the 201st day it is the 200th; limits are 180 and 90 days."""
    ago = 201 * DAY - MINUTE / 60
    water = bottle(keeps=90)
    calibrated(water, "raise", ago)
    filled(water, 1_000_000, ago)
    told = {one.code: dict(one.figures) for one in water.reasons("raise")}
    assert {
        Code.CALIBRATION_OLD: {"pump": "raise", "age_days": 200, "limit_days": 180},
        Code.RESERVOIR_OLD: {"reservoir": "one", "age_days": 200, "keeps_days": 90},
    } == told


def test_a_solution_may_keep_for_a_second() -> None:
    """Any time that is stated counts."""
    used = watched_machine()
    one = replace(used.reservoirs["one"], keeps_s=1.0)
    water = Watched(replace(used, reservoirs={"one": one}))
    filled(water, 1_000_000, MINUTE / 60)
    assert {"raise"} == water.stopped


def test_h28_how_far_off_a_pump_is_stands_in_whole_percent() -> None:
    """1.7346 of what was believed is told as 1.73; a limit of 0.6 as 60 %."""
    water = Watched(watched_machine(limits=WaterLimits(drift_stops=0.6)))
    lost(water, 1.7346)
    (reason,) = water.reasons("soda")
    figures = reason.figures
    assert (1.73, 60) == (figures["used_over_believed"], figures["limit_percent"])


@pytest.mark.parametrize(("left_ul", "is_empty"), [(48_000, False), (47_999, True)])
def test_h58_a_line_of_one_dose_needs_all_of_it(
    left_ul: int, *, is_empty: bool
) -> None:
    """48 mL once a day instead of 2 mL in 24 doses."""
    water = bottle()
    drawn(water, 1_000_000 - left_ul)
    asked = water.asked("soda")
    assert asked.line is not None
    once = replace(asked.line, line=replace(asked.line.line, count=1))
    found = list(empty_refuses(water.at, asked.pump, once))
    assert is_empty == bool(found)
