"""`conform`: a node on a real bench broker, judged by the program."""

import json
import secrets
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from demo.node.board import Board, Outputs, Uptime
from demo.node.mqtt import Session
from demo.node.node import Node
from slackwater.outside.kit import ALL_RULES, Bench, Judge, Line, Place
from slackwater.outside.wire import Root
from tests.cli.run_program import run
from tests.outside.kit.memory import KEY, LIMITS, RESTED_MS, Memory, bench
from tests.outside.peers import LOOPBACK, Broker, Peer, free_port

SITE = "slackwater/1/home"
PLACE = f"{SITE}/node/shelf"
LIMIT_WORDS = ("--rate", "30 mL/min", "--largest", "5 mL", "--longest", "20 s")
WORDS = ("--no-tank", *LIMIT_WORDS, "--cut", "25 s")


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """A Mosquitto of this test."""
    broker = Broker(tmp_path / "bench.conf", free_port(), ("allow_anonymous true",))
    broker.start()
    yield broker
    broker.stop()


class Bed:
    """The reference node with its pins and its wire, looked at by a thread."""

    def __init__(self, port: int, key: bytes) -> None:
        self._port, self._key = port, key
        self._ends, self._cycles = threading.Event(), threading.Event()
        self._opens: list[socket.socket] = []
        self._thread = threading.Thread(target=self._live, daemon=True)

    def start(self) -> None:
        """Power it up, a day before now."""
        self._thread.start()

    def power_cycle(self) -> None:
        """Switch it off and on."""
        self._cycles.set()

    def stop(self) -> None:
        """Switch it off."""
        self._ends.set()
        self._thread.join()
        self._hang_up()

    def _live(self) -> None:
        board = self._board(RESTED_MS)
        while not self._ends.wait(0.001):
            if self._cycles.is_set():
                self._cycles.clear()
                self._hang_up()
                board = self._board(0)
            board.step()

    def _board(self, up_ms: int) -> Board:
        begin_ms = time.monotonic_ns() // 1_000_000
        ticks = iter([0])
        heads = {"a": LIMITS, "b": LIMITS}
        # Long enough to be asked something in, on a machine that may be busy.
        node = Node("bench-1", secrets.token_hex(8), heads, self._key, 3_000)
        pins: dict[str, bool] = {}
        outputs = Outputs(list(heads), pins.__setitem__, lambda _chan, _left_ms: None)
        uptime = Uptime(
            lambda: next(ticks, up_ms + time.monotonic_ns() // 1_000_000 - begin_ms),
            1 << 62,
        )
        will = (f"{PLACE}/state", b'{"state":"offline","v":1}')
        board = Board(node, outputs, uptime, Session("node-shelf", will), self._connect)
        board.beat_ms = 200
        return board

    def _connect(self) -> socket.socket:
        opened = socket.create_connection((LOOPBACK, self._port))
        opened.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        opened.setblocking(False)  # noqa: FBT003  # the library's own way
        self._opens.append(opened)
        return opened

    def _hang_up(self) -> None:
        for opened in self._opens:
            opened.close()


@contextmanager
def node_on(broker: Broker, key: bytes = b"") -> Iterator[Bed]:
    """A node on a broker, as long as it is asked."""
    bed = Bed(broker.port, key)
    bed.start()
    yield bed
    bed.stop()


@pytest.mark.mosquitto
@pytest.mark.timeout(600)  # two hundred answers, on a machine that may be busy
def test_the_reference_node_passes_on_a_real_broker(broker: Broker) -> None:
    """Rules, pins and wire together: nothing broken, and only the old messages open."""
    place = Place(root=Root(site="home"), node="shelf", port=broker.port, key=KEY)
    plate = bench(Memory(key=KEY)).plate
    with node_on(broker, KEY), Line(place) as line:
        judge = Judge(bench=Bench(wire=line, plate=plate), silence_s=0.02)
        found = judge.judge()
    assert [] == [one for one in found if one.kept is False]
    assert set(ALL_RULES) == {one.rule for one in found}
    untried = {one.rule for one in found if one.kept is None}
    assert {"retained", "power"} == untried


@pytest.mark.mosquitto
@pytest.mark.timeout(300)  # a power-up takes its time, on a machine that may be busy
def test_a_power_up_is_judged_on_a_real_broker(broker: Broker) -> None:
    """New id, no number, no room, nothing that lay on the broker; the run is held.

    What the first beat showed may be gone where the machine is slower than the
    self-test: a run is then refused for another reason, which is told as found.
    """
    place = Place(root=Root(site="home"), node="shelf", port=broker.port)
    with node_on(broker) as bed, Line(place) as line:
        judge = Judge(
            bench=Bench(wire=line, plate=bench(Memory()).plate),
            wanted=("power",),
            power_cycle=bed.power_cycle,
        )
        found = {one.case: one.kept for one in judge.judge()}
    asked = ("boot", "number", "odometer", "room", "left-lying")
    assert dict.fromkeys(asked, True) == {name: found[name] for name in asked}


@pytest.mark.mosquitto
def test_the_program_says_what_was_kept(broker: Broker) -> None:
    """Text and document of a short judgement, with exit code 0."""
    where = ("--broker", f"{LOOPBACK}:{broker.port}")
    with node_on(broker):
        told = run("conform", "shelf", *WORDS, *where, "--rule", "boot", "--json")
        text = run("conform", "shelf", *WORDS, *where, "--rule", "retained").out
    assert 0 == told.code
    assert {"boot": {"kept": 4, "broken": 0, "not_tried": 0}} == told.document["rules"]
    assert "retained  not tried" in text


@pytest.mark.mosquitto
def test_a_node_with_other_limits_is_broken(broker: Broker) -> None:
    """Limits that are not the node's own are findings, with exit code 1."""
    other = ("--no-tank", *LIMIT_WORDS, "--cut", "24 s")
    where = ("--broker", f"{LOOPBACK}:{broker.port}", "--rule", "limit")
    with node_on(broker):
        told = run("conform", "shelf", *other, *where)
    assert 1 == told.code
    assert "limit-cut: expected refused limit, answered taken" in told.out


@pytest.mark.mosquitto
def test_a_line_with_a_daemon_is_no_bench(broker: Broker) -> None:
    """Where a daemon says that it is here, nothing is sent."""
    where = ("--broker", f"{LOOPBACK}:{broker.port}", "--json")
    with Peer(broker.port, f"{PLACE}/#") as peer:
        peer.say(f"{SITE}/daemon/state", b'{"v":1,"state":"here"}', retain=True)
        told = run("conform", "shelf", *WORDS, *where)
        assert 1 == told.code
        assert "a daemon lives" in told.errors[0]["what"]
        assert [] == peer.received


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (("shelf", *LIMIT_WORDS, "--cut", "25 s"), "no tank hangs"),
        ((*WORDS,), "nothing"),
        (("shelf", "--no-tank"), "no --rate, --largest, --longest, --cut"),
        (("a/b", *WORDS), "a/b"),
        (("shelf", *WORDS, "--broker", "here"), "here"),
        (("shelf", *WORDS, "--channel", "A"), "A"),
        (("shelf", *WORDS, "--cut", "1 s"), "1 s"),
        (("shelf", *WORDS, "--rate", "30"), "30"),
        (("shelf", *WORDS, "--site", "a b"), "a b"),
        (("shelf", *WORDS, "--key-file", "nowhere"), "nowhere"),
    ],
)
def test_wrong_words_are_one_clear_error(words: tuple[str, ...], found: str) -> None:
    """Exit code 2, what was found, and nothing sent."""
    told = run("conform", *words, "--json")
    assert (2, 1) == (told.code, len(told.errors))
    assert found in told.errors[0]["what"]


def test_nobody_there_is_one_clear_error() -> None:
    """A port on which nothing listens."""
    told = run("conform", "shelf", *WORDS, "--broker", f"{LOOPBACK}:{free_port()}")
    assert 2 == told.code
    assert "Traceback" not in told.err


def test_the_kit_can_be_written(tmp_path: Path) -> None:
    """Schemas, document and cases, each a whole JSON file."""
    told = run("conform", "--write", tmp_path / "kit", "--json")
    assert 0 == told.code
    names = told.document["written"]
    assert isinstance(names, list)
    assert {"asyncapi.json", "cases.json", "schema-beat.json"} <= set(names)
    for name in names:
        assert json.loads((tmp_path / "kit" / name).read_text("utf-8"))
