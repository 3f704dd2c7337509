"""Pins, timer and wire around the node's rules: invented pins, a real broker."""

import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Protocol

import pytest

from demo.node.board import KEEPALIVE_S, Board, Outputs, Uptime
from demo.node.mqtt import Session, WireError, packet
from demo.node.node import Node
from tests.demo.nodes import BOOT, LIMITS, RESTED_MS, attempt, run_fields, stop_bytes
from tests.outside.peers import LOOPBACK, Broker, Peer, free_port, until

PLACE = "slackwater/1/home/node/shelf"
WILL = (f"{PLACE}/state", b'{"state":"offline","v":1}')


class Stream(Protocol):
    """What the board needs of a socket."""

    def recv(self, size: int, /) -> bytes:
        """Give what arrived."""

    def send(self, content: bytes, /) -> int:
        """Take what fits."""

    def close(self) -> None:
        """Hang up."""


@dataclass(slots=True, kw_only=True)
class Pins:
    """Invented pins and timers; `log` holds what was done to them, in order."""

    log: list[tuple[str, str, int]] = field(default_factory=list)

    def switch(self, chan: str, on: bool) -> None:  # as the board calls
        """Note a change of a pin."""
        if self.level(chan) != int(on) or not self.log:
            self.log.append(("pin", chan, int(on)))

    def arm(self, chan: str, left_ms: int) -> None:
        """Note a timer."""
        self.log.append(("timer", chan, left_ms))

    def level(self, chan: str) -> int:
        """What the pin is at now."""
        pins = [
            value for kind, name, value in self.log if (kind, name) == ("pin", chan)
        ]
        return pins[-1] if pins else -1


