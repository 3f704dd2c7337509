"""The gate on halves of an exchange: by chance, and one by one.

Whatever an account says, a grant keeps three sums: no more comes in than was seen to
leave, the tank is never off by more than a five-hundredth, containers keep their rest.
"""

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from slackwater.facts.exchanges import Account, Phase, Side, drain_of, most_off_ul
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Code
from slackwater.facts.state import Fill, Flow
from slackwater.facts.tank import Pump
from slackwater.gate.exchanges import (
    blocks_top_off,
    filled,
    filled_ul,
    half_refuses,
    mismatch_at,
)
from slackwater.gate.moment import Ask, Moment, rules_for
from slackwater.gate.shortening import Share
from slackwater.gate.verdict import Granted, Refused, may_dose
from tests.gate.scene import NOW, PROVEN_MS, TODAY, moment
from tests.turn.pairs import (
    CONTENT_UL,
    NET_UL,
    PAIR,
    PORTION_UL,
    lines,
    paired,
    plan_of,
)

PHASES: tuple[Phase, ...] = ("rest", "draining", "owed", "filling", "unknown")
OUT, BACK = "reef/daily-out@2026-05-03#01", "reef/daily-in@2026-05-03#01"
LITRE_UL = 1_000_000


def scene(account: Account | None = None, **pumps: int) -> Moment:
    """Everything proven, the new water tested; this is where the pair stands."""
    machine = paired()
    halves = {
        name: replace(pump, **pumps)  # type: ignore[arg-type]  # whole numbers
        for name, pump in machine.pumps.items()
    }
    machine = replace(machine, pumps=halves)
    found = replace(
        moment(), machine=machine, rules=rules_for(machine, plan_of(*lines()))
    )
    seen = found.sight.nodes["shelf"]
    channels = {
        name: replace(channel, budget_ul=10**7)
        for name, channel in seen.beat.channels.items()
    }
    seen.beat = replace(seen.beat, channels=channels)
    for container in ("canister", "waste"):
        found.state.fills[container] = Fill(
            content_ul=CONTENT_UL, mixed_at=NOW, levels={"salinity": 35.0}
        )
    if account is not None:
        found.state.exchanges["water"] = account
    return found


def ask(at: Moment, pump: str, volume_ul: int = PORTION_UL) -> Ask:
    """The first half of the day of one pump."""
    identity = OUT if pump == "out" else BACK
    dose = DueDose(
        id=identity,
        line=identity.split("/")[1].split("@")[0],
        tank="reef",
        pump=pump,
        local_day=TODAY,
        ordinal=1,
        due_at=NOW,
        latest_at=NOW + timedelta(minutes=9),
        volume_ul=volume_ul,
    )
    rule = at.rules.pumps[pump]
    return Ask(
        dose=dose, kind="plan", pump=rule, line=at.rules.lines[f"reef/{dose.line}"]
    )


def codes(at: Moment, pump: str) -> set[Code]:
    """Why a half is refused; nothing where it is granted."""
    verdict = may_dose(at, ask(at, pump), TODAY)
    return {reason.code for reason in verdict.reasons if isinstance(verdict, Refused)}


def owed(volume_ul: int = PORTION_UL, phase: Phase = "owed") -> Account:
    """A drain that ended, or not."""
    return Account(
        drain=Side(pump="out", moved_ul=volume_ul, unproven_ul=volume_ul),
        phase=phase,
        dose=OUT,
        owed_ul=volume_ul,
        latest_at=NOW,
    )


volumes = st.integers(0, 40 * LITRE_UL)
sides = st.builds(
    Side,
    pump=st.sampled_from(["out", "in"]),
    moved_ul=volumes,
    unproven_ul=volumes,
    off_ul=st.integers(-LITRE_UL, LITRE_UL),
    within_ul=st.integers(0, LITRE_UL),
)
accounts = st.builds(
    Account,
    drain=sides,
    fill=sides,
    phase=st.sampled_from(PHASES),
    dose=st.sampled_from([OUT, "reef/daily-out@2026-05-02#10", ""]),
    owed_ul=st.integers(0, 2 * PORTION_UL),
    topped_ul=st.integers(0, LITRE_UL),
)


