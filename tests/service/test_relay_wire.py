"""A timed relay on a real broker: the sample's topics, both connections, a program."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from slackwater.facts.messages import Beat, LinkChanged, Message, Result, RunPump
from slackwater.facts.state import State
from slackwater.outside.broker.actuate import Actuate
from slackwater.outside.broker.observe import Observe
from slackwater.outside.clock import SystemClock
from slackwater.outside.mailbox import BoundedMailbox
from slackwater.outside.settings import read_machine
from slackwater.outside.wire import BrokerSettings, view_of
from slackwater.service.relaying import RelayLink, Relays, heads_of, relay_topics
from tests.cli.run_program import CONFIG
from tests.outside.peers import LOOPBACK, Broker, free_port, until

TOP = Path(__file__).resolve().parents[2]
MACHINE = read_machine(CONFIG / "relays")

pytestmark = pytest.mark.mosquitto


@pytest.fixture
def port(tmp_path: Path) -> Iterator[int]:
    """A Mosquitto of this test, and both relays of the sample as programs."""
    broker = Broker(tmp_path / "relays.conf", free_port(), ("allow_anonymous true",))
    broker.start()
    words = [sys.executable, "-m", "demo.relay", "--port", str(broker.port)]
    devices = [
        subprocess.Popen([*words, "--relay", name], cwd=TOP, stdout=subprocess.DEVNULL)
        for name in ("relay-3", "relay-4")
    ]
    yield broker.port
    for device in devices:
        device.terminate()
    assert [0, 0] == [device.wait(60) for device in devices]
    broker.stop()


class Loop:
    """What the daemon's loop does with relays."""

    def __init__(self, port: int) -> None:
        self.clock, self.mailbox = SystemClock(), BoundedMailbox()
        self.heard: list[Message] = []
        settings = BrokerSettings(host=LOOPBACK, port=port, site="home")
        view = view_of(MACHINE, {})
        self.observe = Observe(settings, view, self.mailbox, self.clock)
        topics = relay_topics(MACHINE)
        self.actuate = Actuate(settings, {}, self.mailbox, relay_topics=topics)
        self.relays = Relays(
            heads=heads_of(MACHINE, State(), self.clock.now().boot_s),
            clock=self.clock,
            asks=self.observe,
            commands=self.actuate,
        )
        self.link = RelayLink(self.actuate, self.relays)

    def has(self, kind: type[Message], **wanted: object) -> bool:
        """One pass; whether such a message was heard by now."""
        waited = self.mailbox.collect(min(0.05, self.relays.wait_s(0.05)))
        self.heard += self.relays.heard(waited)
        return any(
            isinstance(one, kind)
            and all(getattr(one, name) == value for name, value in wanted.items())
            for one in self.heard
        )

    def pulse(self, node: str, ms: int, ul: int) -> str:
        """Ask for one pulse."""
        head = self.relays.heads[node]
        attempt = f"{ms:032x}"
        self.link.run(
            RunPump(
                node=node,
                channel="a",
                attempt=attempt,
                boot=head.boot,
                n=head.n,
                fence=1,
                ul=ul,
                ms=ms,
                cut_ms=ms,
                until_up=10**9,
                cal="77aa01cf",
            )
        )
        return attempt


@contextmanager
def loop_on(port: int) -> Iterator[Loop]:
    """Both connections open, both relays known."""
    loop = Loop(port)
    loop.observe.start()
    loop.actuate.start()
    for link in ("observe", "actuate"):
        until(lambda a=link: loop.has(LinkChanged, link=a, up=True), link)  # type: ignore[misc]  # bound now
    for node in ("plug", "timer"):
        until(lambda a=node: loop.has(Beat, node=a), node)  # type: ignore[misc]  # bound now
    yield loop
    loop.actuate.close()
    loop.observe.close()


@pytest.mark.timeout(300)  # processes of their own, on a machine that may be busy
def test_both_kinds_of_relay_answer_as_nodes(port: int) -> None:
    """A pulse with its length ends complete; a fixed one is stopped as a node is."""
    with loop_on(port) as loop:
        short = loop.pulse("plug", 300, 150)
        until(lambda: loop.has(Result, id=short, phase="taken"), "the pulse")
        until(lambda: loop.has(Result, id=short, reason="complete"), "its end")
        fixed = loop.pulse("timer", 6_000, 3_000)
        until(lambda: loop.has(Result, id=fixed, phase="taken"), "the fixed pulse")
        loop.relays.send(loop.relays.heads["timer"].stop())
        until(lambda: loop.has(Result, id=fixed, phase="ended"), "its end")