@dataclass(slots=True, kw_only=True)
class Wires:
    """A stream a test fills and reads; empty means that nothing came."""

    to_node: list[bytes] = field(default_factory=list)
    from_node: bytes = b""
    fails: bool = False
    closed: int = 0

    def recv(self, _size: int, /) -> bytes:
        """Give the next piece."""
        if not self.to_node:
            raise BlockingIOError(11, "later")
        return self.to_node.pop(0)

    def send(self, content: bytes, /) -> int:
        """Take half of it, as a full network does."""
        if self.fails:
            raise ConnectionResetError(104, "gone")
        taken = content[: len(content) // 2 + 1]
        self.from_node += taken
        return len(taken)

    def close(self) -> None:
        """Count."""
        self.closed += 1


@dataclass(slots=True, kw_only=True)
class Desk:
    """A board on invented pins, wires and ticks."""

    pins: Pins = field(default_factory=Pins)
    wires: Wires = field(default_factory=Wires)
    ticks: int = 0
    connects: int = 0
    streams: Callable[[], Stream] | None = None
    limits: dict[str, int] = field(default_factory=lambda: LIMITS)
    board: Board = field(init=False)

    def __post_init__(self) -> None:
        node = Node("bench-1", BOOT, {"a": self.limits, "b": self.limits})
        outputs = Outputs(["a", "b"], self.pins.switch, self.pins.arm)
        uptime = Uptime(lambda: self.ticks, 1 << 30)
        session = Session("node-shelf", WILL)
        self.board = Board(node, outputs, uptime, session, self._connect)

    def _connect(self) -> "Stream":
        self.connects += 1
        return self.streams() if self.streams else self.wires

    def let_in(self) -> None:
        """Accept the node at the broker, a day after its power-up."""
        self.ticks = RESTED_MS
        self.wires.to_node.append(packet(2, 0, b"\0\0"))
        self.board.step()

    def say(self, suffix: str, payload: bytes) -> None:
        """Bring one message and look once."""
        topic = f"{PLACE}/{suffix}".encode()
        body = bytes([0, len(topic)]) + topic + payload
        self.wires.to_node.append(packet(3, 0, body))
        self.board.step()

    def run(self, **changes: object) -> None:
        """Bring a run."""
        self.say("command", json.dumps(run_fields(**changes)).encode())


@pytest.fixture
def desk() -> Desk:
    """A board that was let in."""
    desk = Desk()
    desk.let_in()
    return desk


def test_outputs_are_off_before_anything_else() -> None:
    """Making the outputs sets each pin to off."""
    pins = Pins()
    Outputs(["a"], pins.switch, pins.arm)
    assert [("pin", "a", 0)] == pins.log


def test_the_timer_is_armed_before_the_output_goes_on(desk: Desk) -> None:
    """First the hardware cut of this run, then the pin."""
    desk.pins.log.clear()
    desk.run()
    assert [("timer", "a", 2_500), ("pin", "a", 1)] == desk.pins.log[-2:]


def test_a_run_is_switched_on_once(desk: Desk) -> None:
    """However often the loop looks or the command comes again."""
    desk.run()
    for _ in range(5):
        desk.ticks += 100
        desk.run()
    assert 1 == sum(kind == "timer" for kind, _, _ in desk.pins.log)


def test_the_output_drops_at_the_end_of_the_run(desk: Desk) -> None:
    """At `ms` the pin is off, whether or not anybody listens."""
    desk.run()
    desk.wires.fails = True
    desk.ticks += 1_999
    desk.board.step()
    assert 1 == desk.pins.level("a")
    desk.ticks += 1
    desk.board.step()
    assert 0 == desk.pins.level("a")


def test_a_switch_of_its_own_ends_the_run(desk: Desk) -> None:
    """A leak drops the pin in the same pass."""
    desk.run()
    desk.board.inputs = {"leak": lambda: True}
    desk.board.step()
    assert 0 == desk.pins.level("a")


def test_no_connection_is_begun_beside_a_run(desk: Desk) -> None:
    """Connecting may wait, and a run must not wait with it."""
    desk.run()
    desk.wires.fails = True
    desk.board.step()
    desk.ticks += 1_500
    desk.board.step()
    assert (1, 1) == (desk.connects, desk.wires.closed)
    desk.ticks += 1_000
    desk.board.step()
    desk.board.step()
    assert 2 == desk.connects


def test_silence_ends_the_connection(desk: Desk) -> None:
    """Twenty seconds without a byte, not even for a ping: hang up and try anew."""
    desk.ticks += 20_000
    desk.board.step()
    assert 0 == desk.wires.closed
    desk.ticks += 1
    desk.board.step()
    assert 1 == desk.wires.closed


def test_bytes_that_are_no_packet_end_the_connection(desk: Desk) -> None:
    """What no broker sends a client is not guessed at."""
    desk.wires.to_node.append(packet(8, 2, b"x"))
    desk.board.step()
    assert 1 == desk.wires.closed


def test_a_result_waits_for_the_next_connection(desk: Desk) -> None:
    """The end of a run that nobody heard is told again, as a copy."""
    desk.run()
    desk.wires.fails = True
    desk.ticks += 2_000
    desk.board.step()
    desk.wires.fails, desk.wires.from_node = False, b""
    desk.ticks += 2_000
    desk.board.step()
    desk.wires.to_node.append(packet(2, 0, b"\0\0"))
    for _ in range(40):
        desk.board.step()
    assert b'"phase":"ended"' in desk.wires.from_node


def test_uptime_survives_a_counter_that_wraps() -> None:
    """A thirty-bit counter wraps every twelve days and the uptime does not."""
    ticks = iter([(1 << 30) - 5, (1 << 30) - 1, 3, 3])
    uptime = Uptime(lambda: next(ticks), 1 << 30)
    assert [4, 8, 8] == [uptime.now_ms() for _ in range(3)]


@pytest.mark.parametrize(
    ("length", "written"),
    [
        (0, "00"),
        (127, "7f"),
        (128, "8001"),
        (16_383, "ff7f"),
        (16_384, "808001"),
        (2_097_151, "ffff7f"),
    ],
)
def test_the_remaining_length_is_that_of_the_standard(
    length: int, written: str
) -> None:
    """Source: MQTT 3.1.1, table 2.4, ends of its ranges."""
    size = len(written) // 2
    assert written == packet(3, 0, bytes(length))[1 : 1 + size].hex()


def test_the_first_packet_is_that_of_the_standard() -> None:
    """Source: MQTT 3.1.1, section 3.1: name, level 4, flags, keepalive, then fields."""
    made = Session("n", ("t", b"w")).connect(10)
    assert "101300044d515454042e000a00016e000174000177" == (made.hex())


@pytest.mark.parametrize(
    "received",
    [b"\x30\xff\xff\xff\xff", b"\x20\x02\0\x05", b"\x30\x01\0", b"\x34\x03\0\0\0"],
    ids=["too long", "refused", "torn", "quality 2"],
)
def test_what_is_out_of_form_is_an_error(received: bytes) -> None:
    """Length beyond bounds, a refusal, a torn message, a quality nobody asked for."""
    with pytest.raises(WireError):
        Session("n", ("t", b"w")).feed(received)


@pytest.mark.parametrize("size", [1, 2, 7])
def test_packets_may_come_in_pieces(size: int) -> None:
    """The network cuts where it likes."""
    session = Session("n", ("t", b"w"))
    whole = packet(2, 0, b"\0\0") + packet(3, 3, b"\0\x01t\0\x09hello")
    news, answers = [], b""
    for at in range(0, len(whole), size):
        told, answer = session.feed(whole[at : at + size])
        news += told
        answers += answer
    assert [("accepted", "", b"", False), ("message", "t", b"hello", True)] == news
    assert packet(4, 0, b"\0\x09") == answers


@pytest.fixture
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Broker]:
    """A Mosquitto of this test."""
    place = tmp_path_factory.mktemp("broker") / "mosquitto.conf"
    broker = Broker(place, free_port(), ("allow_anonymous true",))
    broker.start()
    yield broker
    broker.stop()


