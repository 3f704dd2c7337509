"""Conditions under which nothing may run: one test per row of the table."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import cast

import pytest

from slackwater.facts.events import Calibrated, HoldRaised
from slackwater.facts.messages import ChannelPhase
from slackwater.facts.plan import Approval, Plan
from slackwater.facts.reasons import Code, because
from slackwater.gate.interlocks import INTERLOCKS, may_go_on, refusals
from slackwater.gate.moment import Ask, Moment, rules_for
from slackwater.gate.scopes import reaches
from tests.facts.diary import Diary, attempt
from tests.gate.scene import NOW, PROVEN_MS, ask, beat, machine, moment, plan


def codes(at: Moment, asked: Ask | None = None) -> list[Code]:
    """The codes of all interlocks for a carbonate dose."""
    return [reason.code for reason in refusals(at, asked or ask(at))]


def shot(at: Moment) -> Ask:
    """A run of the carbonate pump into a cylinder."""
    return replace(ask(at), kind="calibrate", line=None)


def measured(cal: str) -> Calibrated:
    """A calibration of the carbonate pump."""
    return Calibrated(
        at=NOW,
        boot_s=1.0,
        proven_ms=PROVEN_MS,
        pump="carbonate",
        rate_nl_per_s=1_300_000,
        cal=cal,
        shots=3,
        spread_percent=1.0,
        proofs=(),
        by="keeper",
    )


@pytest.mark.parametrize(
    ("ahead_s", "expected"), [(0.0, []), (2.0, []), (2.1, [Code.CLOCK_BEHIND])]
)
def test_h38_a_ledger_ahead_by_more_than_a_moment_stops(
    ahead_s: float, expected: list[Code]
) -> None:
    """Clocks are read one after the other; two seconds prove no step back."""
    at = moment()
    at.state.newest_at = NOW + timedelta(seconds=ahead_s)
    assert expected == codes(at)


def hold(scope: str, minutes: float | None = None) -> HoldRaised:
    """A hold, for so long or until a person ends it."""
    until = None if minutes is None else NOW + timedelta(minutes=minutes)
    return HoldRaised(
        at=NOW,
        boot_s=1.0,
        proven_ms=PROVEN_MS,
        hold_id="h1",
        scope=scope,
        reason=because(Code.PAUSE),
        latched=minutes is None,
        until=until,
    )


@pytest.mark.parametrize("code", [Code.OVER_DELIVERED, Code.PUMP_CHANGED])
def test_what_must_be_measured_before_it_is_released_stops_no_shot(code: Code) -> None:
    """Into a cylinder it runs, and goes on; into the water, or to fill a hose, not."""
    at = moment()
    at.state.holds["h1"] = replace(hold("pump/carbonate"), reason=because(code))
    into_a_cylinder = shot(at)
    assert [] == codes(at, into_a_cylinder)
    assert may_go_on(at, into_a_cylinder)
    for kind in ("prime", "manual", "plan"):
        assert code in codes(at, replace(ask(at), kind=kind))
    assert not may_go_on(at, ask(at))


def _no_approval(at: Moment) -> Moment:
    return replace(at, approval=None)


def _newer_calibration(at: Moment) -> Moment:
    at.state.calibrations["carbonate"] = measured("77aa01cf")
    return at


def _swapped_solution(at: Moment) -> Moment:
    pump = replace(at.machine.pumps["carbonate"], solution="calcium")
    used = replace(at.machine, pumps={**at.machine.pumps, "carbonate": pump})
    return replace(at, machine=used, rules=rules_for(used, plan()))


def _measured_elsewhere(at: Moment) -> Moment:
    known = replace(measured("77aa01cf"), node="shelf", channel="b")
    at.state.calibrations["carbonate"] = known
    approval = replace(
        cast("Approval", at.approval), calibrations={"carbonate": "77aa01cf"}
    )
    return replace(at, approval=approval)


def _no_channel(at: Moment) -> Moment:
    at.sight.nodes["shelf"].beat = replace(beat(), channels={})
    return at


def _other_configuration(at: Moment) -> Moment:
    node = replace(at.machine.nodes["shelf"], config_id="00000000")
    return replace(at, machine=replace(at.machine, nodes={"shelf": node}))


def _young_node(at: Moment) -> Moment:
    at.sight.nodes["shelf"].beat = replace(beat(), up=59_999)
    return at


def _beat_from_later(at: Moment) -> Moment:
    at.sight.nodes["shelf"].beat = replace(beat(), heard_boot_s=10_000.1)
    return at


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (_no_approval, Code.NO_PLAN),
        (_newer_calibration, Code.CALIBRATION_CHANGED),
        (_swapped_solution, Code.PUMP_CHANGED),
        (_measured_elsewhere, Code.PUMP_CHANGED),
        (_no_channel, Code.NODE_ABSENT),
        (_other_configuration, Code.NODE_IDENTITY),
        (_young_node, Code.NODE_SETTLING),
        (_beat_from_later, Code.NODE_ABSENT),
    ],
)
def test_what_is_not_proven_refuses(
    change: Callable[[Moment], Moment], code: Code
) -> None:
    """One thing wrong in a healthy scene, one reason."""
    assert [code] == codes(change(moment()))


@pytest.mark.parametrize(
    ("phase", "expected"),
    [
        ("idle", []),
        ("starting", [Code.NODE_SETTLING]),
        ("running", [Code.NODE_BUSY]),
        ("held", [Code.NODE_HELD]),
        ("fault", [Code.NODE_FAULT]),
    ],
)
def test_a_channel_must_be_idle(phase: ChannelPhase, expected: list[Code]) -> None:
    """Each other phase has its own reason."""
    at = moment()
    healthy = beat()
    channel = replace(healthy.channels["a"], state=phase)
    channels = {**healthy.channels, "a": channel}
    at.sight.nodes["shelf"].beat = replace(healthy, channels=channels)
    assert expected == codes(at)


def test_an_approved_calibration_is_no_change() -> None:
    """It is the one the person saw."""
    at = moment()
    at.state.calibrations["carbonate"] = measured("77aa01cf")
    assert at.approval is not None
    approval = replace(at.approval, calibrations={"carbonate": "77aa01cf"})
    assert [] == codes(replace(at, approval=approval))


def test_a_dose_of_no_line_has_no_plan() -> None:
    """Whatever the approval says."""
    at = moment()
    assert [Code.NO_PLAN] == codes(at, replace(ask(at), line=None))


def test_a_shot_needs_no_plan() -> None:
    """It has its own request; everything else holds for it as well."""
    at = _no_approval(moment())
    assert [] == codes(at, shot(at))
    at.sight.actuate_up = False
    assert [Code.LINK_DOWN] == codes(at, shot(at))


@pytest.mark.parametrize(("minutes", "expected"), [(0.1, [Code.PAUSE]), (0.0, [])])
def test_a_pause_ends_by_itself(minutes: float, expected: list[Code]) -> None:
    """At its last moment it is over, whether or not that was written down."""
    at = moment()
    at.state.holds["h1"] = hold("all", minutes)
    assert expected == codes(at)


@pytest.mark.parametrize(
    ("scope", "expected"),
    [
        ("all", True),
        ("pump/carbonate", True),
        ("node/shelf", True),
        ("alkalinity/reef", False),
        ("pump/calcium", False),
        ("shelf", False),
    ],
)
def test_alkalinity_holds_no_shot(scope: str, *, expected: bool) -> None:
    """The cylinder is not the water; pump, node and everything are."""
    assert expected == reaches(scope, shot(moment()))


def test_a_hold_of_a_partner_does_not_reach_a_shot() -> None:
    """Groups are for doses of a plan."""
    at = moment()
    at.state.holds["h1"] = hold("pump/calcium")
    assert ([Code.GROUP], []) == (codes(at), codes(at, shot(at)))


def test_a_partner_without_a_pump_holds_nobody() -> None:
    """Its pump is gone from the machine; its own doses say so."""
    at = moment()
    pumps = {"carbonate": at.machine.pumps["carbonate"]}
    bare = replace(at, rules=rules_for(replace(machine(), pumps=pumps), plan()))
    bare.state.holds["h1"] = hold("pump/calcium")
    assert [] == codes(bare)


def test_lines_without_a_group_are_held_alone() -> None:
    """A partner that is none."""
    lines = tuple(replace(line, group="") for line in plan().lines)
    alone: Plan = replace(plan(), lines=lines)
    at = replace(moment(), rules=rules_for(machine(), alone))
    at.state.holds["h1"] = hold("pump/calcium")
    assert [] == codes(at)


def test_one_open_intent_holds_its_node() -> None:
    """Until it is settled nothing else of the node may run."""
    at = moment()
    diary = Diary(at=NOW, proven_ms=PROVEN_MS, state=at.state)
    diary.intend(1, pump="calcium")
    assert [Code.OPEN_INTENT] == codes(at)


@pytest.mark.parametrize(
    ("waited_ms", "taken", "expected"),
    [
        (30_999, False, Code.OPEN_INTENT),
        (31_000, False, Code.NODE_SILENT),
        (31_000, True, Code.OPEN_INTENT),
    ],
)
def test_an_intent_of_which_nothing_is_heard_is_silence(
    waited_ms: int, *, taken: bool, expected: Code
) -> None:
    """After 30 s, unless the node has said that it took the command."""
    at = moment()
    diary = Diary(at=NOW, proven_ms=PROVEN_MS, state=at.state)
    diary.intend(1)
    at.state.open[attempt(1)].taken = taken
    assert [expected] == codes(replace(at, proven_ms=PROVEN_MS + waited_ms))


@pytest.mark.parametrize(
    ("pump", "expected"), [("calcium", []), ("carbonate", [Code.OPEN_INTENT])]
)
def test_an_intent_of_another_node_holds_only_its_own_pump(
    pump: str, expected: list[Code]
) -> None:
    """A pump that was moved to another node may still run on the old one."""
    at = moment()
    diary = Diary(at=NOW, proven_ms=PROVEN_MS, state=at.state)
    diary.intend(1, pump=pump)
    known = at.state.open[attempt(1)]
    command = replace(known.intent.command, node="cellar")
    known.intent = replace(known.intent, command=command)
    assert expected == codes(at)


def test_all_reasons_of_all_interlocks_are_given() -> None:
    """In the order of the table; the second one does not hide behind the first."""
    at = moment()
    bad = replace(at, now=replace(at.now, synchronised=False), approval=None)
    bad.sight.free_bytes = 0
    bad.sight.observe_up = False
    bad.sight.nodes.clear()
    bad.state.holds["h1"] = hold("all")
    expected = [
        Code.CLOCK_UNPROVEN,
        Code.LEDGER_FULL,
        Code.NO_PLAN,
        Code.PAUSE,
        Code.LINK_DOWN,
        Code.NODE_ABSENT,
    ]
    assert expected == codes(bad)
    assert 9 == len(INTERLOCKS)


# What the file names, what was seen at approval, and what a beat of the scene's node
# (virtual-1, 0badcafe) then means.
IDENTITIES = [
    (("", ""), ("", ""), True),
    (("virtual-1", "0badcafe"), ("", ""), True),
    (("", ""), ("virtual-1", "0badcafe"), True),
    (("virtual-1", ""), ("virtual-2", "0badcafe"), True),
    (("virtual-2", ""), ("", ""), False),
    (("virtual-2", ""), ("virtual-1", "0badcafe"), False),
    (("", "00000000"), ("virtual-1", "0badcafe"), False),
    (("", ""), ("virtual-2", "0badcafe"), False),
    (("", ""), ("virtual-1", "00000000"), False),
]


@pytest.mark.parametrize(("configured", "approved", "expected"), IDENTITIES)
def test_h24_a_node_is_the_one_of_the_file_or_of_the_approval(
    configured: tuple[str, str], approved: tuple[str, str], *, expected: bool
) -> None:
    """The file's word counts before what was seen; neither is a word for anybody."""
    at = moment()
    assert at.approval is not None
    hardware_id, config_id = configured
    node = replace(
        at.machine.nodes["shelf"], hardware_id=hardware_id, config_id=config_id
    )
    changed = replace(
        at,
        machine=replace(at.machine, nodes={"shelf": node}),
        approval=replace(at.approval, hardware={"shelf": approved}),
    )
    assert ([] if expected else [Code.NODE_IDENTITY]) == codes(changed)
