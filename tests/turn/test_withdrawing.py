"""An approval is withdrawn from afar: at once, and nothing takes its place."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.events import PlanApproved, PlanWithdrawn, RequestHeard
from slackwater.facts.fold import fold
from slackwater.facts.messages import Request
from slackwater.pump.outcome import Stamp
from tests.gate.scene import APPROVAL, machine
from tests.turn.test_step import START, Bench

STAMP: Stamp = {"at": START, "boot_s": 10_000.0, "proven_ms": 10**9}


def approved() -> Bench:
    """The scene's approval stands in the ledger as well."""
    bench = Bench(machine())
    event = PlanApproved(**STAMP, approval=APPROVAL, machine="", plan="", files={})
    fold(bench.state, event)
    return bench


@pytest.mark.parametrize(("serial", "granted"), [(1, True), (2, False), (0, False)])
def test_i6_a_withdrawal_from_afar_ends_what_it_names_and_nothing_else(
    serial: int,
    granted: bool,
) -> None:
    """Twice the same is one; a serial that does not stand is answered with no."""
    bench = approved()
    asked = Request(tank="reef", id="r1", act="withdraw", serial=serial, note="bottle")
    bench.news.extend([asked, asked])
    bench.run_until(START + timedelta(minutes=1))
    heard = [e for e in bench.events if isinstance(e, RequestHeard)]
    assert [granted] == [one.granted for one in heard]
    gone = [e for e in bench.events if isinstance(e, PlanWithdrawn)]
    assert [(serial, "request", "bottle")] * granted == [
        (one.serial, one.by, one.why) for one in gone
    ]
    assert [1] * (not granted) == [e.approval.serial for e in bench.state.approvals]


def test_a_withdrawn_approval_doses_nothing_from_the_next_turn_on() -> None:
    """Even where the setup still holds it."""
    bench = approved()
    bench.run_until(START + timedelta(hours=1))
    asked = Request(tank="reef", id="r1", act="withdraw", serial=1)
    bench.news.append(asked)
    bench.step()
    count = len(list(bench.intents()))
    bench.run_until(START + timedelta(hours=5))
    assert count == len(list(bench.intents())) > 0


def test_i6_a_withdrawal_heard_before_the_clock_is_set_brings_no_plan_back() -> None:
    """The plan before it gave more; nothing is in force when the clock is right."""
    bench = approved()
    later = replace(APPROVAL, serial=2, takes_over_at=START + timedelta(hours=1))
    event = PlanApproved(**STAMP, approval=later, machine="", plan="", files={})
    fold(bench.state, event)
    bench.run_until(START + timedelta(hours=2))
    bench.jump_s, bench.synchronised = -3 * 3600.0, False
    bench.sight.previous = None
    bench.news.append(Request(tank="reef", id="r1", act="withdraw", serial=2))
    bench.step()
    assert [] == bench.state.approvals
