"""The invented reef as a program.

Outside every floor; never imports Slackwater. One subject: arguments, links and the
loop. Laws here: everything is set up before the first link opens; one thread moves the
world; SIGTERM and SIGINT end it with the last account written; wrong input ends with
one line and exit code 2, never a traceback.
"""

import argparse
import re
import secrets
import signal
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from queue import Empty, SimpleQueue

from demo.reef.faults import ControlFile
from demo.reef.link import Address, Broker, Inbox, Link, LinkUp, Said
from demo.reef.probe import Probe
from demo.reef.reef_file import ReefRecord, read_key, read_reef
from demo.reef.rim import ReefError, read_file, write_whole
from demo.reef.station import OFFLINE, Plate, Station
from demo.reef.world import ProbePlace, World, names_of

SAMPLE = Path(__file__).with_name("reef.json")
_CONTROL_MS = 200
_ACCOUNT_MS = 1000
# When nobody answered for so long, a person wants to know why nothing happens.
_PATIENCE_MS = 5000
_TOPIC = re.compile(r"[a-z0-9-]{1,32}(/[a-z0-9-]{1,32})*")
_PORT_AT_MOST = 65_535


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """What the command line said, checked."""

    reef_path: Path
    reef: ReefRecord
    broker: Broker
    root: str
    delivered: Path | None
    control: Path | None
    beat_ms: int
    reading_s: float | None
    seed: str


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the reef until it is told to end; give the exit code."""
    try:
        options = read_options(arguments)
        control = ControlFile(options.control, names_of(options.reef))
        return _Program(options, control).run()
    except ReefError as error:
        print(error, file=sys.stderr)
        return 2


def read_options(arguments: Sequence[str] | None) -> Options:
    """The options in these arguments.

    Raises: ReefError when a file or a value in it is wrong; SystemExit from argparse
    when an argument is.
    """
    parser = _parser()
    given = parser.parse_args(arguments)
    reef = read_reef(given.reef)
    site = given.site or reef.site
    if not _TOPIC.fullmatch(f"{given.prefix}/{site}"):
        parser.error("--prefix and --site are made of a-z, 0-9, - and, inside, /")
    password = ""
    if given.password_file is not None:
        password = read_file(given.password_file).decode(errors="replace").strip()
    return Options(
        reef_path=given.reef,
        reef=_with_self_test(reef, given.self_test_s),
        broker=Broker(
            host=given.host, port=given.port, user=given.user, password=password
        ),
        root=f"{given.prefix}/{site}",
        delivered=given.delivered,
        control=given.control,
        beat_ms=round(given.beat_s * 1000),
        reading_s=given.reading_s,
        seed=str(given.seed),
    )


class _Program:
    """The reef's links, world and loop."""

    def __init__(self, options: Options, control: ControlFile) -> None:
        self._options = options
        self._control = control
        self._inbox: Inbox = SimpleQueue()
        self._links: list[Link] = []
        self._ends = False
        self._answered = False
        self._complained = ""
        self._world = self._build()

    def run(self) -> int:
        """Open the links and go on until a signal comes.

        Raises: ReefError when the account cannot be written.
        """
        self._account()
        for kind in (signal.SIGTERM, signal.SIGINT):
            signal.signal(kind, self._end)
        for link in self._links:
            link.open()
        broker = self._options.broker
        print(f"invented reef: {broker.host}:{broker.port} {self._options.root}")
        sys.stdout.flush()
        try:
            self._loop()
        finally:
            for link in self._links:
                link.close()
        return 0

    def _loop(self) -> None:
        control_ms = account_ms = _clock_ms()
        patient_until_ms = control_ms + _PATIENCE_MS
        while not self._ends:
            wake_ms = min(self._world.wake_ms(), control_ms, account_ms)
            heard = self._gather(wake_ms)
            now_ms = _clock_ms()
            self._world.step(now_ms, datetime.now(UTC), heard)
            if now_ms >= control_ms:
                control_ms = now_ms + _CONTROL_MS
                self._look_at_control()
            if now_ms >= account_ms:
                account_ms = now_ms + _ACCOUNT_MS
                self._account()
            if now_ms >= patient_until_ms and not self._answered:
                self._say_nobody_answers()
        self._account()

    def _say_nobody_answers(self) -> None:
        broker = self._options.broker
        where = f"{broker.host}:{broker.port}"
        self._complain(f"{where}: no broker lets us in; trying on. Check --help.")

    def _complain(self, text: str) -> None:
        if text != self._complained:
            self._complained = text
            print(text, file=sys.stderr, flush=True)

    def _gather(self, wake_ms: int) -> list[tuple[str, Said | LinkUp]]:
        """Wait for a message, the next due moment or the end."""
        wait_s = max(0, wake_ms - _clock_ms()) / 1000
        heard: list[tuple[str, Said | LinkUp]] = []
        try:
            message = self._inbox.get(timeout=wait_s)
            while message is not None:
                heard.append((message.link, message))
                self._answered |= isinstance(message, LinkUp)
                message = self._inbox.get_nowait()
        except Empty:
            pass
        return heard

    def _look_at_control(self) -> None:
        try:
            faults = self._control.changed()
        except ReefError as error:
            self._complain(str(error))
            return
        if faults is not None:
            self._world.apply(faults)

    def _account(self) -> None:
        if self._options.delivered is not None:
            account = self._world.account(datetime.now(UTC))
            write_whole(self._options.delivered, account)

    def _end(self, _number: int, _frame: object) -> None:
        self._ends = True
        # A simple queue may be filled from a signal while the loop waits on it.
        self._inbox.put(None)

    def _build(self) -> World:
        options = self._options
        now_ms = _clock_ms()
        stations = {name: self._station(name, now_ms) for name in options.reef.nodes}
        probes = {name: self._probe(name, now_ms) for name in options.reef.probes}
        return World(
            water=options.reef.water(), stations=stations, probes=probes, now_ms=now_ms
        )

    def _station(self, name: str, now_ms: int) -> Station:
        options = self._options
        record = options.reef.nodes[name]
        place = f"{options.root}/node/{name}"
        link = self._link(
            Address(
                link=name,
                client_id=f"{options.root.replace('/', '-')}-node-{name}",
                commands=f"{place}/command",
                hold=f"{place}/hold",
                will=(f"{place}/state", OFFLINE),
            )
        )
        plate = Plate(
            name=name,
            record=record,
            key=read_key(options.reef_path, record),
            root=options.root,
            beat_ms=options.beat_ms,
        )
        return Station(
            plate=plate,
            wire=link,
            boot_ids=_boot_id,
            powered_ms=now_ms - round(record.up_hours * 3_600_000),
        )

    def _probe(self, name: str, now_ms: int) -> ProbePlace:
        options = self._options
        record = options.reef.probes[name]
        link = self._link(
            Address(
                link=f"probe {name}",
                client_id=f"{options.root.replace('/', '-')}-probe-{name}",
            )
        )
        period_s = options.reading_s or record.period_s
        return ProbePlace(
            probe=Probe(record.noise_dkh, f"{options.seed} {name}"),
            wire=link,
            tank=record.tank,
            topic=f"{options.root}/tank/{record.tank}/reading/{name}",
            period_ms=round(period_s * 1000),
            next_ms=now_ms,
        )

    def _link(self, address: Address) -> Link:
        link = Link(self._options.broker, address, self._inbox)
        self._links.append(link)
        return link


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m demo.reef",
        description="An invented reef: virtual pump nodes, a probe and the true water.",
    )
    add = parser.add_argument
    add("--reef", type=Path, default=SAMPLE, help="the reef's file (JSON)")
    add("--host", default="127.0.0.1", help="the broker's host")
    add("--port", type=_port, default=1883, help="the broker's port")
    add("--user", default="", help="user name at the broker")
    add("--password-file", type=Path, help="a file that holds the password")
    add("--prefix", default="slackwater/1", help="begin of every topic")
    add("--site", default="", help="site, where it is not the file's")
    add("--delivered", type=Path, help="where the true account is written (JSON)")
    add("--control", type=Path, help="faults are read from here (JSON)")
    add("--beat-s", type=_seconds, default=5.0, help="seconds between beats")
    add("--reading-s", type=_seconds, help="seconds between readings")
    add("--self-test-s", type=_seconds, help="seconds of self-test, for tests")
    add("--seed", type=int, default=1, help="seed of the probes' noise")
    return parser


def _port(text: str) -> int:
    port = int(text)
    if not 0 < port <= _PORT_AT_MOST:
        raise ValueError
    return port


def _seconds(text: str) -> float:
    span_s = float(text)
    if not 0.001 <= span_s <= 86_400:  # noqa: PLR2004  # a millisecond to a day
        raise ValueError
    return span_s


def _with_self_test(reef: ReefRecord, self_test_s: float | None) -> ReefRecord:
    if self_test_s is None:
        return reef
    nodes = {
        name: node.model_copy(update={"self_test_s": self_test_s})
        for name, node in reef.nodes.items()
    }
    return reef.model_copy(update={"nodes": nodes})


def _boot_id() -> str:
    return secrets.token_hex(8)


def _clock_ms() -> int:
    return time.monotonic_ns() // 1_000_000