@settings(max_examples=150, deadline=None)
@given(
    account=accounts,
    left=st.tuples(volumes, volumes),
    volume_ul=st.integers(10_000, 300_000),
    used=st.booleans(),
)
def test_whatever_the_account_says_a_grant_keeps_the_tank_in_balance(
    account: Account, left: tuple[int, int], volume_ul: int, *, used: bool
) -> None:
    """Drains only at rest and within bounds; fills only what their drain took."""
    at = scene(account)
    for container, left_ul in zip(("canister", "waste"), left, strict=True):
        at.state.fills[container].content_ul = left_ul
    if used:
        at.state.used[OUT] = TODAY
    drain = may_dose(at, ask(at, "out", volume_ul), TODAY)
    if isinstance(drain, Granted):
        found = mismatch_at(at, PAIR)
        assert account.phase == "rest" or account.owed_ul < 10_000
        worst_ul = max(found.drained_more_ul + drain.volume_ul, -found.drained_more_ul)
        assert worst_ul + found.within_ul <= most_off_ul(NET_UL)
        assert min(left) - drain.volume_ul >= LITRE_UL
    fill = may_dose(at, ask(at, "in", volume_ul), TODAY)
    if isinstance(fill, Granted):
        assert ("owed", OUT) == (account.phase, account.dose)
        assert fill.volume_ul == min(account.owed_ul, volume_ul)


def test_at_rest_a_drain_runs_and_no_fill() -> None:
    """Water out comes first."""
    at = scene()
    assert set() == codes(at, "out")
    assert {Code.EXCHANGE_WAITS} == codes(at, "in")


def test_what_is_owed_comes_in_and_no_drain_before_it() -> None:
    """The fill of this drain, whole."""
    at = scene(owed())
    assert set() == codes(at, "in")
    assert {Code.EXCHANGE_WAITS} == codes(at, "out")
    assert OUT == drain_of(BACK)


@pytest.mark.parametrize("passed_s", [0, 59])
def test_a_fill_waits_until_the_water_is_at_rest(passed_s: int) -> None:
    """One minute after the last drop out, not a second before."""
    at = scene(owed())
    flow = Flow(tank="reef", solution="tank-water", end_ms=PROVEN_MS - 1000 * passed_s)
    at.state.flows["out"] = flow
    assert {Code.EXCHANGE_WAITS} == codes(at, "in")
    flow.end_ms = PROVEN_MS - 60_000
    assert set() == codes(at, "in")


@pytest.mark.parametrize(
    ("phase", "expected"),
    [
        ("draining", Code.EXCHANGE_WAITS),
        ("filling", Code.EXCHANGE_WAITS),
        ("unknown", Code.EXCHANGE_UNFILLED),
    ],
)
def test_neither_half_runs_while_a_half_does_or_nobody_knows(
    phase: Phase, expected: Code
) -> None:
    """And the water that is on its way blocks the top-off."""
    at = scene(owed(phase=phase))
    assert {expected} == codes(at, "in")
    assert {expected} == codes(at, "out")
    assert (phase != "unknown") == blocks_top_off(at, "reef")


def test_water_that_is_owed_or_comes_to_rest_blocks_the_top_off() -> None:
    """Until its fill has settled, or a person is called for; then no longer."""
    at = scene(owed())
    assert blocks_top_off(at, "reef")
    assert not blocks_top_off(scene(owed(9_000)), "reef")
    at = scene()
    settle_ms = int(PAIR.settle_s * 1000)
    for end_ms, expected in ((1 - settle_ms, True), (-settle_ms, False)):
        at.state.flows["in"] = Flow(
            tank="reef", solution="new", end_ms=PROVEN_MS + end_ms
        )
        assert expected == blocks_top_off(at, "reef")


