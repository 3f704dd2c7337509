"""Nodes that are not who they were, and other commanders (H13, H17, H21, H24 to H27).

Beats arrive here as messages, through the same view as in the daemon.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.events import DoseEnded
from slackwater.facts.messages import (
    Beat,
    LastRun,
    LinkChanged,
    Message,
    Request,
    RetainedCommand,
    RunPump,
    StopPump,
)
from slackwater.facts.reasons import Code
from tests.gate.scene import beat, machine
from tests.turn.test_step import START, Bench

OTHER = "cccc" * 4
THIRD = "dddd" * 4
EVERY = timedelta(seconds=5)


class Wire(Bench):
    """A bench on which a beat is what was sent, and nothing else is a beat."""

    def __init__(self) -> None:
        """Two hours before the first dose, so that only beats matter at first."""
        super().__init__(machine())
        self.utc = START - timedelta(hours=2)
        self.sight.scanned_until = self.utc

    def beat_of(self, boot: str, **changes: object) -> Beat:
        """A healthy beat of this moment; all boots have been up since one moment."""
        passed_s = (self.utc - START).total_seconds()
        made = replace(
            beat(),
            boot=boot,
            up=36_000_000 + int(passed_s * 1000),
            heard_boot_s=self.now().boot_s,
        )
        return replace(made, **changes)  # type: ignore[arg-type]  # fields of one test

    def hears(self, *messages: Message) -> None:
        """Let messages arrive at once, and five seconds pass."""
        self.news.extend(messages)
        while self.step() or self.news:
            pass
        self.utc += EVERY

    def held(self) -> list[tuple[str, str, bool]]:
        """Code, scope and latch of every hold."""
        return [
            (str(hold.reason.code), hold.scope, hold.latched)
            for hold in self.state.holds.values()
        ]


MINE = beat().boot
TWICE = [("node-twice", "node/shelf", True)]
LIE = [("node-impossible", "node/shelf", True)]


def test_h24_two_devices_with_one_name_latch() -> None:
    """Beats of two boots in turn: after a minute nobody can call it a reboot."""
    wire = Wire()
    for _ in range(6):
        wire.hears(wire.beat_of(MINE))
        wire.hears(wire.beat_of(OTHER))
    assert [] == wire.held()
    assert 1 == wire.sight.nodes["shelf"].beats
    for _ in range(2):
        wire.hears(wire.beat_of(MINE))
        wire.hears(wire.beat_of(OTHER))
    assert TWICE == wire.held()


def test_h24_two_devices_latch_again_while_both_are_there() -> None:
    """Released too early, the next beat of the other one says so again."""
    wire = Wire()
    for _ in range(14):
        wire.hears(wire.beat_of(MINE), wire.beat_of(OTHER))
    assert TWICE == wire.held()
    wire.state.holds.clear()
    wire.hears(wire.beat_of(MINE), wire.beat_of(OTHER))
    assert TWICE == wire.held()
    wire.state.holds.clear()
    for _ in range(30):
        wire.hears(wire.beat_of(OTHER))
    assert [] == wire.held()


def test_h24_no_dose_runs_while_two_devices_answer() -> None:
    """Long before the latch, a device that has only just come back is not settled."""
    wire = Wire()
    wire.utc = START
    wire.sight.scanned_until = START - EVERY
    for _ in range(12):
        wire.hears(wire.beat_of(MINE))
        wire.hears(wire.beat_of(OTHER))
    assert [] == list(wire.intents())
    codes = {
        code
        for event in wire.events
        if event.kind == "dose_held"
        for code in (reason.code for reason in event.reasons)
    }
    assert Code.NODE_SETTLING in codes


def test_h24_reboots_are_no_second_device() -> None:
    """Three boots one after the other, each for minutes: nothing to latch."""
    wire = Wire()
    for boot in (MINE, OTHER, THIRD):
        for _ in range(40):
            wire.hears(wire.beat_of(boot))
    assert [] == wire.held()


def test_h24_late_copies_from_before_a_reboot_are_no_second_device() -> None:
    """A copy turns nothing back; a beat never heard before is late and no more."""
    wire = Wire()
    heard = [wire.beat_of(MINE)]
    for _ in range(3):
        wire.hears(heard[-1])
        heard.append(wire.beat_of(MINE))
    on_the_way = wire.beat_of(MINE)
    wire.utc += EVERY
    wire.hears(wire.beat_of(OTHER))
    wire.hears(wire.beat_of(OTHER))
    for copy in heard[:-1]:
        wire.hears(replace(copy, heard_boot_s=wire.now().boot_s))
    assert (OTHER, 2) == (
        wire.sight.nodes["shelf"].beat.boot,
        wire.sight.nodes["shelf"].beats,
    )
    for _ in range(10):
        wire.hears(wire.beat_of(OTHER))
    wire.hears(replace(on_the_way, heard_boot_s=wire.now().boot_s))
    wire.hears(wire.beat_of(OTHER))
    assert [] == wire.held()


def under_way() -> tuple[Wire, RunPump]:
    """A bench whose node has taken the first dose and runs it."""
    wire = Wire()
    wire.utc = START
    wire.answers = False
    for _ in range(4):
        wire.hears(wire.beat_of(MINE))
    return wire, next(wire.intents()).command


def running(made: Beat, command: RunPump) -> Beat:
    """The beat of a node whose output is on for this command."""
    channel = replace(made.channels["a"], n=command.n + 1, state="running")
    return replace(made, channels={**made.channels, "a": channel})


@pytest.mark.parametrize(("beyond_ms", "expected"), [(0, []), (1, LIE)])
def test_h21_a_run_beyond_its_cut_is_stopped_and_latched(
    beyond_ms: int, expected: list[tuple[str, str, bool]]
) -> None:
    """Taken at its deadline and cut at its cut, by the node's own clock: no longer."""
    wire, command = under_way()
    up_ms = command.until_up + command.cut_ms + beyond_ms
    late = replace(running(wire.beat_of(MINE), command), up=up_ms)
    wire.hears(late)
    assert expected == wire.held()
    wire.hears(replace(late, up=up_ms + 1_000_000))
    assert LIE == wire.held()
    stops = [wire.effects_now() for _ in range(3)]
    assert [[StopPump(node="shelf", channel="a")]] * 3 == stops
    assert 1 == len([event for event in wire.events if event.kind == "hold_raised"])


