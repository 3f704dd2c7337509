"""A plan whose doses are smaller than a calibration vouches for is refused."""

from dataclasses import replace
from pathlib import Path

import pytest

from slackwater.facts.events import PlanApproved
from tests.cli.stage import Stage, stage_of


def vouched(stage: Stage, smallest_ul: int) -> None:
    """The newest calibration of the carbonate pump says so."""
    stage.commission("carbonate")
    known = stage.folded().calibrations["carbonate"]
    stage.append(replace(known, **stage.stamp(), smallest_ul=smallest_ul))


@pytest.mark.parametrize(("smallest_ul", "code"), [(3000, 0), (3001, 1)])
def test_no_approval_for_doses_below_what_is_reliable(
    tmp_path: Path, smallest_ul: int, code: int
) -> None:
    """36 mL in 12 doses are 3 mL each, to the microlitre."""
    stage = stage_of(tmp_path)
    vouched(stage, smallest_ul)
    told = stage.approve()
    assert code == told.code
    if code:
        (error,) = told.errors
        assert "36 mL in 12 doses makes one of 3 mL" == error["what"]
        assert "Give at most 11 doses." == error["do"]
    approved = [one for one in stage.events() if isinstance(one, PlanApproved)]
    assert (1 - code) == len(approved)


def test_one_approval_covers_all_pumps_that_were_calibrated(tmp_path: Path) -> None:
    """Two pumps in one visit: a single approval names both calibrations."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve().code
    stage.commission("carbonate", "calcium")
    assert 0 == stage.approve().code
    approved = [one for one in stage.events() if isinstance(one, PlanApproved)]
    measured = {name: one.cal for name, one in stage.folded().calibrations.items()}
    assert 2 == len(approved)
    assert measured == dict(approved[-1].approval.calibrations)
