"""Hand tests of one water that contradict each other: which of them decides.

Half an hour, within which tests are of one water, is common practice, no source.
"""

import pytest

from slackwater.facts.reasons import Code
from slackwater.facts.waters import MeasurementStruck
from tests.gate.scene import dkh
from tests.gate.test_circumstances import bare, with_kh
from tests.gate.test_climate import hand_test
from tests.gate.watched import ALKALINE, MINUTE


@pytest.mark.parametrize("lower", [7.9, 9.6])
def test_a_lower_test_within_half_an_hour_ends_no_stop(lower: float) -> None:
    """9.9 and 7.9 dKH of one water: either may be the slip, and the highest decides.

    A second lower one changes nothing; one after more than half an hour ends it.
    """
    water = bare()
    water.write(hand_test(water, "alkalinity", dkh(9.9)))
    for minutes in (3, 27):
        water.pass_time(minutes * MINUTE)
        water.write(hand_test(water, "alkalinity", dkh(lower), id=f"m-{minutes}"))
        assert water.stopped == ALKALINE
    (reason,) = water.codes("soda")
    assert reason is Code.ALKALINITY_TEST
    water.pass_time(MINUTE)
    assert water.stopped == ALKALINE
    water.write(hand_test(water, "alkalinity", dkh(lower), id="m-31"))
    assert set() == water.stopped


def test_nothing_seen_ends_no_stop_within_half_an_hour_either() -> None:
    """A limit beside a high test is as likely a slip as a low figure is."""
    water = bare()
    water.write(hand_test(water, "alkalinity", dkh(9.9)))
    water.pass_time(3 * MINUTE)
    water.write(hand_test(water, "alkalinity", dkh(1.0), censored=True))
    assert water.stopped == ALKALINE


@pytest.mark.parametrize(("gone", "stops"), [("m-high", False), ("m-low", True)])
def test_of_two_that_contradict_each_other_the_one_not_struck_decides(
    gone: str, *, stops: bool
) -> None:
    """Whoever strikes the slip says which of the two it was."""
    water = bare()
    water.write(hand_test(water, "alkalinity", dkh(9.9), id="m-high"))
    water.pass_time(3 * MINUTE)
    water.write(hand_test(water, "alkalinity", dkh(7.9), id="m-low"))
    water.write(
        MeasurementStruck(**water.stamp, measurement=gone, by="keeper", why="a slip")
    )
    assert (ALKALINE if stops else set()) == water.stopped


def test_a_high_test_below_several_struck_ones_decides_again() -> None:
    """9.9, then 7.9 three times: with all three struck the 9.9 stops."""
    water = bare()
    water.write(hand_test(water, "alkalinity", dkh(9.9)))
    water.pass_time(45 * MINUTE)
    names = ("m-1", "m-2", "m-3")
    for name in names:
        water.write(hand_test(water, "alkalinity", dkh(7.9), id=name))
    assert set() == water.stopped
    for name in names:
        water.write(
            MeasurementStruck(**water.stamp, measurement=name, by="keeper", why="slip")
        )
    assert water.stopped == ALKALINE


def test_a_probe_beside_the_second_of_two_high_tests_speaks_for_both() -> None:
    """9.8 twice in one minute beside a probe at 9.6: the probe's own ceiling holds."""
    water = with_kh(9.6)
    for name in ("m-1", "m-2"):
        water.write(hand_test(water, "alkalinity", dkh(9.8), id=name))
    assert set() == water.stopped
