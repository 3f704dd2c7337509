"""Each root fault in a living house gives the alarm of its row, within a minute.

The loop, the nodes and the wire are those of the stories, the time is virtual. A fault
is struck between two doses; ten minutes later there is still that one alarm.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from functools import partial
from pathlib import Path

import pytest

from slackwater.facts.alarms import Cause, Priority
from slackwater.facts.events import (
    AnyEvent,
    Calibrated,
    HoldRaised,
    PlanWithdrawn,
)
from slackwater.facts.messages import LinkChanged, Request, SpoiledReading
from slackwater.facts.reasons import Code, Figure, because
from slackwater.facts.state import State
from slackwater.facts.waters import TaskSet
from slackwater.gate.alkalinity import falls
from slackwater.pump.outcome import Stamp
from tests.alarms.manned import HOUR_MS, MINUTE_MS, QUIET_MS, Manned
from tests.properties import faults

WITHIN_MS, AFTER_MS = MINUTE_MS, 10 * MINUTE_MS
Strike = Callable[[Manned], None]


def held(code: Code, scope: str, **figures: Figure) -> Strike:
    """The turn raised a hold, for whatever it heard; its own tests say for what."""

    def strike(house: Manned) -> None:
        def made(_state: State, stamp: Stamp) -> AnyEvent:
            return HoldRaised(
                **stamp,
                hold_id=f"{code}/{scope}",
                scope=scope,
                reason=because(code, **figures),
                latched=True,
            )

        house.book.sign(made)

    return strike


def link_lost(house: Manned) -> None:
    """The broker is gone, and everybody's words with it."""
    now_ms = house.times.t_ms
    house.bus.down_until_ms = now_ms + 24 * HOUR_MS
    for link in ("observe", "actuate"):
        lost = LinkChanged(link=link, up=False)
        house.bus.surely(lost, now_ms + 5)


def link_half_open(house: Manned) -> None:
    """The broker is gone and the daemon notices after its keepalive only."""
    link_lost(house)
    house.bus.inbound.clear()
    for link in ("observe", "actuate"):
        lost = LinkChanged(link=link, up=False)
        house.bus.surely(lost, house.times.t_ms + 23_000)


def clock_adrift(house: Manned) -> None:
    """No time service vouches for the clock any more."""
    house.times.synchronised = False


def clock_jumps(hours: float) -> Strike:
    """The wall clock jumps."""

    def strike(house: Manned) -> None:
        house.times.shift_ms += int(hours * HOUR_MS)

    return strike


def clock_behind(house: Manned) -> None:
    """The machine reboots with a clock that was set back."""
    house.kill(10_000)
    times = house.times
    times.boots += 1
    times.booted_ms = times.t_ms + 1000
    times.shift_ms -= HOUR_MS


def disk_fills(house: Manned) -> None:
    """Hardly any room is left."""
    house.rig.sight.free_bytes = 1000


def daemon_dies_again_and_again(house: Manned) -> None:
    """Three times within seconds."""
    for number in range(3):
        house.after(number * 3000, partial(house.kill, 1000))


def plan_withdrawn(house: Manned) -> None:
    """A person took the only approval back."""

    def made(state: State, stamp: Stamp) -> AnyEvent:
        return PlanWithdrawn(**stamp, serial=state.last_serial, by="keeper")

    house.book.sign(made)


def approval_ends(days: float) -> Strike:
    """The approval in force ends after so many days."""

    def strike(house: Manned) -> None:
        ends = house.times.now().utc + timedelta(days=days)
        house.approve_again(lambda known: replace(known, expires_at=ends))

    return strike


def files_differ(house: Manned) -> None:
    """Housekeeping finds another plan file than the approved one."""
    house.rig.differ = ("plan.toml",)


def node_dies(house: Manned) -> None:
    """A node has no power."""
    house.posts["shelf"].hang(house.times.t_ms + 24 * HOUR_MS)


def node_exchanged(house: Manned) -> None:
    """An approval names the device, and another one stands there."""
    post = house.posts["shelf"]
    known = (post.hardware, post.node.config)
    house.approve_again(lambda one: replace(one, hardware={"shelf": known}))
    post.hardware = "virtual-2"
    post.power_up(house.times.t_ms)


def node_held(house: Manned) -> None:
    """Somebody puts the hold flag on the node."""
    post = house.posts["shelf"]
    post.node.hold(b'{"v":1}', post.up_ms(house.times.t_ms))


