"""What people and counters told, at the very moment and figure where it changes.

Limits are common practice, no source; how long a test counts is a mass balance.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.reasons import Code
from slackwater.facts.tank import Uptake
from slackwater.gate import climate
from slackwater.gate.circumstances import counts_for
from slackwater.gate.moment import Moment
from tests.gate.scene import GUARD, PROBE, dkh
from tests.gate.test_circumstances import bare, counted, limewater
from tests.gate.test_climate import hand_test, salty, warm
from tests.gate.test_edges import the
from tests.gate.test_entered import told
from tests.gate.test_rounding import hold, scene
from tests.gate.watched import ALKALINE, DAY, MINUTE, Watched, watched_machine

CEILING = 3.4567


def ceiled() -> Watched:
    """The tank without a probe, with a ceiling of four digits."""
    used = watched_machine()
    guards = {"reef": replace(GUARD, ceiling=CEILING)}
    return Watched(replace(used, guards=guards))


@pytest.mark.parametrize("from_afar", [False, True])
def test_a_test_that_is_too_high_is_told_in_thousandths(*, from_afar: bool) -> None:
    """3.6789 above 3.4567 meq/L, whoever told it."""
    water = ceiled()
    if from_afar:
        entry = replace(told(water, 8.0), value=3.6789)
        water.write(entry)
        figures = the(Code.ALKALINITY_ENTERED, water.reasons("soda")).figures
        expected = {"entry": "u-1", "entered_meq_per_l": 3.679}
    else:
        water.write(hand_test(water, "alkalinity", 3.6789))
        figures = the(Code.ALKALINITY_TEST, water.reasons("soda")).figures
        expected = {"tested_meq_per_l": 3.679}
    assert {**expected, "ceiling_meq_per_l": 3.457} == dict(figures)


@pytest.mark.parametrize(
    ("value_dkh", "parameter"), [(8.0, "alkalinity"), (400.0, "calcium")]
)
def test_what_is_not_too_high_hides_no_entry_that_is(
    value_dkh: float, parameter: str
) -> None:
    """The first in order of name is low, or of another parameter."""
    water = bare()
    water.write(told(water, value_dkh, "u-1", parameter))
    water.write(told(water, 10.5, "u-2"))
    assert ALKALINE == water.stopped


def test_a_persons_test_of_the_same_moment_speaks_instead() -> None:
    """Recorded on the machine, and not older than the entry from afar."""
    water = bare()
    water.write(told(water, 10.5))
    water.write(hand_test(water, "alkalinity", dkh(8.0)))
    assert set() == water.stopped


def test_h51_a_probe_read_in_the_moment_of_a_test_was_not_read_since() -> None:
    """It stood beside neither: neither a person's test nor an entry is spoken for."""
    by_hand = Watched(watched_machine(PROBE))
    by_hand.write(hand_test(by_hand, "alkalinity", dkh(10.0)))
    from_afar = Watched(watched_machine(PROBE))
    from_afar.write(told(from_afar, 10.0))
    for water in (by_hand, from_afar):
        assert water.at.now.utc == water.at.sight.readings["kh"][-1].at
        assert {} == water.at.state.compared
        assert ALKALINE == water.stopped


@pytest.mark.parametrize(("low", "expected"), [(0, DAY), (1, 3 * DAY)])
def test_a_test_counts_for_a_day_where_the_tank_may_take_up_nothing(
    low: int, expected: timedelta
) -> None:
    """And for three at most where it surely takes up next to nothing."""
    water = bare()
    uptake = {"alkalinity": Uptake(estimate=10**9, low=low)}
    machine = water.at.machine
    tank = replace(machine.tanks["reef"], uptake=uptake)
    at = replace(water.at, machine=replace(machine, tanks={"reef": tank}))
    assert expected == counts_for(at, hand_test(water, "alkalinity", dkh(10.0)))


