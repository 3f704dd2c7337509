"""Relays between mailbox and wire: told once, asked often, silent in shadow."""

from dataclasses import dataclass, field
from datetime import UTC, datetime

import pytest

from slackwater.errors import Finding, NotConnectedError
from slackwater.facts.messages import (
    Beat,
    LinkChanged,
    RelaySeen,
    RelayTrouble,
    Result,
    RunPump,
    StopPump,
)
from slackwater.facts.now import Now
from slackwater.facts.rolling import Rolling
from slackwater.facts.state import State
from slackwater.outside.settings import read_machine
from slackwater.service.relaying import RelayLink, Relays, heads_of, relay_topics
from tests.cli.run_program import CONFIG

MACHINE = read_machine(CONFIG / "relays")


@dataclass(slots=True)
class HandClock:
    """A clock a test moves."""

    boot_s: float = 1_000.0

    def now(self) -> Now:
        """This moment."""
        return Now(
            utc=datetime(2026, 5, 3, tzinfo=UTC),
            boot_s=self.boot_s,
            boot_id="boot",
            synchronised=True,
        )


@dataclass(slots=True)
class Wire:
    """Both connections, as far as relays need them."""

    sent: list[tuple[str, bytes]] = field(default_factory=list)
    runs: list[RunPump] = field(default_factory=list)
    stops: list[StopPump] = field(default_factory=list)
    is_down: bool = False

    def ask(self, topic: str, payload: bytes) -> None:
        """Note a question."""
        self.sent.append((topic, payload))

    def post(self, topic: str, payload: bytes, mark: str = "") -> bool:
        """Note what a relay is told."""
        del mark
        if self.is_down:
            raise NotConnectedError(
                Finding(what="down", where="here", expected="up", do="Wait.")
            )
        self.sent.append((topic, payload))
        return True

    def run(self, command: RunPump) -> bool:
        """Note a run of a node."""
        self.runs.append(command)
        return True

    def stop(self, command: StopPump) -> None:
        """Note a stop of a node."""
        self.stops.append(command)

    def close(self) -> None:
        """Nothing is open."""


@dataclass(slots=True)
class Bench:
    """The relays of the sample on one wire."""

    clock: HandClock = field(default_factory=HandClock)
    wire: Wire = field(default_factory=Wire)
    relays: Relays = field(init=False)
    link: RelayLink = field(init=False)

    def __post_init__(self) -> None:
        heads = heads_of(MACHINE, State(), self.clock.boot_s)
        self.relays = Relays(
            heads=heads, clock=self.clock, asks=self.wire, commands=self.wire
        )
        self.link = RelayLink(self.wire, self.relays)

    def seen(self, *, is_on: bool) -> list[object]:
        """What comes of its word."""
        word = RelaySeen(node="plug", is_on=is_on, heard_boot_s=self.clock.boot_s)
        return list(self.relays.heard([word]))

    def command(self, node: str = "plug") -> RunPump:
        """A pulse, or a run."""
        head = self.relays.heads["plug"]
        return RunPump(
            node=node,
            channel="a",
            attempt="1" * 32,
            boot=head.boot,
            n=head.n,
            fence=1,
            ul=1_000,
            ms=2_000,
            cut_ms=2_300,
            until_up=10**9,
            cal="77aa01cf",
        )


def test_a_pulse_goes_out_by_its_template_and_comes_back_as_results() -> None:
    """What the daemon sees is a node: taken, ended, a beat with the next number."""
    here = Bench()
    assert any(isinstance(one, Beat) for one in here.seen(is_on=False))
    here.wire.sent.clear()
    assert here.link.run(here.command())
    assert [("workshop/relay-3/do", b'{"on":true,"ms":2000}')] == here.wire.sent
    here.clock.boot_s += 0.1
    (taken, _) = here.seen(is_on=True)
    here.clock.boot_s += 2.0
    (ended, beat) = here.seen(is_on=False)
    assert isinstance(taken, Result)
    assert isinstance(ended, Result)
    assert isinstance(beat, Beat)
    assert ("taken", "ended", "complete") == (taken.phase, ended.phase, ended.reason)
    assert 1 == beat.channels["a"].n


