"""A device that changed since it was approved; runs that are not for the water."""

from dataclasses import replace

import pytest

from slackwater.facts.charging import charge
from slackwater.facts.reasons import Code
from slackwater.gate.caps import over_caps
from slackwater.gate.interlocks import refusals
from tests.gate.scene import PROVEN_MS, TODAY, ask, beat, moment
from tests.gate.test_interlocks import measured

APPROVED = ("virtual-1", "0badcafe")


@pytest.mark.parametrize(
    ("hw", "cfg", "cal", "expected"),
    [
        ("virtual-1", "0badcafe", "77aa01cf", []),
        ("virtual-2", "0badcafe", "77aa01cf", [Code.NODE_IDENTITY]),
        ("virtual-1", "0badcaff", "77aa01cf", [Code.NODE_IDENTITY]),
        ("virtual-1", "0badcafe", "77aa01d0", [Code.CALIBRATION_CHANGED]),
    ],
)
def test_h26_each_field_that_changed_at_the_device_holds(
    hw: str, cfg: str, cal: str, expected: list[Code]
) -> None:
    """Hardware, firmware and limits, calibration: each one alone."""
    at = moment()
    assert at.approval is not None
    approval = replace(
        at.approval,
        hardware={"shelf": APPROVED},
        calibrations={"carbonate": "77aa01cf"},
    )
    at = replace(at, approval=approval)
    at.state.calibrations["carbonate"] = measured(cal)
    at.sight.nodes["shelf"].beat = replace(beat(), hw=hw, cfg=cfg)
    assert expected == [reason.code for reason in refusals(at, ask(at))]


@pytest.mark.parametrize(("volume_ul", "fits"), [(100, True), (101, False)])
def test_h56_a_run_out_of_the_water_has_a_small_cap_of_its_own(
    volume_ul: int, *, fits: bool
) -> None:
    """29.9 of 30 mL an hour are used: a tenth more, and not a microlitre beyond it.

    The water's own caps are used up and say nothing of it; it says nothing of theirs.
    """
    at = moment()
    charge(at.state, "calibrate/carbonate", (PROVEN_MS - 1, 29_900, "s"), TODAY)
    charge(at.state, "pump/carbonate", (PROVEN_MS - 1, 60_000, "d"), TODAY)
    shot = replace(ask(at, volume_ul=volume_ul), kind="calibrate", line=None)
    expected = [] if fits else [Code.CAP_CALIBRATION]
    found = [reason.code for reason in over_caps(at, shot, volume_ul, TODAY)]
    assert expected == found
    dose = over_caps(at, ask(at, volume_ul=1), 1, TODAY)
    assert {Code.CAP_ROLLING, Code.CAP_DAY} == {reason.code for reason in dose}