def test_h17_a_stop_is_repeated_until_the_pump_stands() -> None:
    """Each turn while the run is open; the end the node reports is the last of it."""
    wire, command = under_way()
    wire.hears(running(wire.beat_of(MINE), command))
    wire.hears(Request(tank="reef", id="r", act="hold"))
    assert [[StopPump(node="shelf", channel="a")]] * 5 == [
        wire.effects_now() for _ in range(5)
    ]
    stopped = LastRun(id=command.attempt, ul=300, ran_ms=200, reason="stopped", cal="")
    ended = replace(wire.beat_of(MINE).channels["a"], n=command.n + 1, last=stopped)
    wire.hears(replace(wire.beat_of(MINE), channels={"a": ended}))
    assert [] == wire.effects_now()
    assert ["stopped"] == [e.how for e in wire.events if isinstance(e, DoseEnded)]


def number_back(made: Beat) -> Beat:
    """Channel a asks for a number it has had."""
    channels = {**made.channels, "a": replace(made.channels["a"], n=3)}
    return replace(made, channels=channels)


def odometer_back(made: Beat) -> Beat:
    """Channel b has given less than before."""
    channels = {**made.channels, "b": replace(made.channels["b"], odo_ul=99)}
    return replace(made, channels=channels)


def worn(made: Beat) -> Beat:
    """A beat of a node that has already given something."""
    channels = {
        name: replace(channel, odo_ul=100) for name, channel in made.channels.items()
    }
    return replace(made, channels=channels)


@pytest.mark.parametrize("change", [number_back, odometer_back])
def test_h27_what_only_grows_may_not_fall_within_a_boot(
    change: Callable[[Beat], Beat],
) -> None:
    """A number or an odometer that went back latches, even with nothing open."""
    wire = Wire()
    wire.hears(worn(wire.beat_of(MINE)))
    wire.hears(change(worn(wire.beat_of(MINE))), worn(wire.beat_of(MINE)))
    assert LIE == wire.held()
    wire.hears(worn(wire.beat_of(MINE)))
    # It goes back once more: the lie is told already.
    wire.hears(change(worn(wire.beat_of(MINE))))
    assert 1 == len([event for event in wire.events if event.kind == "hold_raised"])


class Lost(Wire):
    """A wire that loses every command."""

    def _execute(self, command: RunPump) -> None:
        """The node hears nothing of it."""


def lost_command() -> Lost:
    """A command under way that no node will ever take."""
    wire = Lost()
    wire.utc = START - timedelta(minutes=5)
    while not list(wire.intents()):
        assert wire.utc < START + timedelta(hours=2)
        wire.hears(worn(wire.beat_of(MINE)))
    return wire


def settled(wire: Wire) -> list[str]:
    """How intents ended so far."""
    kinds = [event.kind for event in wire.events]
    return [kind for kind in kinds if kind in ("dose_voided", "dose_sealed")]


def lie_of(wire: Wire) -> Beat:
    """An odometer went back, and its deadlines are over by a clock of its own."""
    ahead = 60_000 + wire.beat_of(MINE).up
    return odometer_back(worn(wire.beat_of(MINE, up=ahead)))


