"""`approve` after `withdraw`: what is gone is still what amounts are compared with."""

from pathlib import Path

from tests.cli.stage import stage_of
from tests.cli.test_approve import approvals, with_amount


def test_a_withdrawal_lets_no_growth_pass_unasked(tmp_path: Path) -> None:
    """Six times what was approved and withdrawn wants the ratio all the same."""
    stage = stage_of(tmp_path)
    stage.approve()
    assert 0 == stage.run("withdraw", "1").code
    stage.config = with_amount(tmp_path / "files", "216 mL")
    assert 1 == stage.approve(highest="432 mL").code
    assert 0 == stage.approve("--ratio-checked", "6", highest="432 mL").code


def test_what_was_withdrawn_can_be_approved_again(tmp_path: Path) -> None:
    """Nothing grows, so nothing is asked; it is a new approval."""
    stage = stage_of(tmp_path)
    stage.approve()
    assert 0 == stage.run("withdraw", "1").code
    assert 0 == stage.approve().code
    assert 2 == len(approvals(stage))
