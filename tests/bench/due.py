"""From the moment a dose is due to the command at its subscriber, beside a bare timer.

`python -m tests.bench.due [SECONDS] [ROUNDS]` lets a real daemon give an invented dose
each second through a real Mosquitto; a subscriber notes when each command is there.
Between the doses, half a second later, a bare thread waits for its moment, commits one
row to SQLite with the same promises, and publishes as much to the same broker: the
floor. Both pass the same socket and broker and are noted by the same clock, so what is
left between them is the daemon's own. Median and 99th percentile, round by round.
"""

import json
import sqlite3
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from slackwater.facts.events import DoseEnded, DoseIntended
from slackwater.ledger.connection import PRAGMAS
from tests.outside.peers import LOOPBACK
from tests.service.floods import ledger_of
from tests.service.household import (
    MACHINE,
    Household,
    approve,
    enable,
    household,
    until,
)
from tests.service.kills import DOSE_UL, machine, plan, true_reef

SECONDS, ROUNDS = 20, 5
BARE, COMMANDS = "bare/floor", "slackwater/1/home/node/+/command"
HALF_S = 0.5
# As long as an entry of an intent.
ROW = b"x" * 1200


class Subscriber:
    """Notes the wall time at which each command, and each bare message, is there."""

    def __init__(self, port: int) -> None:
        self.commands: dict[str, float] = {}
        self.bare_s: list[float] = []
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self.client.on_message = self._note
        self.client.connect(LOOPBACK, port)
        self.client.subscribe([(COMMANDS, 0), (BARE, 0)])
        self.client.loop_start()

    def _note(self, _client: object, _data: object, message: mqtt.MQTTMessage) -> None:
        at_s = time.time()
        content = json.loads(message.payload)
        if message.topic == BARE:
            self.bare_s.append(at_s - float(content["due"]))
        elif content["act"] == "run":
            self.commands[content["id"]] = at_s


class Floor:
    """A thread with a timer, a synced commit and a publish; nothing else."""

    def __init__(self, folder: Path, port: int) -> None:
        self._place, self._over = folder / "floor.sqlite", threading.Event()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self._client.connect(LOOPBACK, port)
        self._client.loop_start()
        self._thread = threading.Thread(target=self._go)
        self._thread.start()

    def close(self) -> None:
        """End it."""
        self._over.set()
        self._thread.join()
        self._client.disconnect()
        self._client.loop_stop()

    def _go(self) -> None:
        with closing(sqlite3.connect(self._place, isolation_level=None)) as file:
            for name, value, _ in PRAGMAS:
                file.execute(f"PRAGMA {name} = {value}")
            file.execute("CREATE TABLE entries (id INTEGER PRIMARY KEY, row BLOB)")
            due_s = int(time.time()) + 1 + HALF_S
            while not self._over.wait(max(0.0, due_s - time.time())):
                file.execute("BEGIN IMMEDIATE")
                file.execute("INSERT INTO entries (row) VALUES (?)", (ROW,))
                file.execute("COMMIT")
                text = json.dumps({"due": due_s, "fill": "x" * 200})
                self._client.publish(BARE, text, qos=0)
                due_s += 1.0


@contextmanager
def dosing(folder: Path) -> Iterator[Household]:
    """A household whose daemon gives a dose each second; its first has ended."""
    text = MACHINE.replace('"30 mL/min"', '"60 mL/min"')
    options = {"--reef": str(true_reef(folder)), "--beat-s": "5"}
    with household(folder, text, options) as home:
        approve(home, plan(datetime.now(UTC), DOSE_UL), machine(home.config))
        enable(home)
        home.start()
        until(lambda: any(isinstance(e, DoseEnded) for e in ledger_of(home)), "a dose")
        yield home


def measure(folder: Path, span_s: float) -> tuple[list[float], list[float]]:
    """Seconds from due to there: of the daemon's commands, of the bare thread's."""
    folder.mkdir()
    with dosing(folder) as home:
        heard = Subscriber(home.port)
        floor = Floor(folder, home.port)
        time.sleep(span_s)  # the span is the experiment
        floor.close()
        heard.client.disconnect()
        heard.client.loop_stop()
        due_s = {
            event.command.attempt: event.dose.due_at.timestamp()
            for event in ledger_of(home)
            if isinstance(event, DoseIntended)
        }
    ours = [
        at_s - due_s[name] for name, at_s in heard.commands.items() if name in due_s
    ]
    return ours, heard.bare_s


def words(name: str, late_s: list[float]) -> str:
    """Median and 99th percentile on one line."""
    p50, p99 = statistics.median(late_s), statistics.quantiles(late_s, n=100)[98]
    return f"{name} p50 {1000 * p50:6.2f} ms, p99 {1000 * p99:7.2f} ms of {len(late_s)}"


def main() -> None:
    """Measure some rounds, print each and all of them together."""
    span_s = float(sys.argv[1]) if len(sys.argv) > 1 else SECONDS
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else ROUNDS
    ours: list[float] = []
    bare: list[float] = []
    for number in range(rounds):
        with tempfile.TemporaryDirectory() as name:
            pair = measure(Path(name) / "home", span_s)
        ours += pair[0]
        bare += pair[1]
        sys.stdout.write(f"{number + 1}: {words('daemon', pair[0])}; ")
        sys.stdout.write(f"{words('bare', pair[1])}\n")
        sys.stdout.flush()
    ratio = statistics.median(ours) / statistics.median(bare)
    sys.stdout.write(f"all: {words('daemon', ours)}\nall: {words('bare  ', bare)}\n")
    sys.stdout.write(
        f"the median of the daemon is {ratio:.2f} times that of the bare\n"
    )


if __name__ == "__main__":
    main()