def test_a_pulse_that_may_not_be_is_refused_and_never_told() -> None:
    """The answer comes as a node's refusal with the next news."""
    here = Bench()
    here.link.run(here.command())
    here.wire.sent.clear()
    told = here.relays.heard([])
    assert [("refused", "held")] == [
        (one.phase, one.reason) for one in told if isinstance(one, Result)
    ]
    assert all(topic.endswith("/ask") for topic, _ in here.wire.sent)


def test_a_line_that_is_down_uses_nothing_up() -> None:
    """Surely not told: the number stays, and the loop hears why."""
    here = Bench()
    here.seen(is_on=False)
    here.wire.is_down = True
    with pytest.raises(NotConnectedError):
        here.link.run(here.command())
    assert 0 == here.relays.heads["plug"].n
    here.link.stop(StopPump(node="plug"))


def test_nodes_go_their_own_way() -> None:
    """A run or a stop for a node is none of a relay's business."""
    here = Bench()
    here.link.run(here.command("shelf"))
    here.link.stop(StopPump(node="shelf"))
    assert (1, 1) == (len(here.wire.runs), len(here.wire.stops))


def test_the_loop_is_woken_for_a_pulse_that_does_not_end() -> None:
    """It waits no longer than until then, and then says so."""
    here = Bench()
    here.seen(is_on=False)
    here.link.run(here.command())
    here.clock.boot_s += 0.1
    here.seen(is_on=True)
    for _ in range(40):
        here.clock.boot_s += max(0.01, here.relays.wait_s(1.0))
        told = here.relays.heard([])
        if any(isinstance(one, RelayTrouble) for one in told):
            break
    assert here.clock.boot_s <= 1_000.0 + 2.0 + 2.0
    assert ("workshop/relay-3/do", b'{"on":false}') in here.wire.sent


def test_in_shadow_a_relay_is_asked_and_told_nothing() -> None:
    """On without a pulse is seen, and only people can end it."""
    here = Bench()
    here.relays.commands = None
    here.clock.boot_s += 60.0
    told = here.seen(is_on=True)
    assert any(isinstance(one, RelayTrouble) for one in told)
    assert [("workshop/relay-3/ask", b"state")] == here.wire.sent


def test_other_news_passes_through() -> None:
    """What is no relay's word is left as it is."""
    here = Bench()
    news = LinkChanged(link="observe", up=True)
    assert news in here.relays.heard([news])


def test_only_topics_of_relays_may_be_written() -> None:
    """On and off of both, and nothing else."""
    assert {"workshop/relay-3/do", "workshop/relay-4/do"} == relay_topics(MACHINE)


def given(*entries: tuple[int, str]) -> State:
    """Charges of the carbonate pump in the last day: microlitres, and of what."""
    rolling = Rolling()
    for number, (amount_ul, tag) in enumerate(entries):
        rolling.add(number, amount_ul, tag)
    return State(charges={"pump/carbonate": rolling})


def test_a_restart_knows_how_many_pulses_there_were() -> None:
    """Twelve doses of 3 mL are twelve of 24 pulses, so the day of the plan goes on."""
    state = given(*((3_000, f"{number:032x}") for number in range(12)))
    head = heads_of(MACHINE, state, 0.0)["plug"]
    assert (36_000, 12) == (head.before_ul, head.before_pulses)


def test_what_nobody_counted_is_as_many_pulses_as_it_can_have_been() -> None:
    """3 mL told at the beginning are six doses of the smallest kind, 0.5 mL."""
    head = heads_of(MACHINE, given((3_000, "init"), (3_000, "a" * 32)), 0.0)["plug"]
    assert 7 == head.before_pulses
