"""Forged and replayed messages through a real Mosquitto, and not one is believed.

H60. The same forgeries as in `test_forgeries`, with the broker, the daemon's listening
connection and the node's rules at the two ends of it.
"""

import random
import socket
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing

import pytest

from demo.node.node import canonical
from slackwater.facts.messages import Beat, Result
from slackwater.facts.sight import Sight, see
from slackwater.outside.broker.observe import Observe
from slackwater.outside.mailbox import BoundedMailbox
from slackwater.outside.wire import PAYLOAD_BYTES_AT_MOST, BrokerSettings
from tests.demo.nodes import KEY, bench
from tests.outside.flooding import line_to, published
from tests.outside.peers import LOOPBACK, Broker, Peer, until
from tests.outside.samples import ROOT, SIGNED_VIEW, SetClock
from tests.outside.test_forgeries import (
    RUN_UL,
    RUNS,
    SEED,
    forged,
    genuine,
    run_all,
    tampered,
)
from tests.outside.test_observe import BEAT_AT, COMMAND_AT, QUICK, RESULT_AT

pytestmark = pytest.mark.mosquitto

SLICE, WHOLE = 500, 100_000
COUNTS = [
    SLICE,
    pytest.param(WHOLE, marks=[pytest.mark.long, pytest.mark.timeout(900)]),
]
# What a message has beside its payload, roughly: topic and head.
ROOM = 512
# So many are on the way at once, far fewer than a broker gives up.
BURST = 250


@pytest.fixture
def line(broker: Broker) -> Iterator[socket.socket]:
    """A connection of somebody the broker lets in."""
    with closing(line_to(broker.port)) as made:
        yield made


def say_all(
    line: socket.socket, said: Iterator[tuple[str, bytes]], heard: Callable[[], int]
) -> int:
    """Say all of it, no faster than it is heard; how many it were."""
    sent = Counter[str]()
    before = heard()

    def all_came() -> bool:
        return heard() - before >= sent.total()

    for topic, payload in said:
        line.sendall(published(topic, payload))
        sent[topic] += 1
        if sent.total() % BURST == 0:
            until(all_came, f"message {sent.total()}")
    until(all_came, f"message {sent.total()}")
    return sent.total()


@pytest.mark.parametrize("count", COUNTS)
def test_h60_no_forged_command_runs_behind_a_broker(
    broker: Broker, line: socket.socket, count: int
) -> None:
    """As many arrive as were said, none of them runs, and the next real one does."""
    here = bench(key=KEY)
    captured = run_all(here)
    came = Counter[str]()

    def hear(_topic: str, payload: bytes) -> None:
        came["all"] += 1
        here.send(payload)
        here.told.clear()

    with Peer(broker.port, COMMAND_AT) as node:
        node.on_message = hear
        false = ((COMMAND_AT, payload) for payload in forged(captured, count, RUNS))
        assert count == say_all(line, false, lambda: came["all"])
        assert (RUNS, RUNS * RUN_UL) == (here.channel()["n"], here.channel()["odo_ul"])
        assert not here.pumping()
        say_all(line, iter([(COMMAND_AT, genuine(RUNS))]), lambda: came["all"])
        assert here.pumping()


@pytest.mark.parametrize("count", COUNTS)
def test_h60_no_forged_report_is_heard_behind_a_broker(
    broker: Broker, line: socket.socket, mailbox: BoundedMailbox, count: int
) -> None:
    """Each one is counted as spoiled; what is repeated is never news of the node."""
    here = bench(key=KEY)
    run_all(here)
    said = [(kind, canonical(plain).encode()) for kind, plain in here.told]
    reports = {
        BEAT_AT: [canonical(here.node.beat()[1]).encode()],
        RESULT_AT: [payload for kind, payload in said if kind == "result"],
    }
    settings = BrokerSettings(host=LOOPBACK, port=broker.port, site=ROOT.site)
    observe = Observe(settings, SIGNED_VIEW, mailbox, SetClock(), QUICK)
    observe.start()
    sight = Sight(started_boot_s=0.0)
    heard = Counter[str]()

    def hear() -> int:
        for message in mailbox.collect(0):
            heard[type(message).__name__] += 1
            see(sight, message)
        return heard[Beat.__name__]

    try:
        until(lambda: hear() >= 0 and bool(heard), "the way in")
        say_all(line, iter([(BEAT_AT, reports[BEAT_AT][0])]), hear)
        newest = sight.nodes["left"].beat
        assert newest is not None
        withheld = Counter[bool]()

        def false() -> Iterator[tuple[str, bytes]]:
            chance = random.Random(SEED)  # noqa: S311 -- to repeat, not to hide
            for topic in chance.choices([BEAT_AT, RESULT_AT], k=count):
                payload = tampered(chance, chance.choice(reports[topic]))
                # We tell a broker how long a message may be, and it keeps to that.
                withheld[len(payload) > PAYLOAD_BYTES_AT_MOST + ROOM] += 1
                yield topic, payload

        def judged() -> int:
            return sum(observe.counts.values()) + withheld[True]

        assert count == say_all(line, false(), judged)
        assert sum(observe.counts.values()) == withheld[False]
        assert 1 == hear()
        assert 0 == heard[Result.__name__]
        again = ((BEAT_AT, reports[BEAT_AT][0]) for _ in range(count))
        assert count == say_all(line, again, judged)
        assert 1 == hear()
        assert newest is sight.nodes["left"].beat
    finally:
        observe.close()
