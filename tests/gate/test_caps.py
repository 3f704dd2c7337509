"""Ceilings and gaps to the microlitre and the millisecond."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.charging import charge
from slackwater.facts.reasons import Code
from slackwater.facts.relays import Relay
from slackwater.facts.rolling import DAY_MS, HOUR_MS
from slackwater.facts.state import Flow
from slackwater.facts.tank import EffectCap, Outside
from slackwater.gate.caps import over_caps, too_close, unanswered_left_ms
from slackwater.gate.moment import Ask, Moment
from tests.gate.scene import (
    CARBONATE_PEQ_PER_UL,
    PROVEN_MS,
    TODAY,
    ask,
    dkh_peq,
    machine,
    moment,
)


def over(at: Moment, volume_ul: int, *, kind: str = "plan") -> list[Code]:
    """The caps that a carbonate dose would pass."""
    asked = ask(at)
    if kind == "calibrate":
        asked = replace(asked, kind="calibrate", line=None)
    return [reason.code for reason in over_caps(at, asked, volume_ul, TODAY)]


def with_pump(
    per_dose_ul: int = 3000, per_day_ul: int = 60_000, per_hour_ul: int | None = None
) -> Moment:
    """The scene with a carbonate pump of other limits."""
    used = machine()
    pump = replace(
        used.pumps["carbonate"],
        per_dose_ul=per_dose_ul,
        per_day_ul=per_day_ul,
        per_hour_ul=per_hour_ul,
    )
    return moment(replace(used, pumps={**used.pumps, "carbonate": pump}))


@pytest.mark.parametrize(("age_ms", "room_ul"), [(HOUR_MS - 1, 500), (HOUR_MS, 2500)])
def test_an_hourly_cap_counts_a_proven_hour(age_ms: int, room_ul: int) -> None:
    """2000 of 2500 µL were charged; they count until the hour is over."""
    at = with_pump(per_hour_ul=2500)
    charge(at.state, "pump/carbonate", (PROVEN_MS - age_ms, 2000, "x"), TODAY)
    assert [] == over(at, room_ul)
    assert [Code.CAP_HOUR] == over(at, room_ul + 1)


def test_an_hourly_cap_stands_before_anything_was_charged() -> None:
    """The first dose is held to it too."""
    at = with_pump(per_hour_ul=1500)
    assert ([], [Code.CAP_HOUR]) == (over(at, 1500), over(at, 1501))


def test_h45_a_pump_without_caps_gives_nothing() -> None:
    """Absent means zero, and one microlitre is more than that."""
    at = with_pump(per_dose_ul=0, per_day_ul=0)
    assert [Code.CAP_DOSE, Code.CAP_ROLLING, Code.CAP_DAY] == over(at, 1)


@pytest.mark.parametrize("volume_ul", [0, -1, -60_000])
def test_h42_no_volume_is_not_a_small_one(volume_ul: int) -> None:
    """Caps are written so that what is not above zero refuses."""
    assert Code.CAP_DOSE in over(moment(), volume_ul)


def test_yesterday_counts_for_24_hours_but_not_for_today() -> None:
    """58 000 µL late yesterday leave 2000 for the rolling day, all for the local."""
    at = moment()
    entry = (PROVEN_MS - HOUR_MS, 58_000, "x")
    charge(at.state, "pump/carbonate", entry, TODAY - timedelta(days=1))
    assert [Code.CAP_ROLLING] == over(at, 2001)


def test_effects_of_today_count_although_24_hours_are_over() -> None:
    """A day of 25 hours has one hour that only the local day still sees."""
    at = moment()
    room = dkh_peq(0.5) + dkh_peq(1.2) - 1000 * CARBONATE_PEQ_PER_UL
    charge(at.state, "effect/reef/alkalinity", (PROVEN_MS - DAY_MS, room, "x"), TODAY)
    assert ([], [Code.CAP_NET]) == (over(at, 1000), over(at, 1001))


@pytest.mark.parametrize(
    ("rule", "cap", "code"),
    [
        ("gross", dkh_peq(2.0), Code.CAP_GROSS),
        ("net", dkh_peq(0.5) + dkh_peq(1.2), Code.CAP_NET),
    ],
)
@pytest.mark.parametrize(("age_ms", "room_ul"), [(DAY_MS - 1, 1000), (DAY_MS, 3000)])
def test_effects_of_yesterday_count_for_24_hours(
    rule: str, cap: int, code: Code, age_ms: int, room_ul: int
) -> None:
    """All but 1000 µL was added late yesterday; a proven day later it is free.

    The net limit rises by the lower bound of the uptake; the other cap is out of reach.
    """
    used = machine()
    far = EffectCap(gross=10**15)
    caps = {"gross": EffectCap(gross=cap), "net": replace(far, net_rise=dkh_peq(0.5))}
    tank = replace(used.tanks["reef"], caps={"alkalinity": caps[rule]})
    at = moment(replace(used, tanks={"reef": tank}))
    charged = cap - 1000 * CARBONATE_PEQ_PER_UL
    entry = (PROVEN_MS - age_ms, charged, "x")
    charge(at.state, "effect/reef/alkalinity", entry, TODAY - timedelta(days=1))
    assert [] == over(at, room_ul)
    beyond = Code.CAP_DOSE if room_ul == 3000 else code
    assert [beyond] == over(at, room_ul + 1)


def test_what_comes_from_outside_is_part_of_the_gross_addition() -> None:
    """2.0 dKH a day may be poured in; 1.5 come by themselves, 0.5 are left."""
    source = Outside(
        id="top-off", tank="reef", parameter="alkalinity", per_day=dkh_peq(1.5)
    )
    elsewhere = replace(source, tank="frag")
    other = replace(source, parameter="calcium")
    used = replace(machine(), outside=(source, elsewhere, other))
    cap = EffectCap(gross=dkh_peq(2.0))
    caps = {**used.tanks["reef"].caps, "alkalinity": cap}
    tank = replace(used.tanks["reef"], caps=caps)
    pump = replace(used.pumps["carbonate"], per_dose_ul=60_000)
    pumps = {**used.pumps, "carbonate": pump}
    at = moment(replace(used, tanks={"reef": tank}, pumps=pumps))
    room_ul = (dkh_peq(2.0) - dkh_peq(1.5)) // CARBONATE_PEQ_PER_UL
    assert [] == over(at, room_ul)
    assert [Code.CAP_GROSS] == over(at, room_ul + 1)


def test_without_a_known_uptake_a_net_limit_is_a_gross_one() -> None:
    """0.5 dKH may rise and nothing is known to be taken up."""
    used = machine()
    tank = replace(used.tanks["reef"], uptake={})
    pump = replace(used.pumps["carbonate"], per_dose_ul=60_000)
    pumps = {**used.pumps, "carbonate": pump}
    at = moment(replace(used, tanks={"reef": tank}, pumps=pumps))
    room_ul = dkh_peq(0.5) // CARBONATE_PEQ_PER_UL
    assert ([], [Code.CAP_NET]) == (over(at, room_ul), over(at, room_ul + 1))


def test_a_shot_has_a_small_cap_of_its_own() -> None:
    """30 mL an hour into the cylinder, whatever the water was given."""
    at = moment()
    charge(at.state, "pump/carbonate", (PROVEN_MS - 1, 60_000, "x"), TODAY)
    assert [] == over(at, 30_000, kind="calibrate")
    assert [Code.CAP_CALIBRATION] == over(at, 30_001, kind="calibrate")


def test_shots_of_the_last_hour_count_against_it() -> None:
    """20 of 30 mL are used; after a proven hour they are free again."""
    at = moment()
    charge(at.state, "calibrate/carbonate", (PROVEN_MS - 1, 20_000, "x"), TODAY)
    assert [Code.CAP_CALIBRATION] == over(at, 10_001, kind="calibrate")
    later = replace(at, proven_ms=PROVEN_MS + HOUR_MS)
    assert [] == over(later, 10_001, kind="calibrate")


@pytest.mark.parametrize(
    ("since_ms", "expected_ms"),
    [
        (None, 0),
        (PROVEN_MS, DAY_MS),
        (PROVEN_MS - DAY_MS + 1, 1),
        (PROVEN_MS - DAY_MS, 0),
        (PROVEN_MS - 9 * DAY_MS, 0),
    ],
)
def test_h32_an_unanswered_day_is_a_whole_one(
    since_ms: int | None, expected_ms: int
) -> None:
    """24 proven hours from the moment at which nobody said."""
    at = moment()
    at.state.unanswered_ms = since_ms
    assert expected_ms == unanswered_left_ms(at.state, PROVEN_MS)


def test_h32_what_nobody_knows_is_the_whole_cap_to_the_last_moment() -> None:
    """It may have flowed right before; a millisecond of its day still takes all."""
    at = with_pump(per_dose_ul=60_000)
    tank = replace(
        at.machine.tanks["reef"], caps={"alkalinity": EffectCap(gross=10**15)}
    )
    free = moment(replace(at.machine, tanks={"reef": tank}))
    free.state.unanswered_ms = PROVEN_MS - DAY_MS + 1
    assert {Code.CAP_ROLLING, Code.CAP_DAY} <= set(over(free, 1_000))
    later = replace(free, proven_ms=PROVEN_MS + 1)
    assert [] == over(later, 60_000)


def close(at: Moment, pump: str = "carbonate", *, shot: bool = False) -> list[int]:
    """The seconds left of every gap."""
    asked: Ask = ask(at, pump)
    if shot:
        asked = replace(asked, kind="calibrate", line=None)
    return [int(str(reason.figures["left_s"])) for reason in too_close(at, asked)]


def flowed(at: Moment, pump: str, ago_ms: int) -> None:
    """The last drop of a pump fell so long ago."""
    at.state.flows[pump] = Flow(tank="reef", solution=pump, end_ms=PROVEN_MS - ago_ms)


def test_h46_a_pump_unknown_since_the_beginning_counts_from_then() -> None:
    """15 minutes after a new ledger a partner may still have run before it."""
    at = replace(moment(), proven_ms=899_001)
    assert [1] == close(at)
    assert [] == close(replace(at, proven_ms=900_000))


def test_h46_gaps_are_rounded_up_to_whole_seconds() -> None:
    """15 minutes to the partner, one minute to the same pump."""
    at = moment()
    flowed(at, "carbonate", 500)
    flowed(at, "calcium", 600_001)
    assert [60, 300] == close(at)


def test_a_shot_waits_for_its_own_pump_alone() -> None:
    """Nothing meets in the cylinder, and nothing has to mix: until the last drop."""
    at = moment()
    flowed(at, "carbonate", -1500)
    flowed(at, "calcium", 500)
    assert [2] == close(at, shot=True)
    flowed(at, "carbonate", 0)
    assert [] == close(at, shot=True)


def test_a_shot_behind_a_relay_waits_as_any_pulse() -> None:
    """A relay may run a pulse twice, wherever it flows: its longest and 30 s on top."""
    used = machine()
    relay = Relay(
        on_topic="a", on_payload="{ms}", off_topic="a", off_payload="0", state_topic="b"
    )
    shelf = replace(used.nodes["shelf"], relay=relay, cut_limit_ms=40_000)
    at = moment(replace(used, nodes={"shelf": shelf}))
    flowed(at, "carbonate", 0)
    assert [70] == close(at, shot=True)


def test_a_slow_circulation_makes_the_gap_longer() -> None:
    """Until the return pump has moved three tank volumes, if that takes longer."""
    used = machine()
    tank = replace(used.tanks["reef"], turnover_s=3600.0)
    at = moment(replace(used, tanks={"reef": tank}))
    flowed(at, "calcium", 0)
    assert [3600] == close(at)


def test_solutions_not_kept_apart_have_no_gap() -> None:
    """Nor have pumps of another tank."""
    at = moment(replace(machine(), apart={}))
    flowed(at, "calcium", 0)
    assert [] == close(at)


@pytest.mark.parametrize(
    ("solution", "ago_s", "expected"),
    [
        ("calcium", 899, True),
        ("calcium", 900, False),
        ("carbonate", 0, False),
        ("", 1799, True),
        ("", 1800, False),
    ],
)
def test_what_was_poured_in_by_hand_keeps_its_gap(
    solution: str, ago_s: int, *, expected: bool
) -> None:
    """15 minutes to calcium; to what nobody named 30, as to the worst."""
    at = moment()
    hand = f"hand/reef/{solution}"
    end_ms = PROVEN_MS - ago_s * 1000
    at.state.flows[hand] = Flow(tank="reef", solution=solution, end_ms=end_ms)
    said = [reason.figures.get("pump") for reason in too_close(at, ask(at))]

    assert expected == (hand in said)
