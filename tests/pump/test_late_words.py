"""Words that come late: each says what it proves and no more."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.fold import fold_all
from slackwater.facts.messages import LastRun
from slackwater.pump.outcome import (
    Stamp,
    settle_by_beat,
    settle_by_result,
    settle_by_time,
)
from tests.pump.test_outcome import (
    ATTEMPT,
    LATER,
    OTHER,
    T0,
    beat,
    charged,
    kinds,
    opened,
    result,
)


def test_h11_a_late_copy_of_an_earlier_beat_says_nothing() -> None:
    """Made before the run was taken, heard after: no lie of the node."""
    state = opened()
    fold_all(state, list(settle_by_result(state, result("taken", 0, ""), LATER)))
    assert [] == list(settle_by_beat(state, beat(4, up=123_000), LATER))


def test_h12_a_node_that_rebooted_may_refuse_in_its_new_name() -> None:
    """The refusal is noted; the next beat seals."""
    state = opened()
    said = replace(result("refused", 0, "boot"), boot=OTHER)
    events = list(settle_by_result(state, said, LATER))
    fold_all(state, events)
    assert ["dose_refused_by_node"] == kinds(events)
    sealing = settle_by_beat(state, beat(0, boot=OTHER), LATER)
    assert ["dose_sealed"] == kinds(list(sealing))


@pytest.mark.parametrize(
    ("phase", "expected"),
    [("refused", []), ("taken", ["hold_raised"]), ("ended", ["hold_raised"])],
)
def test_h12_after_a_void_only_a_run_is_impossible(
    phase: str, expected: list[str]
) -> None:
    """The command came late and was refused, as the proof said it would be."""
    state = opened()
    fold_all(state, list(settle_by_beat(state, beat(4, up=131_457), LATER)))
    said = list(settle_by_result(state, result(phase, 0, "late"), LATER))
    assert expected == kinds(said)


def test_a_seal_is_raised_by_a_beat_as_by_a_result() -> None:
    """The result was lost: the last run of a later beat tells of the excess, once."""
    state = opened()
    state.closed.clear()
    late: Stamp = {"at": T0 + timedelta(hours=1), "boot_s": 4600.0, "proven_ms": 10**7}
    fold_all(state, list(settle_by_time(state, late)))
    last = LastRun(id=ATTEMPT, ul=2300, ran_ms=1391, reason="cut", cal="77aa01cf")
    events = list(settle_by_beat(state, beat(5, last=last), late))
    fold_all(state, events)
    assert ["charge_raised", "hold_raised"] == kinds(events)
    assert [] == list(settle_by_beat(state, beat(5, last=last), late))
    assert 2300 == charged(state)
