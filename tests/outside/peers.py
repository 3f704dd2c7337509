"""The other ends of the wire: brokers, clients and wires that misbehave on demand."""

import contextlib
import getpass
import shutil
import signal
import socket
import subprocess
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Self, TypeVar

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from slackwater.facts.messages import Message
from slackwater.outside.mailbox import BoundedMailbox

# Far longer than anything here takes; reached only when a test fails.
DEADLINE_S = 20.0
LOOPBACK = "127.0.0.1"

Kind = TypeVar("Kind")


def free_port() -> int:
    """A port of the loopback nobody listens on."""
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        return int(probe.getsockname()[1])


def until(met: Callable[[], bool], what: str) -> None:
    """Poll a condition; fail with its name when the deadline passes."""
    end_s = time.monotonic() + DEADLINE_S
    while not met():
        assert time.monotonic() < end_s, f"waited in vain for {what}"
        time.sleep(0.005)


def mosquitto_path() -> str:
    """Where the broker's program lies; Debian puts it where users do not look."""
    found = shutil.which("mosquitto") or shutil.which(
        "mosquitto", path="/usr/sbin:/usr/local/sbin"
    )
    assert found, "mosquitto is not installed; the wire cannot be tested without it"
    return found


class Broker:
    """A Mosquitto of this test on a port of its own."""

    def __init__(self, configuration: Path, port: int, lines: tuple[str, ...]) -> None:
        """Keep the configuration; `start` writes and runs it."""
        self.port = port
        self._configuration = configuration
        self._lines = lines
        self._running: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Run the broker and wait until it answers."""
        # What belongs to a listener must follow its line.
        general = [line for line in self._lines if not line.startswith("listener:")]
        special = [
            line.removeprefix("listener:")
            for line in self._lines
            if line.startswith("listener:")
        ]
        self._configuration.write_text(
            "\n".join(
                [
                    "persistence false",
                    # Started by root it would become another user, who may not
                    # read the files of this test.
                    f"user {getpass.getuser()}",
                    "set_tcp_nodelay true",
                    *general,
                    f"listener {self.port} {LOOPBACK}",
                    *special,
                    "",
                ]
            )
        )
        self._running = subprocess.Popen(
            [mosquitto_path(), "-c", str(self._configuration)],
            cwd=self._configuration.parent,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        until(self._answers, "the broker")

    def stop(self) -> None:
        """End the broker and wait until it is gone; harmless when it is."""
        if self._running is not None:
            self._running.terminate()
            try:
                self._running.wait(DEADLINE_S)
            except subprocess.TimeoutExpired:
                # On an overloaded machine it may never get to its good-byes; what a
                # test showed does not rest on them.
                self._running.kill()
                self._running.wait(DEADLINE_S)
            self._running = None

    def save(self) -> None:
        """Tell the broker to write what it keeps to the disk (mosquitto(8))."""
        assert self._running is not None
        self._running.send_signal(signal.SIGUSR1)

    def kill(self) -> None:
        """End the broker as a power cut would; `start` runs it anew."""
        assert self._running is not None
        self._running.kill()
        self._running.wait(DEADLINE_S)
        self._running = None

    def _answers(self) -> bool:
        assert self._running is not None
        assert self._running.poll() is None, "the broker ended by itself"
        try:
            socket.create_connection((LOOPBACK, self.port), timeout=1).close()
        except OSError:
            return False
        return True


class Peer:
    """Any other client of the broker: a node, a tool, a person's terminal."""

    def __init__(
        self, port: int, *filters: str, name: str = "", user: str = ""
    ) -> None:
        """Connect when entered, subscribe to these filters."""
        self.received: list[tuple[str, bytes, bool]] = []
        self.levels: list[int] = []
        self.on_message: Callable[[str, bytes], None] = lambda _topic, _payload: None
        self._port = port
        self._filters = filters
        self._client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=name,
            protocol=MQTTProtocolVersion.MQTTv5,
            reconnect_on_failure=False,
        )
        if user:
            self._client.username_pw_set(user, f"{user}-word")
        self._client.on_message = self._take
        self._client.on_socket_open = _without_delay
        self._granted = threading.Event()
        self._client.on_subscribe = lambda *_: self._granted.set()

    def __enter__(self) -> Self:
        """Connect and wait until all subscriptions hold."""
        self._client.connect(LOOPBACK, self._port)
        self._client.loop_start()
        until(self._client.is_connected, "a peer's connection")
        if self._filters:
            self._client.subscribe([(each, 1) for each in self._filters])
            assert self._granted.wait(DEADLINE_S)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Disconnect."""
        self._client.disconnect()
        self._client.loop_stop()
        # Without a circle through this peer paho closes its inner pair of sockets now,
        # not at some collection in the middle of another test.
        self._client.on_message = self._client.on_subscribe = None

    @property
    def connected(self) -> bool:
        """Whether the broker still keeps this peer."""
        return self._client.is_connected()

    def say(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        """Publish and wait for the broker's receipt."""
        self._client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(
            DEADLINE_S
        )

    def answer(self, topic: str, payload: bytes) -> None:
        """Publish from within a callback, where nobody may wait."""
        self._client.publish(topic, payload, qos=1)

    def payloads(self, topic: str) -> list[bytes]:
        """What was received on one topic, in order."""
        return [payload for place, payload, _ in self.received if place == topic]

    def _take(self, _client: Client, _userdata: object, message: MQTTMessage) -> None:
        payload = bytes(message.payload)
        self.levels.append(message.qos)
        self.received.append((message.topic, payload, message.retain))
        self.on_message(message.topic, payload)