def head_breaks(house: Manned) -> None:
    """A pump head finds itself broken."""
    post = house.posts["shelf"]
    post.node.fail("a", post.up_ms(house.times.t_ms))


def node_without_room(house: Manned) -> None:
    """A node that has just started may give nothing for an hour, and a dose is due."""
    house.pass_ms(50 * MINUTE_MS)
    house.posts["shelf"].power_up(house.times.t_ms)
    house.pass_until(lambda: bool(house.state.held), 3 * HOUR_MS)


def hose_gives_too_much(house: Manned) -> None:
    """Half as much again as was asked for, and the node's meter sees it."""
    house.posts["shelf"].factors["a"] = 1.5
    house.pass_until(lambda: bool(house.state.holds), 3 * HOUR_MS)


def calibrated_anew(house: Manned) -> None:
    """A person measured a pump and did not approve again."""

    def made(_state: State, stamp: Stamp) -> AnyEvent:
        return Calibrated(
            **stamp,
            pump="carbonate",
            rate_nl_per_s=990_000,
            cal="0ca11b01",
            shots=3,
            spread_percent=1.0,
            proofs=("identity",),
            by="keeper",
        )

    house.book.sign(made)


def calibration_of(days: float) -> Strike:
    """The approved calibration is so old."""

    def strike(house: Manned) -> None:
        calibrated_anew(house)
        house.approve_again(
            lambda one: replace(one, calibrations={"carbonate": "0ca11b01"})
        )
        known = house.state.calibrations
        house.pass_until(lambda: "carbonate" in known, MINUTE_MS)
        at = house.times.now().utc - timedelta(days=days)
        known["carbonate"] = replace(known["carbonate"], at=at)

    return strike


def drawn(volume_ul: int) -> Strike:
    """So much was drawn from the carbonate bottle of 20 L."""

    def strike(house: Manned) -> None:
        house.state.drawn_ul["carbonate"] = volume_ul

    return strike


def probe_dies(house: Manned) -> None:
    """No reading any more; two of its periods later it is stale."""
    house.swim.silent = True
    newest = house.rig.sight.readings["kh"][-1].at
    stale = newest + timedelta(minutes=30)
    house.pass_until(lambda: house.times.now().utc > stale, HOUR_MS)


def probe_freezes(house: Manned) -> None:
    """The same value again and again, until chance alone does not explain it."""
    house.shown_dkh = 8.0
    house.frozen_probe = True
    house.pass_until(lambda: bool(house.raised()), 6 * HOUR_MS)


def probe_speaks_nonsense(house: Manned) -> None:
    """A reading in another unit than the approved one."""
    house.swim.silent = True
    spoiled = SpoiledReading(tank="reef", probe="kh", why="unit changed")
    house.bus.surely(spoiled, house.times.t_ms + 5)


def probe_shows(dkh: float) -> Strike:
    """The water, or the probe, is at another level at once."""

    def strike(house: Manned) -> None:
        house.shown_dkh = dkh
        house.reading_at_ms = house.times.t_ms

    return strike


def climbs_to_9_2(house: Manned) -> None:
    """Below the ceiling, and more than a day may bring; medians see it in time."""
    probe_shows(9.2)(house)
    house.pass_until(lambda: bool(house.state.holds), 2 * HOUR_MS)


def falls_to_6_9(house: Manned) -> None:
    """Above the floor, and more than a day may take."""
    probe_shows(6.9)(house)
    guard = house.home.machine.guards["reef"]
    house.pass_until(
        lambda: (
            falls(guard, house.rig.sight.readings["kh"], house.times.now().utc)
            is not None
        ),
        2 * HOUR_MS,
    )


def paused(house: Manned) -> None:
    """Somebody asks for an hour of peace from afar."""
    pause = Request(tank="reef", id="p1", act="pause", minutes=60)
    house.bus.surely(pause, house.times.t_ms + 5)


def doses_skipped(house: Manned) -> None:
    """Somebody skips a third of a day from afar, one dose after the other."""
    house.near = False
    for number in range(2, 8):
        dose = f"reef/carbonate@2026-05-03#{number:02}"
        skip = Request(tank="reef", id=f"s{number}", act="skip", dose=dose)
        house.bus.surely(skip, house.times.t_ms + 5)
    house.pass_until(lambda: bool(house.raised()), 24 * HOUR_MS)
    house.near = True


