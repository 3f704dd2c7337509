"""An approval at its end: corrections stop, upkeep has its grace, then nothing runs."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from slackwater.facts.events import DoseIntended, DoseMissed
from slackwater.facts.plan import Plan, Purpose
from slackwater.facts.reasons import Code
from slackwater.gate.interlocks import is_over
from slackwater.turn.setup import make_setup
from tests.gate.scene import APPROVAL, NOW, dkh_peq, machine, moment, plan
from tests.turn.test_step import START, Bench, roomy

SECOND, HOUR = timedelta(seconds=1), timedelta(hours=1)
ENDS = START + 3 * HOUR
GRACE = ENDS + 3 * HOUR
TEN_YEARS_S = 10 * 365.25 * 86_400.0


def ending(purposes: tuple[Purpose, Purpose] = ("maintenance", "maintenance")) -> Bench:
    """The bench, its approval expiring after three hours, with three of grace."""
    approval = replace(APPROVAL, expires_at=ENDS, grace_until=GRACE)
    lines = tuple(
        replace(line, purpose=purpose, group="")
        for line, purpose in zip(plan().lines, purposes, strict=True)
    )
    bench = Bench(machine())
    of = Plan(name="ending", starts=plan().starts, lines=lines)
    bench.setup = make_setup(roomy(machine()), {1: (approval, of)})
    return bench


def given(bench: Bench, since: datetime) -> dict[str, int]:
    """How often each line dosed from a moment on."""
    found: dict[str, int] = {}
    for intent in bench.intents():
        if intent.at >= since:
            found[intent.dose.line] = found.get(intent.dose.line, 0) + 1
    return found


def test_d10_upkeep_goes_on_as_approved_through_the_grace_and_not_beyond() -> None:
    """Three doses of each line in the grace, no more than before it, then none."""
    bench = ending()
    bench.run_until(GRACE + 3 * HOUR)
    asked = {intent.command.ul for intent in bench.intents()}
    within = [i for i in bench.intents() if ENDS <= i.at < GRACE]
    assert {2000} == asked
    assert 6 == len(within)
    assert {} == given(bench, GRACE)
    missed = [e for e in bench.events if isinstance(e, DoseMissed)]
    assert missed
    assert all(
        Code.APPROVAL_EXPIRED in {reason.code for reason in event.reasons}
        for event in missed
    )


def test_d10_a_correction_ends_with_its_approval() -> None:
    """The other line, which is upkeep, goes on."""
    bench = ending(("maintenance", "correction"))
    bench.run_until(GRACE)
    assert {"carbonate": 3} == given(bench, ENDS)
    assert 3 == sum(i.dose.line == "calcium" for i in bench.intents())


@pytest.mark.parametrize("at", [ENDS, GRACE], ids=["end", "grace"])
@pytest.mark.parametrize(
    "step_s",
    [-TEN_YEARS_S, -3600.0, -1.0, 1.0, 3600.0, TEN_YEARS_S],
    ids=["-10 y", "-1 h", "-1 s", "+1 s", "+1 h", "+10 y"],
)
def test_d10_no_step_of_the_clock_prolongs_an_approval(
    at: datetime, step_s: float
) -> None:
    """Stepped a minute before each end: nothing runs at or after the end it showed."""
    bench = ending()
    bench.run_until(at - timedelta(minutes=1))
    bench.jump_s = step_s
    bench.run_until(GRACE + 2 * HOUR)
    late = [i for i in bench.intents() if i.at >= GRACE]
    # Two seconds are what a time service may correct without anybody asking.
    beyond = [i for i in bench.intents() if _true(i) >= GRACE + 2 * SECOND]
    assert [] == late
    assert [] == beyond


def _true(intent: DoseIntended) -> datetime:
    """When it really was: the boot-time clock makes no steps."""
    return START + timedelta(seconds=intent.boot_s - 10_000.0)


@pytest.mark.parametrize("seconds", [-1, 0, 1])
@pytest.mark.parametrize("purpose", ["maintenance", "correction"])
def test_d10_the_latest_time_that_can_be_believed_decides(
    seconds: int, purpose: Purpose
) -> None:
    """At the end to the second; an entry behind it counts although the clock is not."""
    ends = NOW - seconds * SECOND
    approval = replace(APPROVAL, expires_at=ends, grace_until=ends + HOUR)
    if purpose == "maintenance":
        approval = replace(approval, expires_at=ends - HOUR, grace_until=ends)
    at = moment()
    assert (seconds >= 0) == is_over(at, approval, purpose)
    at.state.newest_at = ends
    assert is_over(at, approval, purpose)


def test_an_approval_without_grace_ends_at_its_end() -> None:
    """As those did that were given before there was any."""
    assert APPROVAL.expires_at == APPROVAL.ends_at
    early = replace(APPROVAL, grace_until=APPROVAL.expires_at - HOUR)
    assert APPROVAL.expires_at == early.ends_at


FLOOR_DKH, AIM_DKH, DEAD_DKH = 6.5, 8.0, 3.0


def lowest_dkh(bench: Bench, uptake_dkh: float) -> float:
    """The lowest alkalinity of the tank, hour by hour, by plain sums.

    The uptake falls in proportion to what is above 3 dKH (a model, not a measurement).
    """
    level = lowest = AIM_DKH
    poured: dict[int, float] = {}
    for intent in bench.intents():
        hour = int((intent.at - START) / HOUR)
        added = intent.effects.get("alkalinity", 0) / dkh_peq(1.0)
        poured[hour] = poured.get(hour, 0.0) + added
    for hour in range(10 * 24):
        share = (level - DEAD_DKH) / (AIM_DKH - DEAD_DKH)
        level += poured.get(hour, 0.0) - uptake_dkh / 24 * share
        lowest = min(lowest, level)
    return lowest


@pytest.mark.parametrize("what", ["approval", "correction beside it"])
def test_ten_days_alone_after_an_end_stay_above_the_floor(what: str) -> None:
    """Expired after an hour and nobody comes; without the grace it falls to 4 dKH."""
    purposes: tuple[Purpose, Purpose] = ("maintenance", "maintenance")
    if what != "approval":
        purposes = ("maintenance", "correction")
    bench = ending(purposes)
    force = bench.setup.forces[0]
    ends = START + HOUR
    approval = replace(
        force.approval, expires_at=ends, grace_until=ends + timedelta(days=14)
    )
    bench.setup = replace(bench.setup, forces=(replace(force, approval=approval),))
    bench.run_until(START + timedelta(days=10))
    # 48 mL a day of 1.887 meq/mL in 200 L is 1.27 dKH a day, what the tank takes up.
    assert lowest_dkh(bench, 1.27) > FLOOR_DKH
    early = [i for i in bench.intents() if i.at < ends]
    bench.events = list(early)
    assert lowest_dkh(bench, 1.27) < FLOOR_DKH
