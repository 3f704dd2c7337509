"""What a pump node decides, in the common subset of Python and MicroPython.

This one file goes to the device as it is; `board.py` joins it to pins and wire. It
reads no clock and touches no pin: uptime, messages and switches are arguments, what it
says comes back as (topic suffix, payload). Laws here: a refusal changes nothing; every
run ends by itself; power-up begins with a new boot id, number 0 and no room; no bytes
make it raise; numbers are whole, amounts rounded up.
"""

import hashlib

TYPE_CHECKING = False
if TYPE_CHECKING:
    Payload = dict[str, object]
    Told = list[tuple[str, Payload]]

FIRMWARE = "reference-1"
CHANNELS_AT_MOST = 16
COMMAND_BYTES_AT_MOST = 1024
SELF_TEST_MS = 10_000
SHOWING_MS = 10_000  # after `identify`
HOUR_MS = 3_600_000
PAST_HOURS = 24
# The values a code covers, in this order; also every field but `mac` an act may have.
_NAME = ["v", "act", "id", "chan"]
_RUN = ["boot", "n", "fence", "ul", "ms", "cut_ms", "until_up", "cal"]
_ASKED = ("ul", "ms", "cut_ms")
FIELDS = {"run": _NAME + _RUN, "stop": _NAME, "identify": _NAME}
_DIGITS = {"id": 32, "boot": 16, "cal": 8, "mac": 64}
_LEAST = {"v": 1, "n": 0, "fence": 0, "ul": 1, "ms": 1, "cut_ms": 1, "until_up": 0}
_MOST = {"v": 1, "ul": 1_000_000}  # one litre: no single run is larger
_HEX = "0123456789abcdef"
_IDENTITY = _HEX + "ghijklmnopqrstuvwxyz-"
_BLANK = " \t\r\n"


class Command:
    """One well-formed command; `text` and `whole` hold its fields by name."""

    def __init__(self, text: dict[str, str], whole: dict[str, int]) -> None:
        self.text, self.whole = text, whole
        self.act, self.id, self.chan = text["act"], text["id"], text.get("chan", "")
        names = FIELDS[self.act]
        self.covered = "\n".join([str(whole.get(x, text.get(x, ""))) for x in names])


def read_command(payload: bytes) -> "Command | None":
    """Gives the command in these bytes, or None when the form is not kept."""
    fields = _flat_object(payload)
    act = str(fields.get("act"))
    allowed = FIELDS.get(act, []) + ["mac"]
    optional = ["mac"] if act == "run" else ["mac", "chan"]
    needed = [x for x in allowed if x not in optional]
    if act not in FIELDS or [x for x in needed if x not in fields]:
        return None
    if [x for x in fields if x not in allowed or not _has_shape(x, fields[x])]:
        return None
    text = {x: value for x, value in fields.items() if isinstance(value, str)}
    whole = {x: value for x, value in fields.items() if isinstance(value, int)}
    return None if whole.get("cut_ms", 0) < whole.get("ms", 0) else Command(text, whole)


def label(payload: bytes, name: str) -> str:
    """Gives the identity under a name in any payload; it only addresses a refusal."""
    head = payload[:COMMAND_BYTES_AT_MOST].replace(b'": "', b'":"')
    after = head.split(b'"' + name.encode() + b'":"')[1:]
    found = "".join([chr(byte) for byte in after[0].split(b'"')[0]]) if after else ""
    return found if _has_shape(name, found) else ""


def is_authentic(command: Command, key: bytes) -> bool:
    """Whether it carries this key's code; without a key, whether it carries none."""
    wanted = code(key, command.covered.encode()) if key else ""
    shown = command.text.get("mac", "")
    different = len(wanted) ^ len(shown)
    for at in range(min(len(wanted), len(shown))):  # to the last digit, for equal time
        different |= ord(wanted[at]) ^ ord(shown[at])
    return different == 0


def code(key: bytes, message: bytes) -> str:
    """Gives HMAC-SHA256 (RFC 2104), key of at most 64 bytes, as 64 hex digits."""
    digest = message
    for pad in (0x36, 0x5C):
        block = bytes([byte ^ pad for byte in key + bytes(64 - len(key))])
        digest = hashlib.sha256(block + digest).digest()
    return "".join([f"{byte:02x}" for byte in digest])


def canonical(value: object) -> str:
    """Gives canonical JSON (RFC 8785) of objects, ASCII, whole numbers and truth."""
    if isinstance(value, dict):
        inside = [f"{canonical(x)}:{canonical(value[x])}" for x in sorted(value)]
        return "{" + ",".join(inside) + "}"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return str(value).lower()


