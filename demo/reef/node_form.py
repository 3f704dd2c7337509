"""How a pump node reads a command and signs what it says.

Outside every floor; never imports Slackwater. One subject: bytes to a command or to
none. Laws here: no input raises; whatever is doubtful is no command; codes are compared
in constant time. Kept, like all `node_` files, to what small Pythons on a device have
(no dataclass, no typing module, no duplicate-key hook in the JSON reader); it was
never run on one.
"""

import hashlib
import hmac
import json

COMMAND_BYTES_AT_MOST = 1024
# Uptime and deadlines are 64-bit; no other number is longer.
WHOLE_AT_MOST = 2**64 - 1
# One litre: no single run of a dosing head is larger.
RUN_AT_MOST_UL = 1_000_000

# The values a code covers, in this order; also every field but `mac` an act may have.
FIELDS = {
    "run": (
        "v",
        "act",
        "id",
        "chan",
        "boot",
        "n",
        "fence",
        "ul",
        "ms",
        "cut_ms",
        "until_up",
        "cal",
    ),
    "stop": ("v", "act", "id", "chan"),
    "identify": ("v", "act", "id", "chan"),
}
_HEX_DIGITS = {"id": 32, "boot": 16, "cal": 8, "mac": 64}
_WHOLE = {
    "v": (1, 1),
    "n": (0, WHOLE_AT_MOST),
    "fence": (0, WHOLE_AT_MOST),
    "ul": (1, RUN_AT_MOST_UL),
    "ms": (1, WHOLE_AT_MOST),
    "cut_ms": (1, WHOLE_AT_MOST),
    "until_up": (0, WHOLE_AT_MOST),
}
_IDENTITY = "abcdefghijklmnopqrstuvwxyz0123456789-"
_IDENTITY_AT_MOST = 32


class Command:
    """One well-formed command; fields its act does not have are empty or zero."""

    def __init__(self, texts: dict[str, str], wholes: dict[str, int]) -> None:
        self.act = texts["act"]
        self.id = texts["id"]
        self.chan = texts.get("chan", "")
        self.boot = texts.get("boot", "")
        self.cal = texts.get("cal", "")
        self.mac = texts.get("mac", "")
        self.n = wholes.get("n", 0)
        self.fence = wholes.get("fence", 0)
        self.ul = wholes.get("ul", 0)
        self.ms = wholes.get("ms", 0)
        self.cut_ms = wholes.get("cut_ms", 0)
        self.until_up = wholes.get("until_up", 0)
        covered: dict[str, object] = {"chan": ""}
        covered.update(texts)
        covered.update(wholes)
        self.covered = "\n".join(str(covered[name]) for name in FIELDS[self.act])


def read_command(payload: bytes) -> Command | None:
    """Gives the command in these bytes, or None when the form is not kept."""
    fields = _flat_object(payload)
    texts = {}
    wholes = {}
    for name in fields:
        value = fields[name]
        if not _has_shape(name, value):
            return None
        if isinstance(value, str):
            texts[name] = value
        elif isinstance(value, int):
            wholes[name] = value
    if not _is_complete(texts.get("act", ""), fields):
        return None
    command = Command(texts, wholes)
    return None if command.cut_ms < command.ms else command


def label(payload: bytes, name: str) -> str:
    """Gives the identity under a name, even in a payload that is no command.

    It only addresses the refusal; nothing is decided by it. Empty when there is none.
    """
    head = payload[:COMMAND_BYTES_AT_MOST].replace(b'": "', b'":"')
    mark = b'"' + name.encode() + b'":"'
    start = head.find(mark)
    end = head.find(b'"', start + len(mark))
    if start < 0 or end < 0:
        return ""
    try:
        found = head[start + len(mark) : end].decode()
    except UnicodeError:
        return ""
    return found if _has_shape(name, found) else ""


def is_authentic(command: Command, key: bytes) -> bool:
    """Whether the command carries the code of this key.

    Without a key only a command without a code passes: a code nobody can check shows
    that the two ends were set up differently.
    """
    if not key:
        return not command.mac
    return _same(command.mac, code(key, command.covered.encode()))


def code(key: bytes, message: bytes) -> str:
    """Gives the HMAC-SHA256 of a message as 64 hex digits.

    Source: RFC 2104 (HMAC), FIPS 180-4 (SHA-256).
    """
    return hex_digits(hmac.new(key, message, hashlib.sha256).digest())


def hex_digits(digest: bytes) -> str:
    """Gives two lower-case hex digits a byte."""
    return "".join(f"{byte:02x}" for byte in digest)


def canonical(value: object) -> str:
    """Gives the canonical JSON of nested objects of text, whole numbers and truth.

    Range: ASCII text and whole numbers below 2**53, which is all a node says.
    Source: RFC 8785.
    """
    if isinstance(value, dict):
        inside = [f"{json.dumps(key)}:{canonical(value[key])}" for key in sorted(value)]
        return "{" + ",".join(inside) + "}"
    return json.dumps(value)


def _flat_object(payload: bytes) -> dict[str, object]:
    """Gives a JSON object without nesting, escapes or repeated keys, or an empty one.

    No legal value holds a colon, so more colons than keys means that a key came twice
    (or that a value is illegal anyway).
    """
    if len(payload) > COMMAND_BYTES_AT_MOST:
        return {}
    try:
        text = payload.decode()
        if "\\" in text or "[" in text or text.count("{") != 1:
            return {}
        read = json.loads(text)
    except ValueError:  # UnicodeError is one
        return {}
    if not isinstance(read, dict) or text.count(":") != len(read):
        return {}
    return read


def _has_shape(name: str, value: object) -> bool:
    if name in _WHOLE:
        low, high = _WHOLE[name]
        return type(value) is int and low <= value <= high
    if type(value) is not str:
        return False
    if name in _HEX_DIGITS:
        return len(value) == _HEX_DIGITS[name] and _only(value, "0123456789abcdef")
    if name == "chan":
        return 0 < len(value) <= _IDENTITY_AT_MOST and _only(value, _IDENTITY)
    return name == "act" and value in FIELDS


def _only(text: str, allowed: str) -> bool:
    return all(letter in allowed for letter in text)


def _is_complete(act: str, fields: dict[str, object]) -> bool:
    if act not in FIELDS:
        return False
    optional = ["mac"] if act == "run" else ["mac", "chan"]
    allowed = FIELDS[act] + ("mac",)
    needed = [name for name in FIELDS[act] if name not in optional]
    return all(name in allowed for name in fields) and all(
        name in fields for name in needed
    )


def _same(shown: str, wanted: str) -> bool:
    """Compares without stopping early; not every small Python has it in `hmac`."""
    if len(shown) != len(wanted):
        return False
    different = 0
    for one, other in zip(shown, wanted):  # noqa: B905  # lengths are equal
        different |= ord(one) ^ ord(other)
    return different == 0
