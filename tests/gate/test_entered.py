"""Tests entered from afar: they may stop a dose, and count for nothing else.

The ceiling and how long a test speaks for the water are those of a hand test: common
practice, no source, and a mass balance of one box.
"""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.entered import EntrySettled, LevelEntered
from slackwater.facts.events import ReadingKept
from slackwater.facts.reasons import Code
from slackwater.facts.safeguards import ProbeTakenOut
from slackwater.facts.strengths import Strength
from slackwater.gate.probes import newest_test
from slackwater.gate.shortening import share_of
from slackwater.gate.swings.hand_tests import judge_tests
from tests.facts.safeguards import entered
from tests.gate.scene import PROBE, dkh
from tests.gate.test_climate import hand_test
from tests.gate.watched import (
    ALKALINE,
    DAY,
    HOUR,
    LINES,
    MINUTE,
    Watched,
    watched_machine,
)


def bare() -> Watched:
    """The tank without any probe."""
    return Watched(watched_machine())


def told(
    water: Watched, value_dkh: float, name: str = "u-1", parameter: str = "alkalinity"
) -> LevelEntered:
    """An entry of this moment, in dKH."""
    return entered(water.stamp, name, dkh(value_dkh), parameter)


@pytest.mark.parametrize(("value", "stops"), [(9.7, False), (9.71, True)])
def test_an_entry_above_the_ceiling_stops_alkalinity(
    value: float, *, stops: bool
) -> None:
    """To the same figure as a hand test; every other line goes on."""
    water = bare()
    water.write(told(water, value))
    assert (ALKALINE if stops else set()) == water.stopped


def test_i6_a_lower_entry_ends_no_hold_of_a_higher_one() -> None:
    """Nor of a test on the machine: from afar only safer (law 8)."""
    water = bare()
    water.write(told(water, 10.5))
    for number in range(20):
        water.pass_time(MINUTE)
        water.write(told(water, 8.0, f"u-low-{number}"))
        assert [Code.ALKALINITY_ENTERED] == water.codes("soda")
    other = bare()
    other.write(hand_test(other, "alkalinity", dkh(10.5)))
    other.pass_time(MINUTE)
    other.write(told(other, 8.0))
    assert [Code.ALKALINITY_TEST] == other.codes("soda")


def test_a_persons_later_test_speaks_instead() -> None:
    """One recorded on the machine; one taken before the entry says nothing of it."""
    water = bare()
    water.write(hand_test(water, "alkalinity", dkh(8.0)))
    water.pass_time(MINUTE)
    water.write(told(water, 10.5))
    assert ALKALINE == water.stopped
    water.pass_time(MINUTE)
    water.write(hand_test(water, "alkalinity", dkh(8.1)))
    assert set() == water.stopped


def test_refusing_it_on_the_machine_ends_its_hold() -> None:
    """Another one that is too high still holds."""
    water = bare()
    water.write(told(water, 10.5))
    water.write(told(water, 10.4, "u-2"))
    water.write(EntrySettled(**water.stamp, entry="u-1", how="refused", by="keeper"))
    assert ALKALINE == water.stopped
    water.write(EntrySettled(**water.stamp, entry="u-2", how="refused", by="keeper"))
    assert set() == water.stopped


def test_its_evidence_lasts_no_longer_than_the_tank_needs() -> None:
    """Without a stated uptake a day, as a hand test above the ceiling does."""
    water = bare()
    water.write(told(water, 10.5))
    water.pass_time(DAY)
    assert ALKALINE == water.stopped
    water.pass_time(MINUTE)
    assert set() == water.stopped


def test_it_is_no_level_no_test_and_no_comparison() -> None:
    """What decisions read of tests is to the byte as it was before the entry."""
    water = bare()
    water.write(hand_test(water, "alkalinity", dkh(8.0)))
    state = water.at.state
    before = repr((state.levels, state.levels_before, state.tests, state.compared))
    verdict = judge_tests(water.at, "reef")
    for name in ("alkalinity", "nitrate", "calcium"):
        water.write(told(water, 9.0, f"u-{name}", name))
    state = water.at.state
    assert before == repr(
        (state.levels, state.levels_before, state.tests, state.compared)
    )
    assert verdict == judge_tests(water.at, "reef")
    assert newest_test(water.at, "reef", "calcium", DAY) is None


