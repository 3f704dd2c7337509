"""What a pump node decides: acceptance, runs, holds and what it tells.

Outside every floor; never imports Slackwater. One subject: the node as the last judge,
from its own memory and its own uptime, under any clock a test gives it. Laws here:
rules are asked in the order of the table and the first that fails answers; a refusal
changes nothing; nothing starts before the self-test is over; every run ends by itself;
power-up begins with a new boot id and number 0.

Everything that happens comes back as a list of (topic suffix, payload).
"""

import hashlib

from demo.reef.node_form import (
    Command,
    canonical,
    code,
    hex_digits,
    is_authentic,
    label,
    read_command,
)
from demo.reef.node_head import Head, Run

FIRMWARE = "virtual-1"
CHANNELS_AT_MOST = 16
SELF_TEST_MS = 10_000
# How long the node shows itself after `identify`.
SHOWING_MS = 10_000


class Node:
    """A pump node from one power-up on; `up_ms` is its uptime at each call.

    `heads` maps a channel to its limits, see `Head`. `self_test_ms` is 10 000 or more
    on a device; a demonstration may shorten it. `key` is empty when nothing is signed.
    """

    def __init__(
        self,
        hardware: str,
        boot: str,
        heads: dict[str, dict[str, int]],
        key: bytes = b"",
        self_test_ms: int = SELF_TEST_MS,
    ) -> None:
        if not 0 < len(heads) <= CHANNELS_AT_MOST:
            message = f"a node has 1 to {CHANNELS_AT_MOST} channels, not {len(heads)}"
            raise ValueError(message)
        self.hardware = hardware
        self.boot = boot
        self.heads = {chan: Head(heads[chan]) for chan in sorted(heads)}
        self.fence = 0
        self.unread = 0
        self.held = False
        self.starting = True
        self._key = key
        self._self_test_ms = self_test_ms
        self._inputs: list[str] = []
        self._up_ms = 0
        self._seq = 0
        self._shows = ""
        self._shows_until_ms = 0
        settings = {
            "firmware": FIRMWARE,
            "self_test_ms": self_test_ms,
            "chan": heads,
        }
        digest = hashlib.sha256(canonical(settings).encode()).digest()
        self.config = hex_digits(digest)[:8]

    def command(
        self, payload: bytes, up_ms: int, *, retained: bool = False
    ) -> list[tuple[str, dict[str, object]]]:
        """Judges one message of the command topic."""
        told = self.tick(up_ms)
        command = read_command(payload)
        reason = "retained" if retained else self._unfit(command)
        if reason or command is None:
            n = 0 if command is None else command.n
            return told + self._turn_away(payload, n, reason)
        if command.act == "stop":
            return told + self._stop(command)
        if command.act == "identify":
            return told + self._identify(command)
        return told + self._judge(command)

    def tick(self, up_ms: int) -> list[tuple[str, dict[str, object]]]:
        """Ends what is over by now: runs, the self-test, showing itself."""
        self._up_ms = max(self._up_ms, up_ms)
        told = []
        changed = False
        if self.starting and self._up_ms >= self._self_test_ms:
            self.starting = False
            changed = True
        for chan in self.heads:
            reason = self.heads[chan].ending(self._up_ms)
            if reason:
                told += self._end(chan, reason)
                changed = True
        if self._shows and self._up_ms >= self._shows_until_ms:
            self._shows = ""
            told.append(("state", self.display()))
        return [*told, self.beat()] if changed else told

    def hold(self, payload: bytes, up_ms: int) -> list[tuple[str, dict[str, object]]]:
        """Sets the hold flag, whatever the message says; an empty one clears it."""
        told = self.tick(up_ms)
        if self.held == bool(payload):
            return told
        self.held = bool(payload)
        return told + self._hold_back()

    def local_input(
        self, name: str, up_ms: int, *, active: bool
    ) -> list[tuple[str, dict[str, object]]]:
        """Notes a switch of its own (level, leak, lid); an active one holds."""
        told = self.tick(up_ms)
        if (name in self._inputs) == active:
            return told
        if active:
            self._inputs.append(name)
        else:
            self._inputs.remove(name)
        return told + self._hold_back()

    def fail(self, chan: str, up_ms: int) -> list[tuple[str, dict[str, object]]]:
        """Notes that a head is broken: it stops and stays so until power-up."""
        told = self.tick(up_ms)
        self.heads[chan].broken = True
        return [*told, *self._end(chan, "fault"), self.beat()]

    def meter(self, chan: str, volume_ul: float) -> None:
        """Counts what the flow meter of a head saw since the last call."""
        run = self.heads[chan].run
        if run is not None:
            run.metered_ul += volume_ul

    def pumps_until(self, chan: str) -> int:
        """Gives the uptime at which the hardware drops the output, 0 when it is off."""
        run = self.heads[chan].run
        return 0 if run is None else run.started_ms + run.cut_ms

    def pumping(self, chan: str, up_ms: int) -> bool:
        """Whether the output is on at this uptime, even if nobody called since."""
        return up_ms < self.pumps_until(chan)

    def next_ms(self) -> int | None:
        """Gives the uptime of the next change that comes with time alone."""
        moments = [self._self_test_ms] if self.starting else []
        if self._shows:
            moments.append(self._shows_until_ms)
        runs = [head.run for head in self.heads.values() if head.run is not None]
        moments += [run.started_ms + run.ms for run in runs]
        return min(moments) if moments else None

    def beat(self) -> tuple[str, dict[str, object]]:
        """Gives the sign of life; each one has the next `seq`."""
        self._seq += 1
        beat: dict[str, object] = {
            "v": 1,
            "boot": self.boot,
            "up": self._up_ms,
            "seq": self._seq,
            "hold": self.held,
            "fence": self.fence,
            "hw": self.hardware,
            "cfg": self.config,
            "chan": {
                chan: self.heads[chan].shown(self.state(chan), self._up_ms)
                for chan in self.heads
            },
        }
        return "beat", self._signed(beat)

    def display(self) -> dict[str, object]:
        """Gives what the retained state shows to people; never a permission."""
        shown: dict[str, object] = {"v": 1, "state": "online", "boot": self.boot}
        if self.unread:
            shown["unread"] = self.unread
        if self._shows:
            shown["identify"] = self._shows
        return shown

    def state(self, chan: str) -> str:
        """Gives the state of a channel: starting, idle, running, held or fault."""
        head = self.heads[chan]
        if head.broken:
            return "fault"
        if head.run is not None:
            return "running"
        if self.starting:
            return "starting"
        return "held" if self._is_held() else "idle"

    def _unfit(self, command: Command | None) -> str:
        """Rule 2, which every act must pass."""
        if command is None or (command.chan and command.chan not in self.heads):
            return "form"
        return "" if is_authentic(command, self._key) else "auth"

    def _turn_away(
        self, payload: bytes, n: int, reason: str
    ) -> list[tuple[str, dict[str, object]]]:
        """Refuses under the ids that can be found; without them nobody is asking."""
        command_id, chan = label(payload, "id"), label(payload, "chan")
        if not command_id or not chan:
            self.unread += 1
            return []
        return [self._refusal(command_id, chan, n, reason)]

    def _judge(self, command: Command) -> list[tuple[str, dict[str, object]]]:
        """Rules 3 to 11, then the run."""
        for chan in self.heads:
            before = self.heads[chan].accepted()
            if before is not None and before.id == command.id:
                return [self._result(chan, before)]
        for reason, fails in _RULES:
            if fails(self, command):
                return [self._refusal(command.id, command.chan, command.n, reason)]
        self.fence = command.fence
        run = self.heads[command.chan].start(command, self._up_ms)
        return [self._result(command.chan, run, "taken"), self.beat()]

    def _stop(self, command: Command) -> list[tuple[str, dict[str, object]]]:
        told = []
        for chan in self.heads:
            if command.chan in ("", chan):
                told += self._end(chan, "stopped")
        return [*told, self.beat()]

    def _identify(self, command: Command) -> list[tuple[str, dict[str, object]]]:
        self._shows = command.chan or "all"
        self._shows_until_ms = self._up_ms + SHOWING_MS
        return [("state", self.display())]

    def _hold_back(self) -> list[tuple[str, dict[str, object]]]:
        told = []
        if self._is_held():
            for chan in self.heads:
                told += self._end(chan, "stopped")
        return [*told, self.beat()]

    def _is_held(self) -> bool:
        return self.held or bool(self._inputs)

    def _end(self, chan: str, reason: str) -> list[tuple[str, dict[str, object]]]:
        run = self.heads[chan].end(reason, self._up_ms)
        return [] if run is None else [self._result(chan, run)]

    def _result(
        self, chan: str, run: Run, phase: str = ""
    ) -> tuple[str, dict[str, object]]:
        phase = phase or ("ended" if run.reason else "running")
        result: dict[str, object] = {
            "v": 1,
            "id": run.id,
            "boot": self.boot,
            "chan": chan,
            "n": run.n,
            "phase": phase,
            "ran_ms": run.ran_ms(self._up_ms),
            "ul": self.heads[chan].moved_ul(run, self._up_ms),
            "reason": run.reason,
            "cal": run.cal,
            "up": self._up_ms,
        }
        return "result", self._signed(result)

    def _refusal(
        self, command_id: str, chan: str, n: int, reason: str
    ) -> tuple[str, dict[str, object]]:
        result: dict[str, object] = {
            "v": 1,
            "id": command_id,
            "boot": self.boot,
            "chan": chan,
            "n": n,
            "phase": "refused",
            "ran_ms": 0,
            "ul": 0,
            "reason": reason,
            "cal": "",
            "up": self._up_ms,
        }
        return "result", self._signed(result)

    def _signed(self, payload: dict[str, object]) -> dict[str, object]:
        if self._key:
            payload["mac"] = code(self._key, canonical(payload).encode())
        return payload

    # Rules 4 to 11: each says whether the command fails it.

    def fails_boot(self, command: Command) -> bool:
        """Rule 4: the command was made for another power-up."""
        return command.boot != self.boot

    def fails_fence(self, command: Command) -> bool:
        """Rule 5: an older daemon speaks."""
        return command.fence < self.fence

    def fails_number(self, command: Command) -> bool:
        """Rule 6: not the number this channel expects next."""
        return command.n != self.heads[command.chan].n

    def fails_deadline(self, command: Command) -> bool:
        """Rule 7: too late in this node's own time."""
        return self._up_ms > command.until_up

    def fails_idle(self, command: Command) -> bool:
        """Rule 8: the head runs or is broken."""
        return self.state(command.chan) in ("running", "fault")

    def fails_free(self, _command: Command) -> bool:
        """Rule 9: hold flag, self-test or a switch of its own."""
        return self.starting or self._is_held()

    def fails_limits(self, command: Command) -> bool:
        """Rule 10: beyond what this device allows."""
        return self.heads[command.chan].is_beyond_limits(command)

    def fails_budget(self, command: Command) -> bool:
        """Rule 11: more than the room of the last 24 hours."""
        room_ul = self.heads[command.chan].budget.room_ul(self._up_ms)
        return command.ul > room_ul


_RULES = (
    ("boot", Node.fails_boot),
    ("fence", Node.fails_fence),
    ("number", Node.fails_number),
    ("late", Node.fails_deadline),
    ("busy", Node.fails_idle),
    ("held", Node.fails_free),
    ("limit", Node.fails_limits),
    ("budget", Node.fails_budget),
)
