"""The one gate: granted, shortened or refused, with all reasons."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.charging import charge
from slackwater.facts.events import HoldRaised
from slackwater.facts.reasons import Code, because
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.state import Flow
from slackwater.facts.tank import Uptake
from slackwater.gate.moment import Moment
from slackwater.gate.verdict import Granted, Refused, may_dose
from tests.gate.scene import (
    CALCIUM_PG_PER_UL,
    CARBONATE_PEQ_PER_UL,
    NOW,
    PROVEN_MS,
    TODAY,
    ask,
    beat,
    dkh_peq,
    moment,
    probed,
    with_probe,
)


def codes(at: Moment, pump: str = "carbonate", volume_ul: int = 2000) -> list[Code]:
    """The reason codes of a refusal, empty when the dose is granted."""
    verdict = may_dose(at, ask(at, pump, volume_ul), TODAY)
    return [reason.code for reason in verdict.reasons if isinstance(verdict, Refused)]


def hold(scope: str, code: Code = Code.MANUAL_HOLD) -> HoldRaised:
    """A latched hold of one scope."""
    return HoldRaised(
        at=NOW,
        boot_s=1.0,
        proven_ms=PROVEN_MS,
        hold_id="h1",
        scope=scope,
        reason=because(code),
        latched=True,
    )


def test_grants_what_is_proven_and_fits() -> None:
    """A healthy scene gives the planned volume with its effect and no reason."""
    at = moment()
    assert Granted(
        volume_ul=2000, effects={"alkalinity": 2000 * CARBONATE_PEQ_PER_UL}
    ) == may_dose(at, ask(at), TODAY)


def _unsynchronised(at: Moment) -> Moment:
    return replace(at, now=replace(at.now, synchronised=False))


def _behind(at: Moment) -> Moment:
    at.state.newest_at = NOW + timedelta(seconds=3)
    return at


def _disk(at: Moment) -> Moment:
    at.sight.free_bytes = 199_999_999
    return at


def _just_started(at: Moment) -> Moment:
    at.sight.started_boot_s = at.now.boot_s - 59
    return at


def _expired(at: Moment) -> Moment:
    assert at.approval is not None
    return replace(at, approval=replace(at.approval, expires_at=NOW))


def _link(at: Moment) -> Moment:
    at.sight.actuate_up = False
    return at


def _old_beat(at: Moment) -> Moment:
    at.sight.nodes["shelf"].beat = replace(beat(), heard_boot_s=10_000.0 - 15.1)
    return at


def _never_heard(at: Moment) -> Moment:
    at.sight.nodes.clear()
    return at


def _few_beats(at: Moment) -> Moment:
    at.sight.nodes["shelf"].beats = 2
    return at


def _budget(at: Moment) -> Moment:
    at.sight.nodes["shelf"].beat = beat(budget_ul=1999)
    return at


def _second(at: Moment) -> Moment:
    at.sight.nodes["shelf"].beat = replace(beat(), fence=2)
    return at


def _node_hold(at: Moment) -> Moment:
    at.sight.nodes["shelf"].beat = replace(beat(), hold=True)
    return at


def _other_hardware(at: Moment) -> Moment:
    assert at.approval is not None
    hardware = {"shelf": ("virtual-2", "0badcafe")}
    return replace(at, approval=replace(at.approval, hardware=hardware))


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (_unsynchronised, Code.CLOCK_UNPROVEN),
        (_behind, Code.CLOCK_BEHIND),
        (_disk, Code.LEDGER_FULL),
        (_just_started, Code.START_HOLD_OFF),
        (_expired, Code.APPROVAL_EXPIRED),
        (lambda at: replace(at, approval=None), Code.NO_PLAN),
        (_link, Code.LINK_DOWN),
        (_old_beat, Code.NODE_ABSENT),
        (_never_heard, Code.NODE_ABSENT),
        (_few_beats, Code.NODE_SETTLING),
        (_budget, Code.NODE_BUDGET),
        (_second, Code.SECOND_DAEMON),
        (_node_hold, Code.NODE_HELD),
        (_other_hardware, Code.NODE_IDENTITY),
    ],
)
def test_refuses_whatever_is_not_proven(
    change: Callable[[Moment], Moment], code: Code
) -> None:
    """One thing unproven at a time refuses, with exactly its reason."""
    assert [code] == codes(change(moment()))


@pytest.mark.parametrize("volume_ul", [0, -1, 3001])
def test_per_dose_cap_refuses_the_next_microlitre(volume_ul: int) -> None:
    """3000 µL pass, anything outside 1..3000 does not."""
    at = moment()
    assert [] == codes(at, volume_ul=3000)
    assert codes(at, volume_ul=volume_ul)


def test_rolling_cap_counts_until_a_proven_day_has_passed() -> None:
    """58 000 µL of 60 000 leave room for 2000 and not for 2001; a day frees them."""
    at = moment()
    entry = (PROVEN_MS - DAY_MS + 1, 58_000, "x")
    charge(at.state, "pump/carbonate", entry, TODAY - timedelta(days=1))
    assert [] == codes(at)
    assert [Code.CAP_ROLLING] == codes(at, volume_ul=2001)
    assert [] == codes(replace(at, proven_ms=PROVEN_MS + 1), volume_ul=2001)


def test_local_day_cap_counts_what_the_day_was_charged() -> None:
    """A charge of today counts although its 24 h are over (a 25-hour day)."""
    at = moment()
    charge(at.state, "pump/carbonate", (PROVEN_MS - DAY_MS, 58_000, "x"), TODAY)
    assert [Code.CAP_DAY] == codes(at, volume_ul=2001)


def test_gross_and_net_caps_refuse_the_next_microlitre() -> None:
    """Net rise 0.5 dKH over an uptake of at least 1.2 dKH: 1.7 dKH a day."""
    at = moment()
    room = dkh_peq(0.5) + dkh_peq(1.2) - 1000 * CARBONATE_PEQ_PER_UL
    charge(at.state, "effect/reef/alkalinity", (PROVEN_MS - 1, room, "x"), TODAY)
    assert [] == codes(at, volume_ul=1000)
    assert [Code.CAP_NET] == codes(at, volume_ul=1001)


def test_a_missing_effect_cap_is_zero() -> None:
    """What nobody capped may not be added at all."""
    at = moment()
    tank = replace(at.machine.tanks["reef"], caps={})
    bare = moment(replace(at.machine, tanks={"reef": tank}))
    assert [Code.CAP_GROSS] == codes(bare, "calcium", 1)


def test_h32_unanswered_start_uses_a_whole_day_up() -> None:
    """Half a day after `init` without an answer nothing of the cap is free."""
    at = moment()
    at.state.unanswered_ms = PROVEN_MS - DAY_MS // 2
    assert Code.CAP_ROLLING in codes(at)
    at.state.unanswered_ms = PROVEN_MS - DAY_MS
    assert [] == codes(at)


def test_gaps_hold_from_the_last_possible_end_of_flow() -> None:
    """One pump's own gap, and the gap to a solution that must be kept apart."""
    at = moment()
    end_ms = PROVEN_MS - 59_999
    at.state.flows["carbonate"] = Flow(tank="reef", solution="carbonate", end_ms=end_ms)
    assert [Code.GAP_SAME_PUMP] == codes(at)
    assert [Code.GAP_APART] == codes(at, "calcium")
    assert [] == codes(replace(at, proven_ms=PROVEN_MS + 1))


