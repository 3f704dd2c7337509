"""A virtual timed relay as a program: `python -m demo.relay --help`.

Outside every floor; never imports Slackwater. One subject: one relay of the sample
`config/relays` on a broker, with its faults. Laws here: invented throughout; it says
each change on its standard output; SIGTERM and SIGINT end it with the output off.
"""

import argparse
import signal
import sys
import time
from collections.abc import Sequence
from queue import Empty, SimpleQueue

from demo.reef.link import Address, Broker, Inbox, Link, LinkUp
from demo.reef.relay import FAULTS, VirtualRelay

# As `config/relays` has them: name, and the one length it may have, in milliseconds.
KINDS = {"relay-3": (10_000, 0), "relay-4": (6_000, 6_000)}
_PORT_AT_MOST = 65_535


def main(arguments: Sequence[str] | None = None) -> int:
    """Be a relay until told to end; give the exit code."""
    given = _parser().parse_args(arguments)
    ceiling_ms, always_ms = KINDS[given.relay]
    device = VirtualRelay(
        ceiling_ms=ceiling_ms, always_ms=always_ms, faults=frozenset(given.fault or ())
    )
    return Program(device, given.relay, Broker(host=given.host, port=given.port)).run()


class Program:
    """One relay, its link and its loop."""

    def __init__(self, device: VirtualRelay, name: str, broker: Broker) -> None:
        self._device, self._place = device, f"workshop/{name}"
        self._inbox: Inbox = SimpleQueue()
        # What a link calls commands and hold are here the two topics it listens on.
        address = Address(
            link=name,
            client_id=f"virtual-{name}",
            commands=f"{self._place}/do",
            hold=f"{self._place}/ask",
        )
        self._link = Link(broker, address, self._inbox)
        self._ends = False
        self._was_on = False

    def run(self) -> int:
        """Open the link and go on until a signal comes."""
        for kind in (signal.SIGTERM, signal.SIGINT):
            signal.signal(kind, self._end)
        self._link.open()
        print(f"invented relay: {self._place}", flush=True)
        try:
            while not self._ends:
                self._step()
        finally:
            self._tell(self._device.power_up(_clock_ms()))
            self._link.close()
        return 0

    def _step(self) -> None:
        wait_s = max(0, self._device.next_ms() - _clock_ms()) / 1000
        try:
            said = self._inbox.get(timeout=wait_s)
        except Empty:
            said = None
        told = self._device.advance(_clock_ms())
        if isinstance(said, LinkUp) or (said and said.topic.endswith("/ask")):
            told += self._device.ask(_clock_ms())
        elif said is not None and not said.retained:
            told += self._device.hear(said.payload, _clock_ms())
        self._tell(told)
        if self._device.is_on != self._was_on:
            self._was_on = self._device.is_on
            print(f"{self._place} is {'on' if self._was_on else 'off'}", flush=True)

    def _tell(self, told: list[bytes]) -> None:
        for payload in told:
            self._link.publish(f"{self._place}/is", payload, qos=0, retain=False)

    def _end(self, _number: int, _frame: object) -> None:
        self._ends = True
        self._inbox.put(None)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m demo.relay",
        description="An invented timed relay, as config/relays describes it.",
    )
    add = parser.add_argument
    add("--relay", choices=sorted(KINDS), default="relay-3", help="which one")
    add("--host", default="127.0.0.1", help="the broker's host")
    add("--port", type=_port, default=1883, help="the broker's port")
    add("--fault", action="append", choices=FAULTS, help="may be repeated")
    return parser


def _port(text: str) -> int:
    port = int(text)
    if not 0 < port <= _PORT_AT_MOST:
        raise ValueError
    return port


def _clock_ms() -> int:
    return time.monotonic_ns() // 1_000_000


if __name__ == "__main__":
    sys.exit(main())
