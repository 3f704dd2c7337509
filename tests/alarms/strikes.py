"""What can be struck in a watched house: one root fault each.

Each takes the house, breaks one thing, and returns when the fault is there.
"""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from functools import partial

from slackwater.facts.events import (
    AnyEvent,
    Calibrated,
    DoseIntended,
    HoldRaised,
    PlanWithdrawn,
)
from slackwater.facts.judgements import SeriesJudged, Verdict
from slackwater.facts.messages import LinkChanged, Request, SpoiledReading
from slackwater.facts.reasons import Code, Figure, because
from slackwater.facts.state import Fill, Interval, State
from slackwater.facts.waters import TaskSet
from slackwater.gate.alkalinity import falls
from slackwater.pump.outcome import Stamp
from tests.alarms.manned import HOUR_MS, MINUTE_MS, Manned

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


def said_of_the_series(verdict: Verdict, code: Code) -> Strike:
    """The turn judged the probe's series, and does not hold for it."""

    def strike(house: Manned) -> None:
        def made(_state: State, stamp: Stamp) -> AnyEvent:
            return SeriesJudged(
                **stamp,
                tank="reef",
                source="probe/kh",
                verdict=verdict,
                taken_at=stamp["at"],
                reason=because(code, source="probe/kh"),
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


def ledger_put_back(house: Manned) -> None:
    """A copy from before two doses takes the place of ledger and witness."""
    kept = len(house.book.entries)
    house.pass_until(lambda: len(_intents(house, kept)) > 1, 6 * HOUR_MS)
    house.pass_ms(2 * MINUTE_MS)
    house.kill(1000)
    del house.book.entries[kept:]


def _intents(house: Manned, since: int) -> list[DoseIntended]:
    new = [one.event for one in house.book.entries[since:]]
    return [event for event in new if isinstance(event, DoseIntended)]


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


def approval_ends(days: float, grace_days: float = 0.0) -> Strike:
    """The approval in force ends after so many days, its grace so many later."""

    def strike(house: Manned) -> None:
        ends = house.times.now().utc + timedelta(days=days)
        grace = ends + timedelta(days=grace_days)
        house.approve_again(
            lambda known: replace(known, expires_at=ends, grace_until=grace)
        )

    return strike


def approval_is_asked_for_from_afar(house: Manned) -> None:
    """Somebody sends an approval as a request, again and again."""
    asked = json.dumps({"v": 1, "act": "approve", "digest": "a" * 64}).encode()
    for number in range(5):
        parcel = ("tank/reef/request", asked)
        house.bus.to_daemon(parcel, house.times.t_ms + number * 1000)


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


def levels_say(ratio: float) -> Strike:
    """In a week the carbonate bottle lost so much of what was believed to flow."""

    def strike(house: Manned) -> None:
        now = house.times.now().utc
        week = Interval(
            began_at=now - timedelta(days=7),
            ended_at=now,
            pumps=("carbonate",),
            used_ul=round(252_000 * ratio),
            believed_ul=252_000,
            runs=56,
            begin_ul=5_000,
            end_ul=5_000,
        )
        house.state.intervals["carbonate"] = [week]

    return strike


def bottle_emptied(lost_ul: int) -> Strike:
    """Nothing ran, and its next level says that so much of the bottle is gone."""

    def strike(house: Manned) -> None:
        now = house.times.now().utc
        night = Interval(
            began_at=now - timedelta(hours=8),
            ended_at=now,
            pumps=("carbonate",),
            used_ul=lost_ul,
            believed_ul=0,
            runs=0,
            begin_ul=5_000,
            end_ul=5_000,
        )
        house.state.intervals["carbonate"] = [night]
        house.state.fills["carbonate"] = Fill(
            content_ul=20_000_000 - lost_ul,
            mixed_at=None,
            drawn_ul=dict(house.state.drawn_ul),
            since=now,
        )

    return strike


def tube_ran(hours: int) -> Strike:
    """The tube of the carbonate pump has run for so long."""

    def strike(house: Manned) -> None:
        house.state.run_ms["carbonate"] = hours * 3_600_000

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