@pytest.mark.parametrize(("more_ul", "ends"), [(0, True), (1, False)])
def test_limewater_ends_its_hold_on_a_day_of_the_most_that_is_usual(
    more_ul: int, *, ends: bool
) -> None:
    """Half more than the median of 4 L, on the day after."""
    water = limewater()
    counted(water, 0)
    counted(water, 9_000_000)
    water.pass_time(DAY - MINUTE)
    counted(water, 15_000_000 + more_ul)
    water.pass_time(MINUTE)
    assert ([] if ends else ["top-off/refill"]) == water.holds


def test_a_day_that_runs_is_no_whole_day_of_limewater() -> None:
    """Six days and this one: nothing is usual yet."""
    water = limewater(6)
    today = water.at.now.utc.date()
    water.at.state.top_offs["refill"][today] = 4_000_000
    counted(water, 0)
    counted(water, 50_000_000)
    assert set() == water.stopped


@pytest.mark.parametrize("is_heard", [False, True])
def test_a_counter_that_counts_nothing_stops_nothing(*, is_heard: bool) -> None:
    """Two weeks without limewater, and none today or not a word."""
    water = limewater()
    days = water.at.state.top_offs["refill"]
    days.update(dict.fromkeys(days, 0))
    if is_heard:
        counted(water, 5_000)
        water.pass_time(DAY)
    water.look()
    assert [] == water.holds


def test_limewater_of_which_nothing_is_known_stops_nothing() -> None:
    """No source of the tank is on record: a counter counts plain water."""
    water = limewater()
    water.at = replace(water.at, rules=replace(water.at.rules, outside={}))
    counted(water, 0)
    counted(water, 50_000_000)
    assert set() == water.stopped


def test_a_salinity_that_a_hand_found_off_is_told_in_hundredths() -> None:
    """36.2345 is 1.2345 above 35."""
    water = Watched(watched_machine())
    water.write(hand_test(water, "salinity", 36.2345))
    (reason,) = water.reasons("raise")
    assert {"tested": 36.23, "off": 1.23, "limit": 1.0} == dict(reason.figures)


def test_a_temperature_is_told_in_hundredths() -> None:
    """30.1267 degrees, which is too warm for corrections."""
    water = warm()
    water.pass_time(MINUTE)
    water.read("warm", 30.1267)
    assert 30.13 == water.raised[-1].reason.figures["temperature_degc"]


CLEARS: list[tuple[Callable[[Moment], bool], float]] = [
    (lambda at: climate.off_clears(at, "reef", hold(at)), 0.25),
    (lambda at: climate.far_clears(at, "reef", hold(at)), 10.0),
]


@pytest.mark.parametrize(("clears", "limit"), CLEARS)
def test_salinity_is_back_where_it_is_near_again(
    clears: Callable[[Moment], bool], limit: float
) -> None:
    """By the limit of its own hold, either way."""
    for off, expected in ((limit, True), (limit + 0.1, False), (-limit, True)):
        assert expected == clears(scene("salt", (0, off)))


def test_salinity_far_off_holds_until_it_is_near_again() -> None:
    """39 of 35 stops every dose; 35 for hours lets them go on."""
    water = salty()
    water.pass_time(MINUTE)
    water.read("salt", 39.0)
    assert ["salinity-far/reef", "salinity/reef"] == water.holds
    water.read_for(timedelta(hours=2), salt=35.0)
    assert [] == water.holds


def test_an_entry_that_is_spoken_for_hides_none_that_is_not() -> None:
    """The second was told after the person's own test, the first before it."""
    water = bare()
    water.write(told(water, 10.5, "u-1"))
    water.pass_time(MINUTE)
    water.write(hand_test(water, "alkalinity", dkh(8.0)))
    assert set() == water.stopped
    water.pass_time(MINUTE)
    water.write(told(water, 10.4, "u-2"))
    assert ALKALINE == water.stopped
