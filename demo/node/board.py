"""Joins the node's decisions to pins, a hardware timer and a network.

In the common subset of Python and MicroPython; `main.py` beside it fits it to one
board. Laws here: outputs are off before anything else happens; the hardware timer is
armed before an output goes on, and drops it whatever this loop does; outputs follow
the node before anything is told; while a pump runs, nothing here waits.
"""

from .mqtt import WireError
from .node import canonical

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from typing import Protocol

    from .mqtt import Session
    from .node import Node, Told

    class Stream(Protocol):
        """A connected socket that does not wait."""

        def recv(self, size: int, /) -> bytes:
            """Give what arrived, nothing at the end; OSError when there is none."""

        def send(self, content: bytes, /) -> int:
            """Take as much as fits; OSError when nothing does."""

        def close(self) -> None:
            """Hang up."""


BEAT_MS = 5_000
KEEPALIVE_S = 15
# A third of the keepalive, so that one lost packet ends nothing.
_PING_MS = 5_000
# Nothing heard for so long, not even an answer to a ping: the link is dead.
_SILENCE_MS = 20_000
_AGAIN_MS = 1_000
_READ_BYTES = 1_024
# More that the network does not take than any broker leaves lying.
_UNSENT_BYTES_AT_MOST = 16_384
# No byte is there now, or none fits: EAGAIN, EWOULDBLOCK (POSIX), and none written.
_LATER = (11, 35, 10035)
_SENT = {"beat": (0, 0), "result": (1, 0), "state": (1, 1)}


class Uptime:
    """Milliseconds since power-up, from a counter that wraps; 64 bits and more."""

    def __init__(self, ticks: "Callable[[], int]", period: int) -> None:
        self._ticks, self._period = ticks, period
        self._last, self._up_ms = ticks(), 0

    def now_ms(self) -> int:
        """Gives the uptime; must be asked at least once a period."""
        ticks = self._ticks()
        self._up_ms += (ticks - self._last) % self._period
        self._last = ticks
        return self._up_ms


class Outputs:
    """The pump drivers: `switch(chan, on)` sets a pin, `arm(chan, ms)` the timer.

    The timer must drop the pin by itself, from an interrupt or a circuit of its own.
    """

    def __init__(
        self,
        chans: "list[str]",
        switch: "Callable[[str, bool], None]",
        arm: "Callable[[str, int], None]",
    ) -> None:
        self._switch, self._arm = switch, arm
        self._runs = dict.fromkeys(chans, "")
        for chan in chans:
            switch(chan, False)  # noqa: FBT003  # a pin is on or off

    def follow(self, node: "Node", up_ms: int) -> None:
        """Brings each pin to where the node wants it now."""
        for chan, known in self._runs.items():
            run = node.heads[chan].run
            left_ms = 0 if run is None else run.started_ms + run.cut_ms - up_ms
            if run is None or left_ms <= 0:
                self._switch(chan, False)  # noqa: FBT003  # a pin is on or off
            elif run.id != known:
                self._runs[chan] = run.id  # a run is switched on once, never again
                self._arm(chan, left_ms)
                self._switch(chan, True)  # noqa: FBT003  # a pin is on or off


class Board:
    """The loop's one step; `connect` gives a connected socket or raises OSError."""

    def __init__(
        self,
        node: "Node",
        outputs: Outputs,
        uptime: Uptime,
        session: "Session",
        connect: "Callable[[], Stream]",
    ) -> None:
        self.node, self._outputs, self._uptime = node, outputs, uptime
        self._session, self._connect = session, connect
        self.place = session.will[0].rpartition("/")[0]
        self.login = ("", "")
        self.beat_ms = BEAT_MS
        self.inputs: Mapping[str, Callable[[], bool]] = {}
        self._stream: Stream | None = None
        self._unsent = b""
        self._beat_at_ms = self._ping_at_ms = self._again_at_ms = self._heard_ms = 0

    def step(self) -> None:
        """Looks once at time, switches and network."""
        up_ms = self._uptime.now_ms()
        self._tell(self.node.tick(up_ms), up_ms)
        for name, is_active in self.inputs.items():
            told = self.node.local_input(name, up_ms, active=is_active())
            self._tell(told, up_ms)
        if self._stream is None and up_ms >= self._again_at_ms and not self._runs():
            self._open(up_ms)  # which may wait, so not beside a run
        if self._stream is not None:
            self._read(up_ms)
        if self._session.accepted and up_ms >= self._beat_at_ms:
            self._tell([self.node.beat()], up_ms)
        if self._stream is not None:
            self._keep(up_ms)

    def _open(self, up_ms: int) -> None:
        self._again_at_ms = up_ms + _AGAIN_MS
        try:
            self._stream = self._connect()
        except OSError:
            return
        self._heard_ms, self._ping_at_ms = up_ms, up_ms + _PING_MS
        self._unsent = self._session.connect(KEEPALIVE_S, *self.login)

    def _read(self, up_ms: int) -> None:
        try:
            received = self._stream.recv(_READ_BYTES) if self._stream else b""
        except OSError as error:
            if error.errno not in _LATER:
                self._hang_up()
            return
        if not received:
            self._hang_up()
            return
        self._heard_ms = up_ms
        try:
            news, answer = self._session.feed(received)
        except WireError:
            self._hang_up()
            return
        self._unsent += answer
        for kind, topic, payload, retained in news:
            if kind == "accepted":
                self._greet(up_ms)
            elif kind == "message":
                self._hear(topic, payload, up_ms, retained=retained)

    def _greet(self, up_ms: int) -> None:
        wanted = [(self.place + "/command", 0), (self.place + "/hold", 1)]
        self._unsent += self._session.subscribe(wanted) + self._session.unsent()
        self._tell([("state", self.node.display()), self.node.beat()], up_ms)

    def _hear(self, topic: str, payload: bytes, up_ms: int, *, retained: bool) -> None:
        if topic == self.place + "/command":
            self._tell(self.node.command(payload, up_ms, retained=retained), up_ms)
        elif topic == self.place + "/hold":
            self._tell(self.node.hold(payload, up_ms), up_ms)

    def _tell(self, told: "Told", up_ms: int) -> None:
        self._outputs.follow(self.node, up_ms)
        for suffix, payload in told:
            qos, retain = _SENT[suffix]
            if suffix == "beat":
                self._beat_at_ms = up_ms + self.beat_ms
            if self._session.accepted or suffix == "result":
                content = canonical(payload).encode()
                topic = self.place + "/" + suffix
                sent = self._session.publish(topic, content, qos, retain)
                self._unsent += sent if self._session.accepted else b""

    def _keep(self, up_ms: int) -> None:
        """Sends what waits, keeps the link alive or gives it up."""
        if self._session.accepted and up_ms >= self._ping_at_ms:
            self._ping_at_ms = up_ms + _PING_MS
            self._unsent += self._session.ping()
        try:
            sent = self._stream.send(self._unsent) if self._stream else 0
            self._unsent = self._unsent[sent or 0 :]
        except OSError as error:
            if error.errno not in _LATER:
                self._hang_up()
        too_much = len(self._unsent) > _UNSENT_BYTES_AT_MOST
        if too_much or up_ms - self._heard_ms > _SILENCE_MS:
            self._hang_up()

    def _hang_up(self) -> None:
        if self._stream is not None:
            self._stream.close()
        self._stream, self._unsent = None, b""
        self._session.accepted = False

    def _runs(self) -> bool:
        return any(head.run for head in self.node.heads.values())