def test_h27_a_beat_that_contradicts_itself_gives_no_charge_back() -> None:
    """Nor does one heard with it, nor any later one before a person has looked."""
    true, lied, both, later = (lost_command() for _ in range(4))
    for wire in (true, lied, both):
        wire.utc += EVERY
    true.hears(worn(true.beat_of(MINE, up=60_000 + true.beat_of(MINE).up)))
    assert ["dose_voided"] == settled(true)
    lied.hears(lie_of(lied))
    assert ["dose_sealed"] == settled(lied)
    before = worn(both.beat_of(MINE, up=59_000 + both.beat_of(MINE).up))
    both.hears(before, lie_of(both))
    assert ["dose_sealed"] == settled(both)
    early = odometer_back(worn(later.beat_of(MINE)))
    later.hears(early)
    assert [] == settled(later)
    assert LIE == later.held()
    later.utc += timedelta(minutes=1)
    later.hears(worn(later.beat_of(MINE)))
    assert ["dose_sealed"] == settled(later)


def test_h27_a_node_whose_clock_runs_ahead_proves_nothing_before_the_deadline() -> None:
    """Its command may be under way, and run: so long the charge stays."""
    wire = lost_command()
    ahead = 60_000 + wire.beat_of(MINE).up
    wire.hears(worn(wire.beat_of(MINE, up=ahead)))
    assert [] == settled(wire)
    assert 1 == len(wire.state.open)
    wire.hears(worn(wire.beat_of(MINE, up=ahead + 5000)))
    assert ["dose_voided"] == settled(wire)


@pytest.mark.parametrize("change", [number_back, odometer_back])
def test_h12_a_late_beat_that_knows_more_shows_a_clock_that_was_ahead(
    change: Callable[[Beat], Beat],
) -> None:
    """A deadline by that clock would let a command that is late run still (130416)."""
    wire = Wire()
    ahead = 60_000 + wire.beat_of(MINE).up
    wire.hears(change(worn(wire.beat_of(MINE, up=ahead))))
    assert [] == wire.held()
    wire.hears(worn(wire.beat_of(MINE)))
    assert LIE == wire.held()


def test_h12_a_late_copy_of_a_beat_is_no_lie() -> None:
    """It knows less than those that overtook it, or as much."""
    wire = Wire()
    late = worn(wire.beat_of(MINE))
    wire.utc += timedelta(seconds=5)
    channels = {
        name: replace(channel, n=channel.n + 1, odo_ul=channel.odo_ul + 7)
        for name, channel in late.channels.items()
    }
    newest = replace(worn(wire.beat_of(MINE)), channels=channels)
    wire.hears(newest, late, late)
    assert [] == wire.held()
    # Nor does one of the same millisecond that knows of a run more.
    more = {name: replace(one, n=one.n + 1) for name, one in channels.items()}
    wire.hears(newest, replace(newest, channels=more))
    assert [] == wire.held()


def test_h27_a_beat_heard_with_a_late_one_that_knows_more_is_doubted() -> None:
    """Its clock, which is ahead, says that a command under way never ran."""
    wire = lost_command()
    wire.utc += EVERY
    ahead = odometer_back(worn(wire.beat_of(MINE, up=60_000 + wire.beat_of(MINE).up)))
    wire.sight.nodes.clear()
    wire.hears(ahead, worn(wire.beat_of(MINE)))
    assert ["dose_sealed"] == settled(wire)
    assert LIE == wire.held()


@pytest.mark.parametrize("change", [number_back, odometer_back])
def test_h27_a_new_boot_may_count_anew(change: Callable[[Beat], Beat]) -> None:
    """Power-up begins at nothing, and a late copy from before says nothing."""
    wire = Wire()
    first = worn(wire.beat_of(MINE))
    wire.hears(first)
    wire.hears(change(worn(wire.beat_of(OTHER))))
    wire.hears(replace(first, heard_boot_s=wire.now().boot_s))
    wire.hears(change(worn(wire.beat_of(OTHER))))
    assert [] == wire.held()


@pytest.mark.parametrize(
    ("message", "expected"),
    [
        (RetainedCommand(node="shelf"), ("retained-command", "node/shelf", True)),
        (
            LinkChanged(link="actuate", up=False, taken_over=True),
            ("connection-taken-over", "all", True),
        ),
    ],
    ids=["h13", "h25"],
)
def test_h13_h25_another_hand_on_the_wire_latches(
    message: Message, expected: tuple[str, str, bool]
) -> None:
    """A command that lies on the broker, a name that another client uses."""
    wire = Wire()
    wire.hears(message)
    wire.hears(message)
    assert [expected] == wire.held()
    assert 1 == len(wire.events)


def test_h25_a_higher_fence_at_the_node_latches_everything() -> None:
    """Somebody with a newer fence commands it; this daemon's own was 1."""
    wire = Wire()
    wire.hears(wire.beat_of(MINE, fence=1))
    assert [] == wire.held()
    wire.hears(wire.beat_of(MINE, fence=2))
    wire.hears(wire.beat_of(MINE, fence=1))
    assert [("second-daemon", "all", True)] == wire.held()