def _without_delay(_client: Client, _userdata: object, sock: object) -> None:
    assert isinstance(sock, socket.socket)
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


class Proxy:
    """A wire to a broker: it can freeze (bytes stay on the way) or be cut."""

    def __init__(self, target: int) -> None:
        """Listen at once."""
        self._target = target
        self._flows = threading.Event()
        self._flows.set()
        self._listener = socket.create_server((LOOPBACK, 0))
        self.port = int(self._listener.getsockname()[1])
        self._ends: list[socket.socket] = []
        self.accepted = 0
        threading.Thread(target=self._accept, daemon=True).start()

    def freeze(self) -> None:
        """Keep every connection open and let nothing through."""
        self._flows.clear()

    def thaw(self) -> None:
        """Let everything through again, what was kept back first."""
        self._flows.set()

    def cut(self) -> None:
        """Break every connection without a good-bye."""
        ends, self._ends = self._ends, []
        for end in ends:
            _break(end)

    def close(self) -> None:
        """End for good."""
        self._listener.close()
        self.cut()
        self.thaw()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listener.accept()
            except OSError:
                return
            self.accepted += 1
            try:
                far = socket.create_connection((LOOPBACK, self._target))
            except OSError:
                near.close()
                continue
            self._ends += [near, far]
            for source, sink in ((near, far), (far, near)):
                threading.Thread(
                    target=self._carry, args=(source, sink), daemon=True
                ).start()

    def _carry(self, source: socket.socket, sink: socket.socket) -> None:
        try:
            while chunk := source.recv(65536):
                self._flows.wait()
                sink.sendall(chunk)
        except OSError:
            pass
        # The other direction must see the end too.
        _break(source)
        _break(sink)


def _break(end: socket.socket) -> None:
    # Closing alone would wait for the thread that reads from it.
    with contextlib.suppress(OSError):
        end.shutdown(socket.SHUT_RDWR)
    end.close()


class ScriptedServer:
    """Speaks just enough MQTT to answer each CONNECT with the next given bytes.

    Source of the packet forms: MQTT 3.1.1 and MQTT 5.0, section 3.2 (CONNACK) and
    3.14 (DISCONNECT).
    """

    def __init__(self, answer: Callable[[int], bytes]) -> None:
        """Ask `answer` for the bytes, given the protocol level of the CONNECT."""
        self._answer = answer
        self._listener = socket.create_server((LOOPBACK, 0))
        self.port = int(self._listener.getsockname()[1])
        self.levels: list[int] = []
        self._ends: list[socket.socket] = []
        threading.Thread(target=self._accept, daemon=True).start()

    def close(self) -> None:
        """End for good."""
        self._listener.close()
        for end in self._ends:
            _break(end)

    def _accept(self) -> None:
        while True:
            try:
                end, _ = self._listener.accept()
            except OSError:
                return
            self._ends.append(end)
            threading.Thread(target=self._serve, args=(end,), daemon=True).start()

    def _serve(self, end: socket.socket) -> None:
        try:
            packet = end.recv(4096)
            # CONNECT: the level stands behind the protocol's name "MQTT".
            level = packet[packet.index(b"MQTT") + 4]
            self.levels.append(level)
            end.sendall(self._answer(level))
            while end.recv(4096):
                pass
        except (OSError, ValueError):
            pass
        finally:
            # Whoever came while we closed is in nobody's list.
            _break(end)


class Collected:
    """Everything a mailbox has given so far, to be waited on."""

    def __init__(self, mailbox: BoundedMailbox) -> None:
        """Begin with nothing."""
        self._mailbox = mailbox
        self.messages: list[Message] = []

    def first(self, kind: type[Kind], met: Callable[[Kind], bool]) -> Kind:
        """Wait for the first message of a kind that meets the condition."""
        seen = 0
        end_s = time.monotonic() + DEADLINE_S
        while True:
            for message in self.messages[seen:]:
                if isinstance(message, kind) and met(message):
                    return message
            seen = len(self.messages)
            assert time.monotonic() < end_s, f"waited in vain for {kind.__name__}"
            self.messages += self._mailbox.collect(0.05)

    def any(self, kind: type[Kind]) -> Kind:
        """Wait for the first message of a kind."""
        return self.first(kind, lambda _: True)

    def look(self) -> list[Message]:
        """Everything so far, without waiting."""
        self.messages += self._mailbox.collect(0)
        return self.messages

    def forget(self) -> None:
        """Wait only for what comes from now on."""
        self.messages.clear()
