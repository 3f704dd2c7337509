"""Each verdict has a name, says whether there is too much, and carries its figures."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from slackwater.facts.reasons import Code, Reason
from slackwater.gate.swings.verdicts import (
    DoseFault,
    ProbeFault,
    Steady,
    Swing,
    TooLittle,
    Verdict,
)

SINCE = datetime(2026, 5, 3, 12, 0, tzinfo=UTC)
STEADY = Steady(good=3, since=SINCE, off=-0.02146, sd=0.03654)
UP = Swing(
    size=0.31236, sd=0.04321, since=SINCE, votes=("sums", "range"), points=4, outliers=1
)
DOWN = Swing(
    size=-0.3, sd=0.04, since=SINCE, votes=("sums", "slope"), points=4, outliers=0
)
DOUBLED = DoseFault(
    pump="carbonate", dose=0.20154, size=0.21246, since=SINCE, votes=("sums", "retest")
)
MISSED = DoseFault(
    pump="carbonate", dose=0.2, size=-0.21, since=SINCE, votes=("sums", "retest")
)
NOISY = ProbeFault(how="noise", figures={"noise_meq_per_l": 0.1}, usual_noise=0.0312345)


def reason(of: Verdict) -> Reason:
    """It must have one."""
    found = of.reason("probe/kh")
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("verdict", "name", "excess"),
    [
        (STEADY, "steady", False),
        (TooLittle(why="no readings"), "too-little", False),
        (UP, "swing-up", True),
        (DOWN, "swing-down", False),
        (DOUBLED, "dose-fault", True),
        (MISSED, "dose-fault", False),
        (NOISY, "probe-fault", False),
    ],
)
def test_each_verdict_says_its_name_and_whether_there_is_too_much(
    verdict: Verdict, name: str, *, excess: bool
) -> None:
    """Six names; only a rise, and a dose too many, are too much."""
    assert (name, excess) == (verdict.name, verdict.excess)


def test_what_is_well_and_what_is_not_known_act_on_nothing_and_have_figures() -> None:
    """No reason, but what they are told by."""
    assert STEADY.reason("probe/kh") is None
    since = "2026-05-03T12:00:00+00:00"
    told = {"good_readings": 3, "since": since}
    off = {"off_meq_per_l": -0.021, "noise_meq_per_l": 0.037}
    assert {**told, **off} == STEADY.figures
    nothing = {"off_meq_per_l": 0.0, "noise_meq_per_l": 0.0}
    bare = Steady(good=0, since=None).figures
    assert {"good_readings": 0, "since": None, **nothing} == bare
    little = TooLittle(why="no readings", have=2)
    assert little.reason("probe/kh") is None
    assert {"why": "no readings", "have": 2} == little.figures


def test_a_swing_tells_its_votes() -> None:
    """How far, since when, beside which noise, and what was left out."""
    assert (Code.ALKALINITY_SWING_UP, Code.ALKALINITY_SWING_DOWN) == (
        reason(UP).code,
        reason(DOWN).code,
    )
    assert {
        "source": "probe/kh",
        "off_meq_per_l": 0.312,
        "noise_meq_per_l": 0.043,
        "since": "2026-05-03T12:00:00+00:00",
        "votes": "sums, range",
        "readings": 4,
        "outliers": 1,
    } == reason(UP).figures


def test_a_fault_of_a_dose_tells_the_pump_and_both_sizes() -> None:
    """What it should have done, and what was seen."""
    found = reason(DOUBLED)
    assert Code.ALKALINITY_DOSE_FAULT == found.code
    told = [found.figures[name] for name in ("pump", "off_meq_per_l", "dose_meq_per_l")]
    assert ["carbonate", 0.212, 0.202] == told


def test_a_fault_of_a_probe_tells_how_and_what_was_usual() -> None:
    """The usual noise is what it is compared with until it has calmed."""
    found = reason(NOISY)
    assert Code.ALKALINITY_PROBE_FAULT == found.code
    told = [found.figures[n] for n in ("how", "noise_meq_per_l")]
    assert ["noise", 0.1] == told
    assert 0.03123 == found.figures["usual_noise_meq_per_l"]
    frozen = reason(ProbeFault(how="frozen"))
    assert 0.0 == frozen.figures["usual_noise_meq_per_l"]


@pytest.mark.parametrize("verdict", [UP, DOUBLED])
def test_a_size_of_nothing_is_no_excess(verdict: Swing | DoseFault) -> None:
    """Only what is above what was predicted is too much."""
    assert not replace(verdict, size=0.0).excess