def test_a_drain_that_never_ran_has_no_fill() -> None:
    """Missed or voided: its fill is missed at once, for waiting cannot help."""
    at = scene()
    at.state.used[OUT] = TODAY
    verdict = may_dose(at, ask(at, "in"), TODAY)
    assert isinstance(verdict, Refused)
    assert verdict.final
    assert {Code.EXCHANGE_NOTHING} == {reason.code for reason in verdict.reasons}


def test_a_fill_without_a_drain_is_missed_whatever_else_stops_it() -> None:
    """A link that comes back brings no water to make up for."""
    at = scene()
    at.state.used[OUT] = TODAY
    at.sight.actuate_up = False
    verdict = may_dose(at, ask(at, "in"), TODAY)
    assert isinstance(verdict, Refused)
    assert verdict.final
    assert {Code.LINK_DOWN, Code.EXCHANGE_NOTHING} == codes(at, "in")


def test_less_than_the_pump_gives_reliably_is_not_filled_in() -> None:
    """9 mL of a pump that gives 10 mL: nothing, and the next drain is free."""
    at = scene(owed(9_000))
    assert {Code.TOO_SMALL} == codes(at, "in")
    assert set() == codes(at, "out")


def test_a_drain_waits_for_a_fill_pump_that_cannot_run() -> None:
    """Its channel is at fault: what could not be made up for is not drained."""
    at = scene()
    beat = at.sight.nodes["shelf"].beat
    broken = {**beat.channels, "b": replace(beat.channels["b"], state="fault")}
    at.sight.nodes["shelf"].beat = replace(beat, channels=broken)
    assert {Code.NODE_FAULT} == codes(at, "out")


def test_a_drain_waits_for_the_caps_of_its_fill() -> None:
    """The fill's cap of the day is reached and the drain's is not."""
    at = scene()
    spent = replace(at.machine.pumps["in"], per_day_ul=PORTION_UL - 1)
    machine = replace(at.machine, pumps={**at.machine.pumps, "in": spent})
    at = replace(at, machine=machine, rules=rules_for(machine, plan_of(*lines())))
    assert {Code.CAP_DAY, Code.CAP_ROLLING} == codes(at, "out")


def test_neither_pump_is_moved_by_hand() -> None:
    """A drain or a fill by itself would put the tank off."""
    at = scene(per_hand_ul=PORTION_UL)
    for name in ("out", "in"):
        by_hand = replace(ask(at, name), kind="manual")
        verdict = may_dose(at, by_hand, TODAY)
        assert isinstance(verdict, Refused)
        assert Code.EXCHANGE_ALONE in {reason.code for reason in verdict.reasons}


def test_a_drain_without_a_fill_in_the_plan_in_force_waits() -> None:
    """A plan that took over since has no fill for it."""
    at = scene()
    out, _ = lines()
    asked = ask(at, "out")
    at = replace(at, rules=rules_for(at.machine, plan_of(out)))
    verdict = may_dose(at, asked, TODAY)
    assert {Code.NO_PLAN} == {reason.code for reason in verdict.reasons}


def test_a_run_into_a_cylinder_is_no_half() -> None:
    """Calibrating a pump of a pair asks nothing of the pair."""
    at = scene(owed(phase="unknown"), per_calibration_ul=PORTION_UL)
    shot = replace(ask(at, "out"), kind="calibrate", line=None)
    assert isinstance(may_dose(at, shot, TODAY), Granted)


def test_a_pump_of_no_pair_is_asked_nothing() -> None:
    """Nothing refuses it, and there is nothing it could make up for."""
    at = scene()
    single = replace(at, machine=replace(at.machine, exchanges={}))
    asked = ask(at, "out")
    assert [] == half_refuses(single, asked, Share(), TODAY)
    assert 0 == filled_ul(single, asked)
    assert 0 == filled(single, asked).ppm


def test_other_pumps_know_nothing_of_pairs() -> None:
    """A machine with a pair finds neither half in a third pump."""
    third: Pump = replace(paired().pumps["in"], id="third")
    machine = replace(paired(), pumps={**paired().pumps, "third": third})
    assert machine.pair_of("third") is None
    assert (PAIR, "drain") == machine.pair_of("out")
    assert not blocks_top_off(scene(), "lagoon")
