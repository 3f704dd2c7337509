"""What is prepared for the gate: gaps, pairs, groups, and doses by hand.

Gaps are those of the scene's file; the rest follows from plan and machine alone.
"""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.reasons import Code
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.tank import EffectCap, Machine
from slackwater.gate.by_hand import line_by_hand
from slackwater.gate.handover import old_part
from slackwater.gate.interlocks import may_go_on, refusals
from slackwater.gate.moment import Ask, rules_for
from slackwater.gate.watch import Interlock
from slackwater.gate.watches import WATCHES
from tests.gate.scene import PROVEN_MS, dkh, machine, moment, plan
from tests.gate.test_caps import over
from tests.gate.test_climate import hand_test
from tests.gate.test_handover import LINE, taken
from tests.gate.test_interlocks import hold
from tests.gate.test_stores import bottle, calibrated, drawn
from tests.gate.test_watches import basic, bypass
from tests.gate.watched import ALKALINE, DAY, HOUR, Watched, watched_machine
from tests.turn.pairs import lines, paired, plan_of


def gaps(used: Machine) -> tuple[tuple[str, int], ...]:
    """What the carbonate pump keeps apart from, in milliseconds."""
    return rules_for(used, plan()).pumps["carbonate"].apart


@pytest.mark.parametrize(("gap_s", "expected"), [(0.5, (("calcium", 500),)), (0.0, ())])
def test_any_gap_is_kept_and_none_is_none(
    gap_s: float, expected: tuple[tuple[str, int], ...]
) -> None:
    """Half a second, or nothing: a slow circulation makes no gap of none."""
    used = machine()
    used = replace(used, timing=replace(used.timing, apart_gap_s=gap_s))
    assert expected == gaps(used)
    slow = replace(used.tanks["reef"], turnover_s=3600.0)
    assert bool(expected) == bool(gaps(replace(used, tanks={"reef": slow})))


def test_no_gap_is_kept_to_a_pump_of_another_tank() -> None:
    """Its solution never meets this one's; one that comes after it in name does."""
    used = machine()
    calcium = used.pumps["calcium"]
    tanks = {**used.tanks, "frag": replace(used.tanks["reef"], id="frag")}
    pumps = {**used.pumps, "calcium": replace(calcium, tank="frag")}
    assert () == gaps(replace(used, tanks=tanks, pumps=pumps))
    pumps["second"] = replace(calcium, id="second")
    assert (("second", 900_000),) == gaps(replace(used, tanks=tanks, pumps=pumps))


def test_a_drain_waits_for_its_fill_and_no_fill_for_its_drain() -> None:
    """The water that makes up for it comes whatever holds the drain."""
    rules = rules_for(paired(), plan_of(*lines()))
    mates = {name: rule.mates for name, rule in rules.lines.items()}
    assert {"reef/daily-out": ("reef/daily-in",), "reef/daily-in": ()} == mates


def test_upkeep_is_told_without_corrections_that_stand_before_it() -> None:
    """The first line corrects; the second is all of the upkeep."""
    first, second = plan().lines
    correction = replace(first, purpose="correction")
    rules = rules_for(machine(), replace(plan(), lines=(correction, second)))
    assert {"reef/calcium"} == set(rules.upkeep)


def test_without_a_known_uptake_nothing_is_taken_off_a_rise() -> None:
    """1000 pico-equivalents may rise: no more may be added, and no less."""
    used = machine()
    weak = replace(used.solutions["carbonate"], effects={"alkalinity": 1})
    cap = EffectCap(gross=10**15, net_rise=1000)
    tank = replace(used.tanks["reef"], caps={"alkalinity": cap}, uptake={})
    solutions = {**used.solutions, "carbonate": weak}
    at = moment(replace(used, solutions=solutions, tanks={"reef": tank}))
    assert ([], [Code.CAP_NET]) == (over(at, 1000), over(at, 1001))


def test_upkeep_waits_with_a_correction_of_its_group_where_nothing_watches() -> None:
    """The pump of the correction was not measured for half a year."""
    water = Watched(watched_machine(), ("calcium", "raise"))
    calibrated(water, "raise", 180 * DAY)
    found = {line: water.codes(line) for line in ("raise", "calcium", "soda")}
    expected = {
        "raise": [Code.CALIBRATION_OLD],
        "calcium": [Code.GROUP],
        "soda": [],
    }
    assert expected == found