def test_i6_it_confirms_no_new_strength() -> None:
    """A new strength wants a test after a day; an entry from afar is none."""
    water = bare()
    at = water.at
    strength = Strength(
        per_ul=dict(at.rules.pumps["soda"].adds),
        since=at.now.utc,
        since_ms=at.proven_ms,
    )
    at.state.strengths["soda"] = strength
    water.pass_time(3 * DAY)
    assert Code.STRENGTH_UNTESTED in why(water, "soda")
    water.write(told(water, 8.0))
    assert Code.STRENGTH_UNTESTED in why(water, "soda")
    water.write(hand_test(water, "alkalinity", dkh(8.0)))
    assert Code.STRENGTH_UNTESTED not in why(water, "soda")


def why(water: Watched, line: str) -> list[Code]:
    """Why a line is shortened."""
    return [reason.code for reason in share_of(water.at, water.asked(line)).reasons]


def test_i6_it_stands_in_for_no_probe() -> None:
    """A probe out of service wants a hand test; an entry from afar is none."""
    water = Watched(watched_machine("ph"))
    out = ProbeTakenOut(
        **water.stamp,
        probe="ph",
        by="keeper",
        why="broken",
        until=water.at.now.utc + 3 * DAY,
    )
    water.write(out)
    before = {line: (share(water, line), water.codes(line)) for line in LINES}
    water.write(told(water, 0.0, "u-ph", "ph"))
    assert before == {line: (share(water, line), water.codes(line)) for line in LINES}
    water.write(hand_test(water, "ph", 8.2))
    assert before != {line: (share(water, line), water.codes(line)) for line in LINES}


def share(water: Watched, line: str) -> str:
    """What is left of a line's dose, and why."""
    return repr(share_of(water.at, water.asked(line)))


def test_i6_no_entry_lets_any_line_run_that_did_not() -> None:
    """Every parameter, low, usual and high, against water that is stopped."""
    for parameter, value in (
        ("alkalinity", 8.0),
        ("nitrate", 5.0),
        ("phosphate", 0.1),
        ("salinity", 35.0),
        ("ph", 8.1),
        ("calcium", 420.0),
    ):
        water = bare()
        water.write(hand_test(water, "nitrate", 0.1))
        water.write(hand_test(water, "alkalinity", dkh(12.0)))
        water.write(hand_test(water, "salinity", 31.0))
        before = water.stopped
        water.pass_time(MINUTE)
        water.write(entered(water.stamp, "u-9", value, parameter))
        assert before == water.stopped, parameter
        assert before


def test_a_sound_probe_that_showed_the_same_speaks_instead() -> None:
    """One beside the entry that showed something else does not."""
    for shown_dkh, stops in ((9.7, False), (8.0, True)):
        water = Watched(watched_machine(PROBE))
        reading = ReadingKept(
            **water.stamp,
            tank="reef",
            probe="kh",
            parameter="alkalinity",
            value=dkh(shown_dkh),
            taken_at=water.at.now.utc,
        )
        water.write(reading)
        water.read("kh", dkh(min(shown_dkh, 9.6)))
        water.write(told(water, 9.9))
        found = Code.ALKALINITY_ENTERED in water.codes("soda")
        assert stops == found, shown_dkh


def test_a_probe_that_was_not_read_beside_the_entry_speaks_when_it_is_read_again() -> (
    None
):
    """A titrator of each 4 h: what it showed an hour before agrees with nothing."""
    water = Watched(watched_machine(replace(PROBE, period_s=4 * 3600.0)))
    water.pass_time(HOUR)
    water.write(told(water, 10.0))
    assert ALKALINE == water.stopped
    water.pass_time(MINUTE)
    water.read("kh", dkh(8.1))
    assert set() == water.stopped


def test_of_too_many_the_highest_stays() -> None:
    """A flood of entries fills no memory and pushes out nothing that holds."""
    water = bare()
    water.write(told(water, 10.5, "u-high"))
    for number in range(50):
        water.write(told(water, 7.0 + number / 100, f"u-{number}"))
    kept = water.at.state.entered
    assert 4 == len(kept)
    assert "u-high" in kept
    assert ALKALINE == water.stopped


def test_what_nobody_settles_is_forgotten_after_a_week() -> None:
    """With the next entry; by then it had stopped holding long since."""
    water = bare()
    water.write(told(water, 10.5))
    water.pass_time(7 * DAY - HOUR)
    water.write(told(water, 400.0, "u-2", "calcium"))
    assert {"u-1", "u-2"} == set(water.at.state.entered)
    water.pass_time(timedelta(hours=2))
    water.write(told(water, 400.0, "u-3", "calcium"))
    assert {"u-2", "u-3"} == set(water.at.state.entered)