def task_overdue(house: Manned) -> None:
    """Something should have been done the day before."""

    def made(_state: State, stamp: Stamp) -> AnyEvent:
        return TaskSet(
            **stamp,
            task="t-1",
            tank="reef",
            remedy="retest",
            parameter="calcium",
            text="Test calcium.",
            due_on=stamp["at"].date() - timedelta(days=1),
            by="keeper",
        )

    house.book.sign(made)


ROOTS: list[tuple[Cause, str, Priority, Strike]] = [
    (Cause.LINK_DOWN, "all", "soon", link_lost),
    (Cause.LINK_DOWN, "all", "soon", link_half_open),
    (Cause.SECOND_DAEMON, "all", "soon", faults.second_daemon),
    (Cause.TAKEN_OVER, "all", "soon", faults.taken_over),
    (Cause.CLOCK_UNPROVEN, "all", "soon", clock_adrift),
    (Cause.CLOCK_JUMPED, "all", "soon", clock_jumps(1)),
    (Cause.CLOCK_JUMPED, "all", "soon", clock_jumps(24 * 40)),
    (Cause.CLOCK_JUMPED, "all", "soon", clock_jumps(-3)),
    (Cause.CLOCK_BEHIND, "all", "soon", clock_behind),
    (Cause.DISK_FULL, "all", "soon", disk_fills),
    (Cause.START_STORM, "all", "soon", daemon_dies_again_and_again),
    (Cause.NO_PLAN, "all", "soon", plan_withdrawn),
    (Cause.APPROVAL_EXPIRED, "all", "soon", approval_ends(0)),
    (Cause.APPROVAL_ENDING, "all", "note", approval_ends(13.9)),
    (Cause.APPROVAL_ENDING, "all", "soon", approval_ends(2.9)),
    (Cause.FILES_DIFFER, "all", "note", files_differ),
    (Cause.EVERYTHING_HELD, "all", "soon", held(Code.MANUAL_HOLD, "all")),
    (Cause.NODE_ABSENT, "shelf", "soon", node_dies),
    (Cause.NODE_IDENTITY, "shelf", "soon", node_exchanged),
    (Cause.NODE_TWICE, "shelf", "soon", held(Code.NODE_TWICE, "node/shelf")),
    (Cause.NODE_IMPOSSIBLE, "shelf", "soon", held(Code.NODE_IMPOSSIBLE, "node/shelf")),
    (Cause.NODE_HELD, "shelf", "soon", node_held),
    (Cause.NODE_FAULT, "shelf", "soon", head_breaks),
    (Cause.NODE_BUDGET, "shelf", "soon", node_without_room),
    (Cause.RETAINED_COMMAND, "shelf", "soon", faults.retained_command),
    (Cause.OVER_DELIVERED, "carbonate", "soon", hose_gives_too_much),
    (
        Cause.SHORT_DELIVERED,
        "carbonate",
        "soon",
        held(Code.SHORT_DELIVERED, "pump/carbonate", times=3),
    ),
    (Cause.PUMP_CHANGED, "calcium", "soon", held(Code.PUMP_CHANGED, "pump/calcium")),
    (Cause.CALIBRATION_CHANGED, "carbonate", "soon", calibrated_anew),
    (Cause.CALIBRATION_DUE, "carbonate", "note", calibration_of(75)),
    (Cause.CALIBRATION_DUE, "carbonate", "soon", calibration_of(90)),
    (Cause.RESERVOIR_LOW, "carbonate", "note", drawn(20_000_000 - 6 * 36_000)),
    (Cause.RESERVOIR_LOW, "carbonate", "soon", drawn(20_000_000 - 2 * 36_000)),
    (Cause.RESERVOIR_EMPTY, "carbonate", "soon", drawn(20_000_000)),
    (Cause.PROBE_STALE, "kh", "note", probe_dies),
    (Cause.PROBE_FROZEN, "kh", "note", probe_freezes),
    (Cause.PROBE_SPOILED, "kh", "note", probe_speaks_nonsense),
    (Cause.ALKALINITY_CEILING, "reef", "urgent", probe_shows(12.0)),
    (Cause.ALKALINITY_CLIMB, "reef", "urgent", climbs_to_9_2),
    (Cause.ALKALINITY_LOW, "reef", "urgent", probe_shows(6.2)),
    (Cause.ALKALINITY_FALL, "reef", "soon", falls_to_6_9),
    (Cause.MANUAL_HOLD, "reef", "soon", held(Code.MANUAL_HOLD, "pump/carbonate")),
    (Cause.MANUAL_HOLD, "reef", "soon", held(Code.MANUAL_HOLD, "alkalinity/reef")),
    (Cause.PAUSED, "reef", "soon", paused),
    (Cause.HELD, "leak", "soon", held(Code.LEAK, "tank/reef")),
    (Cause.MISSED_DOSES, "reef", "soon", doses_skipped),
    (Cause.TASK_OVERDUE, "reef", "note", task_overdue),
]
# Where else a cause is tried: there is nothing to strike in this house for it.
ELSEWHERE = {
    Cause.LEDGER_FAULT: "tests/service: the daemon ends with it",
    Cause.RESUMING: "test_the_way_back_is_told_once_and_not_what_was_missed",
    Cause.PROBE_MISSING: "test_a_probe_that_never_spoke_is_missing",
    Cause.PROBES_CONTRADICT: "test_two_probes_that_contradict_are_one_alarm",
    Cause.UPTAKE_FELL: "test_uptake: an assessment finds it",
}