def by_hand(water: Watched, volume_ul: int = 2000) -> Ask:
    """A dose of soda that a person asks for."""
    asked = water.asked("soda")
    line = line_by_hand(asked.pump, volume_ul)
    dose = replace(asked.dose, volume_ul=volume_ul)
    return replace(asked, kind="manual", line=line, dose=dose)


def test_h55_by_hand_a_pump_must_be_measured_as_for_a_correction() -> None:
    """Where nothing was written down and nothing watches."""
    water = Watched(watched_machine())
    assert [] == refusals(water.at, by_hand(water))
    calibrated(water, "soda", 180 * DAY)
    codes = [one.code for one in refusals(water.at, by_hand(water))]
    assert [Code.CALIBRATION_OLD] == codes


@pytest.mark.parametrize(("left_ul", "is_empty"), [(2000, False), (1999, True)])
def test_h55_by_hand_the_whole_dose_must_be_there(
    left_ul: int, *, is_empty: bool
) -> None:
    """It is one dose, and not one of many of a day."""
    water = bottle()
    drawn(water, 1_000_000 - left_ul)
    codes = [one.code for one in refusals(water.at, by_hand(water))]
    assert is_empty == (Code.RESERVOIR_EMPTY in codes)


PER_DAY = 10**12 + 1
SECOND = timedelta(seconds=1)


@pytest.mark.parametrize(
    ("hours_ago", "later_ms", "part"),
    [
        (0.0, 0, PER_DAY),
        # Written down a moment after the clock was read for this look.
        (0.0, -5, PER_DAY),
        # A millisecond of a day later, rounded up: 11574.07 less.
        (0.0, 1, PER_DAY - 11_574),
        (24.0, 0, 0),
        (25.0, 0, 0),
        (240.0, 0, 0),
    ],
)
def test_an_old_dosers_day_grows_old_by_the_millisecond(
    hours_ago: float, later_ms: int, part: int
) -> None:
    """Of 10^12 and one: never more than a day of it, never less than nothing."""
    at = moment()
    at.state.taken_over[LINE] = taken(hours_ago)
    assert part == old_part(at.state, PROVEN_MS + later_ms, ((LINE, PER_DAY),))
    assert DAY_MS == DAY / timedelta(milliseconds=1)


BEHIND_A_PUMP = {
    *("calibration", "pump-drift", "bottle-lost"),
    *("reservoir-empty", "reservoir-low", "reservoir-old"),
}


def test_what_stands_behind_a_pump_ends_no_run() -> None:
    """It was looked at when the run began; all that is of the water does end it."""
    found = {row.name for row in WATCHES if not row.ends_runs}
    assert found == BEHIND_A_PUMP
    assert Interlock(name="new", about="New.", scope="water").ends_runs


def test_a_run_goes_on_with_an_empty_bottle_and_not_with_too_much_alkalinity() -> None:
    """Both would keep a dose from beginning."""
    water = bottle()
    drawn(water, 1_000_000)
    assert [Code.RESERVOIR_EMPTY] == water.codes("soda")
    assert may_go_on(water.at, water.asked("soda"))
    water.write(hand_test(water, "alkalinity", dkh(12.0)))
    assert not may_go_on(water.at, water.asked("soda"))


def test_a_hold_on_alkalinity_leaves_a_group_without_it() -> None:
    """Calcium and iodine dose together, and neither follows alkalinity."""
    water = Watched(watched_machine(), ("calcium", "iodine"))
    water.at.state.holds["h1"] = hold("alkalinity/reef")
    assert ALKALINE == water.stopped


def test_h59_a_bypass_of_a_day_lasts_four_hours() -> None:
    """To the second."""
    water = basic()
    bypass(water, "ph-carbonate", lasts=DAY)
    water.pass_time(4 * HOUR - SECOND)
    assert "soda" not in water.stopped
    water.pass_time(SECOND)
    assert "soda" in water.stopped