def _flat_object(payload: bytes) -> "dict[str, str | int]":
    """Gives an object without nesting, escapes or repeated names, or an empty one.

    Readers of small Pythons take `{"n":00 "n" 1}` for an object, so this is our own.
    """
    fields: dict[str, str | int] = {}
    try:
        text = payload.decode().strip(_BLANK)
    except UnicodeError:
        return {}
    if len(payload) > COMMAND_BYTES_AT_MOST or text[:1] != "{" or text[-1:] != "}":
        return {}
    for pair in text[1:-1].split(","):  # no legal name or value holds , or :
        before, _, after = pair.partition(":")
        name, value = _plain(before.strip(_BLANK)), _plain(after.strip(_BLANK))
        if not isinstance(name, str) or value is None or name in fields:
            return {}
        fields[name] = value
    return fields


def _plain(text: str) -> "str | int | None":
    """Gives a text without quotes or escapes inside, or a whole number as JSON has."""
    if len(text) > 1 and text[0] == text[-1] == '"':
        return None if '"' in text[1:-1] or "\\" in text else text[1:-1]
    if not text or text.strip("0123456789") or (text[0] == "0" and text != "0"):
        return None
    return int(text)


def _has_shape(name: str, value: "str | int") -> bool:
    if isinstance(value, int):
        return name in _LEAST and _LEAST[name] <= value <= _MOST.get(name, 2**64 - 1)
    if name in _DIGITS:
        return len(value) == _DIGITS[name] and not value.strip(_HEX)
    if name == "chan":
        return len(value) in range(1, 33) and not value.strip(_IDENTITY)
    return name == "act" and value in FIELDS