@pytest.mark.parametrize(
    ("scope", "carbonate", "calcium"),
    [
        ("all", Code.MANUAL_HOLD, Code.MANUAL_HOLD),
        ("tank/reef", Code.MANUAL_HOLD, Code.MANUAL_HOLD),
        ("node/shelf", Code.MANUAL_HOLD, Code.MANUAL_HOLD),
        ("pump/carbonate", Code.MANUAL_HOLD, Code.GROUP),
        ("alkalinity/reef", Code.MANUAL_HOLD, Code.MANUAL_HOLD),
        ("tank/other", None, None),
    ],
)
def test_holds_reach_their_scope_and_the_group(
    scope: str, carbonate: Code | None, calcium: Code | None
) -> None:
    """Lines of a group hold together; a hold elsewhere holds nothing."""
    at = moment()
    at.state.holds["h1"] = hold(scope)
    assert [code for code in (carbonate,) if code] == codes(at)
    assert [code for code in (calcium,) if code] == codes(at, "calcium")


def test_missing_probe_shortens_to_the_base_and_its_group_with_it() -> None:
    """0.8 x 1.4 dKH of uptake (below the bound of 1.2) over the plan's share."""
    at = moment(probed())
    base = dkh_peq(1.4) * 80 // 100
    plan_peq = 48_000 * CARBONATE_PEQ_PER_UL
    share_ppm = base * 1_000_000 // plan_peq
    verdict = may_dose(at, ask(at), TODAY)
    partner = may_dose(at, ask(at, "calcium"), TODAY)
    expected_ul = 2000 * share_ppm // 1_000_000
    assert (Granted, expected_ul) == (type(verdict), getattr(verdict, "volume_ul", 0))
    assert [Code.ALKALINITY_MISSING] == [reason.code for reason in verdict.reasons]
    assert (
        Granted(
            volume_ul=expected_ul,
            effects={"calcium": expected_ul * CALCIUM_PG_PER_UL},
            reasons=verdict.reasons,
        )
        == partner
    )


