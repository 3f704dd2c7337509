"""Command to answer over Mosquitto on the loopback, beside a bare publish.

`python -m tests.bench.answer [ROUNDS]` starts a broker and a bare echo client, then
measures in turn: a QoS 1 publish until its receipt; our own actuate link's command
until the echo is heard by our observe link; and one synced ledger commit.
"""

import json
import socket
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from slackwater.facts.events import DoseTaken, LedgerMade
from slackwater.facts.messages import LinkChanged, Result, RunPump
from slackwater.ledger.store import LedgerFile
from slackwater.outside.broker.actuate import Actuate
from slackwater.outside.broker.observe import Observe
from slackwater.outside.clock import SystemClock
from slackwater.outside.mailbox import BoundedMailbox
from slackwater.outside.wire import BrokerSettings, MachineView
from tests.outside.peers import LOOPBACK, Broker, free_port

NODE = "shelf"
ROOT = f"slackwater/1/home/node/{NODE}"
BOOT = "9e1b" * 4


class Echo:
    """A bare node: answers every command with `taken` at once."""

    def __init__(self, port: int) -> None:
        """Connect without delay on the socket."""
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self.client.on_message = self._answer
        self.client.on_socket_open = _no_delay
        self.client.connect(LOOPBACK, port)
        self.client.subscribe(f"{ROOT}/command", qos=0)
        self.client.loop_start()

    def _answer(
        self, client: mqtt.Client, _data: object, message: mqtt.MQTTMessage
    ) -> None:
        command = json.loads(message.payload)
        result = {
            "v": 1,
            "id": command["id"],
            "boot": command["boot"],
            "chan": command["chan"],
            "n": command["n"],
            "phase": "taken",
            "ran_ms": 0,
            "ul": 0,
            "reason": "",
            "cal": command["cal"],
            "up": 1,
        }
        client.publish(f"{ROOT}/result", json.dumps(result), qos=1)


def _no_delay(_client: mqtt.Client, _data: object, sock: object) -> None:
    if isinstance(sock, socket.socket):
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


def command(number: int) -> RunPump:
    """A small run with its own identity."""
    return RunPump(
        node=NODE,
        channel="a",
        attempt=f"{number:032x}",
        boot=BOOT,
        n=number,
        fence=1,
        ul=1000,
        ms=1000,
        cut_ms=1200,
        until_up=10**9,
        cal="00000000",
    )


def times(rounds: int, once: Callable[[int], None]) -> list[float]:
    """Milliseconds of each call."""
    spent = []
    for number in range(1, rounds + 1):
        begin = time.perf_counter()
        once(number)
        spent.append((time.perf_counter() - begin) * 1000)
    return spent


def show(name: str, spent: list[float]) -> None:
    """Median and 99th percentile on one line."""
    p99 = statistics.quantiles(spent, n=100)[98]
    sys.stdout.write(
        f"{name:34s} p50 {statistics.median(spent):6.2f} ms  p99 {p99:.2f}\n"
    )


def wait_for(mailbox: BoundedMailbox, wanted: Callable[[object], bool]) -> None:
    """Collect until something wanted came, for ten seconds at most."""
    end = time.monotonic() + 10
    while time.monotonic() < end:
        if any(wanted(message) for message in mailbox.collect(1.0)):
            return
    message = "no answer within 10 s"
    raise SystemExit(message)


def main() -> None:
    """Start everything, measure, print, end everything."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        port = free_port()
        options = ("allow_anonymous true", "set_tcp_nodelay true")
        broker = Broker(folder / "mosquitto.conf", port, options)
        broker.start()
        try:
            _measure(folder, port, rounds)
        finally:
            broker.stop()


def _measure(folder: Path, port: int, rounds: int) -> None:
    echo = Echo(port)
    settings = BrokerSettings(host=LOOPBACK, port=port, site="home")
    mailbox, view = (
        BoundedMailbox(),
        MachineView(nodes=frozenset({NODE}), tanks=frozenset(), probes={}, keys={}),
    )
    observe = Observe(settings, view, mailbox, SystemClock())
    actuate = Actuate(settings, {}, mailbox)
    observe.start()
    actuate.start()
    up: set[str] = set()

    def both_up(message: object) -> bool:
        if isinstance(message, LinkChanged) and message.up:
            up.add(message.link)
        return len(up) == len(("observe", "actuate"))

    wait_for(mailbox, both_up)

    def bare(_number: int) -> None:
        done = threading.Event()
        echo.client.on_publish = lambda *_: done.set()
        echo.client.publish("bare/floor", b"x" * 200, qos=1)
        done.wait(5)

    def ours(number: int) -> None:
        actuate.run(command(number))
        wait_for(mailbox, lambda m: isinstance(m, Result))

    show("bare QoS 1 publish to receipt", times(rounds, bare))
    show("command to answer, both our links", times(rounds, ours))
    show("one synced ledger commit", times(rounds, _commits(folder)))
    actuate.close()
    observe.close()
    echo.client.disconnect()
    echo.client.loop_stop()


def _commits(folder: Path) -> Callable[[int], None]:
    now = SystemClock().now()
    made = LedgerMade(
        at=now.utc,
        boot_s=now.boot_s,
        proven_ms=0,
        ledger_id="bench",
        boot_id=now.boot_id,
        answered=True,
        by="bench",
    )
    ledger = LedgerFile.create(folder / "bench.ledger", made)

    def commit(number: int) -> None:
        taken = DoseTaken(
            at=now.utc, boot_s=now.boot_s, proven_ms=number, attempt=f"{number:032x}"
        )
        ledger.append([taken])

    return commit


if __name__ == "__main__":
    main()