@pytest.mark.mosquitto
def test_a_node_on_a_real_broker_runs_and_holds(broker: Broker) -> None:
    """A retained command, a run, a retained hold and the will, as on a device."""
    # A run so long that it cannot end by itself before it is held.
    slow = {"nominal_ul_per_min": 600, "max_ms": 500_000, "max_cut_ms": 500_000}
    desk = Desk(limits=LIMITS | slow)
    ends = threading.Event()
    streams: list[socket.socket] = []

    def connect() -> socket.socket:
        opened = socket.create_connection((LOOPBACK, broker.port))
        opened.setblocking(False)  # noqa: FBT003  # the library's own way
        streams.append(opened)
        return opened

    desk.streams = connect

    def live() -> None:
        while not ends.wait(0.002):
            desk.ticks = RESTED_MS + time.monotonic_ns() // 1_000_000 - begin_ms
            desk.board.step()

    begin_ms = time.monotonic_ns() // 1_000_000
    thread = threading.Thread(target=live, daemon=True)
    with Peer(broker.port, f"{PLACE}/#") as peer:
        peer.say(f"{PLACE}/command", json.dumps(run_fields()).encode(), retain=True)
        thread.start()
        until(
            lambda: _has(peer, "result", "retained"), "the refusal of what is retained"
        )
        good = run_fields(until_up=2 * RESTED_MS, ms=500_000, cut_ms=500_000, ul=5_000)
        peer.say(f"{PLACE}/command", json.dumps(good | {"id": attempt(7)}).encode())
        until(lambda: _has(peer, "result", "taken"), "the run")
        until(lambda: desk.pins.level("a") == 1, "the pin")
        peer.say(f"{PLACE}/hold", b"{}", retain=True)
        until(lambda: _has(peer, "result", "stopped"), "the end by the hold")
        until(lambda: desk.pins.level("a") == 0, "the pin")
        peer.say(f"{PLACE}/command", stop_bytes())
        ends.set()
        thread.join()
        streams[-1].close()
        until(lambda: _has(peer, "state", "offline"), "the will")
    assert KEEPALIVE_S == 15


def _has(peer: Peer, suffix: str, word: str) -> bool:
    topic = f"{PLACE}/{suffix}"
    return any(
        name == topic and f'"{word}"'.encode() in payload
        for name, payload, _ in list(peer.received)
    )