@pytest.mark.parametrize(
    ("values", "every_s", "code"),
    [
        ([8.2] * 40, 900.0, Code.ALKALINITY_FROZEN),
        ([8.20, 6.49], 900.0, Code.ALKALINITY_LOW),
        ([8.2, 8.21, 8.19, 8.2, 7.3, 7.31, 7.3, 7.32], 900.0, Code.ALKALINITY_FALL),
    ],
)
def test_doubtful_water_shortens_and_never_refuses(
    values: list[float], every_s: float, code: Code
) -> None:
    """Frozen, low or falling alkalinity gives less, with its reason."""
    at = moment(probed())
    with_probe(at, values, every_s)
    verdict = may_dose(at, ask(at), TODAY)
    assert isinstance(verdict, Granted)
    assert verdict.volume_ul < 2000
    assert code in [reason.code for reason in verdict.reasons]


def test_sound_readings_leave_the_dose_whole() -> None:
    """A quiet, fresh series speaks against nothing."""
    at = moment(probed())
    with_probe(at, [8.2, 8.22, 8.19, 8.21, 8.2, 8.23])
    assert 2000 == getattr(may_dose(at, ask(at), TODAY), "volume_ul", 0)


def test_the_smallest_dose_there_is_may_be_granted() -> None:
    """A plan may ask for a microlitre of a pump that nobody measured."""
    at = moment()
    granted = may_dose(at, ask(at, volume_ul=1), TODAY)
    assert isinstance(granted, Granted)
    assert 1 == granted.volume_ul


@pytest.mark.parametrize(("least", "percent"), [(69_996, 6), (70_001, 7)])
def test_a_share_is_told_in_percent_rounded_down(least: int, percent: int) -> None:
    """So many millionths of the plan are surely used, one less may be given."""
    at = moment(probed())
    tank = at.machine.tanks["reef"]
    plan_peq = 48_000 * CARBONATE_PEQ_PER_UL
    low = plan_peq * least // 1_000_000
    uptake = {"alkalinity": Uptake(estimate=plan_peq, low=low)}
    at = moment(replace(at.machine, tanks={"reef": replace(tank, uptake=uptake)}))
    refused = may_dose(at, ask(at), TODAY)
    assert isinstance(refused, Refused)
    told = [r for r in refused.reasons if r.code is Code.TOO_SMALL]
    assert [percent] == [reason.figures["share_percent"] for reason in told]