@pytest.mark.parametrize(
    ("cause", "about", "priority", "strike"),
    ROOTS,
    ids=[f"{row[0]}-{number}" for number, row in enumerate(ROOTS)],
)
def test_h63_a_root_fault_gives_its_one_alarm_within_a_minute(
    cause: Cause, about: str, priority: Priority, strike: Strike, tmp_path: Path
) -> None:
    """Its name and priority; nothing that only follows from it is told beside it."""
    house = Manned(tmp_path)
    house.pass_ms(QUIET_MS)
    assert [] == house.raised()
    strike(house)
    struck_ms = house.times.t_ms
    house.pass_ms(AFTER_MS)
    told = house.alarms()
    assert [f"{cause}.{about}"] == [one.event.alarm for one in told]
    assert struck_ms + WITHIN_MS >= told[0].t_ms
    assert priority == getattr(told[0].event, "priority", "")


def test_every_cause_is_struck_here_or_tried_elsewhere() -> None:
    """No row of the table is without a fault that reaches it."""
    struck = {row[0] for row in ROOTS}
    assert set(Cause) == struck | ELSEWHERE.keys()
    assert set() == struck & ELSEWHERE.keys()


def test_a_probe_that_never_spoke_is_missing(tmp_path: Path) -> None:
    """It is told when it has had the time of two readings, half an hour, to speak."""
    house = Manned(tmp_path)
    house.swim.silent = True
    house.pass_ms(30 * MINUTE_MS)
    assert [] == house.raised()
    house.pass_ms(WITHIN_MS)
    assert ["probe-missing.kh"] == house.raised()


TWO_PROBES = {
    "probe": {
        "kh-two": {
            "tank": "reef",
            "parameter": "alkalinity",
            "unit": "dKH",
            "period": "15 min",
            "resolution": "0.01 dKH",
        }
    }
}


def test_two_probes_that_contradict_are_one_alarm(tmp_path: Path) -> None:
    """One says 8.0 and the other 7.0: a hand test must tell; the fall is explained."""
    house = Manned(tmp_path, TWO_PROBES)
    house.pass_ms(QUIET_MS)
    assert [] == house.raised()
    struck_ms = house.times.t_ms
    reading = house.reading("kh-two", 7.0, struck_ms)
    house.bus.surely(reading, struck_ms + 5)
    house.pass_ms(3 * MINUTE_MS)
    assert ["probes-contradict.reef"] == house.raised()
    assert struck_ms + WITHIN_MS >= house.alarms()[0].t_ms


def test_the_way_back_is_told_once_and_not_what_was_missed(tmp_path: Path) -> None:
    """Off for four days: the missed doses are why it comes back slowly."""
    modest = {"reef": {"uptake_dkh_per_day": 0.3}}
    house = Manned(tmp_path, water=modest)
    house.pass_ms(QUIET_MS)
    house.kill(96 * HOUR_MS)
    house.pass_ms(96 * HOUR_MS)
    house.pass_until(lambda: bool(house.daemon), HOUR_MS)
    back_ms = house.times.t_ms
    house.pass_ms(AFTER_MS)
    assert ["resuming.reef"] == house.raised()
    assert back_ms + WITHIN_MS >= house.alarms()[0].t_ms