class Budget:
    """What a head may still deliver: 25 slots of an hour, this one and 24 before."""

    def __init__(self, day_limit_ul: int) -> None:
        self.day_limit_ul = day_limit_ul
        # Rounded up, so that 24 of them never leave a drop of room at power-up.
        share_ul = -(-day_limit_ul // PAST_HOURS)
        self._slots_ul = [share_ul] * PAST_HOURS + [0]
        self._hour = 0

    def room_ul(self, up_ms: int) -> int:
        """Gives what may still be delivered at this uptime, never below zero."""
        self.take(0, up_ms)
        return max(0, self.day_limit_ul - sum(self._slots_ul))

    def take(self, volume_ul: int, up_ms: int) -> None:
        """Counts a volume in the running hour; nothing is ever given back."""
        hour = up_ms // HOUR_MS
        for _ in range(min(hour - self._hour, PAST_HOURS + 1)):
            self._slots_ul = self._slots_ul[1:] + [0]
        self._hour = max(self._hour, hour)
        self._slots_ul[-1] += volume_ul


class Run:
    """A run from its acceptance on; times in the node's uptime."""

    def __init__(self, command: Command, started_ms: int) -> None:
        self.id, self.n, self.cal = command.id, command.whole["n"], command.text["cal"]
        self.ul, self.ms, self.cut_ms = [command.whole[x] for x in _ASKED]
        self.started_ms, self.ended_ms, self.reason = started_ms, 0, ""
        self.metered_nl = 0

    def ran_ms(self, up_ms: int) -> int:
        """Gives how long the output was on until now, never beyond the cut."""
        return min((self.ended_ms or up_ms) - self.started_ms, self.cut_ms)


class Head:
    """One pump head: number, budget, odometer, the run under way and the last one.

    `limits` has `nominal_ul_per_min`, `max_ul`, `max_ms`, `max_cut_ms`, `day_ul` and,
    where a flow meter measures what left the hose, `metered` as 1.
    """

    def __init__(self, limits: dict[str, int]) -> None:
        self.limits = limits
        self.budget, self.broken = Budget(limits["day_ul"]), False
        self.n = self.odo_ul = self.odo_ms = 0
        self.run: Run | None = None
        self.last: Run | None = None

    def end(self, reason: str, up_ms: int) -> "Run | None":
        """Drops the output and books what flowed; None when nothing ran."""
        run = self.run
        if run is not None:
            run.reason, run.ended_ms = reason, up_ms
            moved_ul = self.moved_ul(run, up_ms)
            self.odo_ul += moved_ul
            self.odo_ms += run.ran_ms(up_ms)
            self.budget.take(max(0, moved_ul - run.ul), up_ms)
            self.run, self.last = None, run
        return run

    def moved_ul(self, run: Run, up_ms: int) -> int:
        """Gives what a run moved so far, by meter or by time, rounded up."""
        if self.limits.get("metered"):
            return -(-run.metered_nl // 1000)
        return -(-run.ul * run.ran_ms(up_ms) // run.ms)

    def ending(self, up_ms: int) -> str:
        """Gives the reason why the run is over by now, empty while it is not."""
        run = self.run
        if run is None or up_ms - run.started_ms < run.ms:
            return ""
        cut = up_ms - run.started_ms >= run.cut_ms and run.cut_ms > run.ms
        return "cut" if cut else "complete"

    def is_beyond_limits(self, whole: dict[str, int]) -> bool:
        """Whether amount, times or implied rate are not for this head."""
        over = [x for x in _ASKED if whole[x] > self.limits["max_" + x]]
        nominal = self.limits["nominal_ul_per_min"] * whole["ms"]
        # Half to double the nominal rate; a minute has 60 000 ms.
        return bool(over) or not nominal <= whole["ul"] * 120_000 <= nominal * 4

    def account(self, run: Run, up_ms: int) -> "Payload":
        """Gives what is told of a run, under way or ended."""
        told: Payload = {"id": run.id, "reason": run.reason, "cal": run.cal}
        told.update({"ran_ms": run.ran_ms(up_ms), "ul": self.moved_ul(run, up_ms)})
        return told

    def shown(self, state: str, up_ms: int) -> "Payload":
        """Gives the head as a beat shows it; a run under way counts in the odometer."""
        run, room_ul = self.run, self.budget.room_ul(up_ms)
        shown: Payload = {"n": self.n, "state": state, "budget_ul": room_ul}
        shown["odo_ul"] = self.odo_ul + (self.moved_ul(run, up_ms) if run else 0)
        shown["odo_ms"] = self.odo_ms + (run.ran_ms(up_ms) if run else 0)
        if self.last is not None:
            shown["last"] = self.account(self.last, up_ms)
        return shown


class Node:
    """A pump node from one power-up on; `up_ms` is its uptime at each call.

    `heads` maps a channel to its limits; `key` is empty when nothing is signed.
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
        self.hardware, self.boot, self.keys = hardware, boot, [key]  # any counts
        self.heads = {chan: Head(heads[chan]) for chan in sorted(heads)}
        self.fence = self.unread = self._up_ms = self._seq = self._shows_until_ms = 0
        self.starting, self._self_test_ms, self._shows = True, self_test_ms, ""
        self._holds: list[str] = []  # names of active switches, "" for the hold flag
        local = {"firmware": FIRMWARE, "self_test_ms": self_test_ms, "chan": heads}
        self.config = code(b"", canonical(local).encode())[:8]

    def command(self, payload: bytes, up_ms: int, *, retained: bool = False) -> "Told":
        """Judges one message of the command topic: rules 1 and 2, then its act."""
        told, command = self.tick(up_ms), read_command(payload)
        if retained or command is None or command.chan not in [""] + list(self.heads):
            return told + self._turn_away(payload, "retained" if retained else "form")
        if not any(is_authentic(command, key) for key in self.keys):
            return told + self._turn_away(payload, "auth")
        if command.act == "run":
            return told + self._judge(command)
        if command.act == "stop":
            named = [chan for chan in self.heads if command.chan in ("", chan)]
            return told + self._end(named, "stopped") + [self.beat()]
        self._shows, self._shows_until_ms = command.chan or "all", up_ms + SHOWING_MS
        return told + [("state", self.display())]

    def tick(self, up_ms: int) -> "Told":
        """Ends what is over by now: runs, the self-test, showing itself."""
        self._up_ms = max(self._up_ms, up_ms)
        told: Told = []
        changed = self.starting and self._up_ms >= self._self_test_ms
        self.starting = self.starting and not changed
        for chan in self.heads:
            reason = self.heads[chan].ending(self._up_ms)
            told += self._end([chan], reason) if reason else []
        told += [self.beat()] if changed or told else []
        if self._shows and self._up_ms >= self._shows_until_ms:
            self._shows = ""
            told.append(("state", self.display()))
        return told

    def hold(self, payload: bytes, up_ms: int) -> "Told":
        """Sets the hold flag, whatever the message says; an empty one clears it."""
        return self.local_input("", up_ms, active=bool(payload))

    def local_input(self, name: str, up_ms: int, *, active: bool) -> "Told":
        """Notes a switch of its own (level, leak, lid); an active one holds."""
        told = self.tick(up_ms)
        if (name in self._holds) == active:
            return told
        self._holds = [x for x in self._holds if x != name] + ([name] if active else [])
        ended = self._end(list(self.heads), "stopped") if self._holds else []
        return told + ended + [self.beat()]

    def fail(self, chan: str, up_ms: int) -> "Told":
        """Notes that a head is broken: it stops and stays so until power-up."""
        told = self.tick(up_ms)
        self.heads[chan].broken = True
        return told + self._end([chan], "fault") + [self.beat()]

    def next_ms(self) -> "int | None":
        """Gives the uptime of the next change that comes with time alone."""
        moments = [self._self_test_ms] if self.starting else []
        moments += [self._shows_until_ms] if self._shows else []
        runs = [head.run for head in self.heads.values()]
        moments += [run.started_ms + run.ms for run in runs if run]
        return min(moments) if moments else None

    def beat(self) -> "tuple[str, Payload]":
        """Gives the sign of life; each one has the next `seq`."""
        self._seq += 1
        heads = {x: self.heads[x].shown(self.state(x), self._up_ms) for x in self.heads}
        beat: Payload = {"seq": self._seq, "hold": "" in self._holds, "chan": heads}
        beat.update({"fence": self.fence, "hw": self.hardware, "cfg": self.config})
        return "beat", self._said(beat)

    def display(self) -> "Payload":
        """Gives what the retained state shows to people; never a permission."""
        shown: Payload = {"v": 1, "state": "online", "boot": self.boot}
        marks: Payload = {"unread": self.unread, "identify": self._shows}
        shown.update({name: mark for name, mark in marks.items() if mark})
        return shown

    def state(self, chan: str) -> str:
        """Gives the state of a channel: starting, idle, running, held or fault."""
        head = self.heads[chan]
        if head.broken or head.run:
            return "fault" if head.broken else "running"
        return "starting" if self.starting else "held" if self._holds else "idle"

    def _judge(self, command: Command) -> "Told":
        """Rules 3 to 11; the first that is broken answers, else it runs."""
        for chan in self.heads:
            before = self.heads[chan].run or self.heads[chan].last
            if before is not None and before.id == command.id:
                return [self._result(chan, before)]
        head, whole = self.heads[command.chan], command.whole
        state = self.state(command.chan)
        rules = (
            ("boot", command.text["boot"] != self.boot),
            ("fence", whole["fence"] < self.fence),
            ("number", whole["n"] != head.n),
            ("late", self._up_ms > whole["until_up"]),
            ("busy", state in ("running", "fault")),
            ("held", state in ("starting", "held")),
            ("limit", head.is_beyond_limits(whole)),
            ("budget", whole["ul"] > head.budget.room_ul(self._up_ms)),
        )
        broken = [reason for reason, is_broken in rules if is_broken]
        if broken:
            return self._refuse(command.id, command.chan, broken[0], whole["n"])
        self.fence = whole["fence"]
        head.n += 1  # number and budget move before anybody switches the output on
        head.budget.take(whole["ul"], self._up_ms)
        head.run = run = Run(command, self._up_ms)
        return [self._result(command.chan, run, "taken"), self.beat()]

    def _turn_away(self, payload: bytes, reason: str) -> "Told":
        """Refuses under the ids that can be found; without them nobody is asking."""
        command_id, chan = label(payload, "id"), label(payload, "chan")
        if command_id and chan:
            return self._refuse(command_id, chan, reason, 0)
        self.unread += 1
        return []

    def _end(self, chans: list[str], reason: str) -> "Told":
        runs = [(chan, self.heads[chan].end(reason, self._up_ms)) for chan in chans]
        return [self._result(chan, run) for chan, run in runs if run]

    def _result(self, chan: str, run: Run, phase: str = "") -> "tuple[str, Payload]":
        phase = phase or ("ended" if run.reason else "running")
        said: Payload = {"chan": chan, "n": run.n, "phase": phase}
        said.update(self.heads[chan].account(run, self._up_ms))
        return "result", self._said(said)

    def _refuse(self, command_id: str, chan: str, reason: str, n: int) -> "Told":
        said: Payload = {"id": command_id, "chan": chan, "n": n, "phase": "refused"}
        said.update({"ran_ms": 0, "ul": 0, "reason": reason, "cal": ""})
        return [("result", self._said(said))]

    def _said(self, payload: "Payload") -> "Payload":
        payload.update({"v": 1, "boot": self.boot, "up": self._up_ms})
        if self.keys[0]:
            payload["mac"] = code(self.keys[0], canonical(payload).encode())
        return payload
