"""One pump head under judgement, and the bytes made for it.

Floor 6. One subject: a case and the head's present state to one payload. Laws here: a
case names figures of the head by a letter, so that it fits every head; whatever is
wrong in a payload was put there by the case; with a key everything is signed first and
spoilt after.
"""

import hmac
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from hashlib import sha256

from slackwater.outside.wire import COMMAND_BYTES_AT_MOST

RUN_FIELDS = (
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
)
OTHER_FIELDS = RUN_FIELDS[:4]
MINUTE_MS = 60_000
# Long enough for a pump to start, short enough for two hundred of them.
SHORT_MS = 200
# So that half and double of it are whole amounts.
LEAST_UL = 8
DEADLINE_MS = 8_000


@dataclass(frozen=True, slots=True)
class At:
    """A figure of the head or of this moment, plus a whole number."""

    name: str
    add: int = 0

    def __str__(self) -> str:
        """As the recorded cases write it."""
        return f"${self.name}" + (f"{self.add:+d}" if self.add else "")


@dataclass(frozen=True, slots=True)
class Raw:
    """JSON text that no number or word of ours would become."""

    text: str

    def __str__(self) -> str:
        """As it travels."""
        return self.text


Value = str | int | float | bool | At | Raw | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """What the author says of one head; whole microlitres and milliseconds."""

    chan: str
    nominal_ul_per_min: int
    max_ul: int
    max_ms: int
    max_cut_ms: int
    key: bytes = field(default=b"", repr=False)

    def figures(self) -> dict[str, int]:
        """The figures a case may name; half and double are the last good amounts."""
        least_ms = -(-LEAST_UL * MINUTE_MS // self.nominal_ul_per_min)
        ms = min(max(SHORT_MS, least_ms), self.max_ms)
        per_ms = self.nominal_ul_per_min * ms
        long_ms = min(self.max_ms, self._ms(self.max_ul))
        over_ms = self._ms(self.max_ul + 1)
        return {
            "ul": max(1, per_ms // MINUTE_MS),
            "ms": ms,
            "cut": ms,
            "half": -(-per_ms // (2 * MINUTE_MS)),
            "double": per_ms * 2 // MINUTE_MS,
            "max_ul": self.max_ul,
            "max_ms": self.max_ms,
            "max_cut": self.max_cut_ms,
            "long_ul": min(self.max_ul, self._ul(long_ms)),
            "long_ms": long_ms,
            "over_ms": min(over_ms, self.max_ms),
            "over_ul": min(self.max_ul, self._ul(self.max_ms + 1)),
        }

    def _ms(self, volume_ul: int) -> int:
        return -(-volume_ul * MINUTE_MS // self.nominal_ul_per_min)

    def _ul(self, run_ms: int) -> int:
        return max(1, self.nominal_ul_per_min * run_ms // MINUTE_MS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """What the head's last beat said, its uptime carried on to now."""

    boot: str
    n: int
    fence: int
    up: int
    room: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """How the fields become bytes: their order, blanks, and what is spoilt after."""

    turn: int = 0
    blanks: str = ""
    edits: tuple[tuple[str, str], ...] = ()
    before: bytes = b""
    after: bytes = b""
    bytes_in_all: int = 0
    encoding: str = "latin-1"
    instead: bytes | None = None


def base(plate: Plate, moment: Moment, act: str, command_id: str) -> dict[str, Value]:
    """The fields of a command nothing is wrong with."""
    figures = plate.figures()
    whole: dict[str, Value] = {
        "v": 1,
        "act": act,
        "id": command_id,
        "chan": plate.chan,
        "boot": moment.boot,
        "n": moment.n,
        "fence": moment.fence,
        "ul": figures["ul"],
        "ms": figures["ms"],
        "cut_ms": figures["cut"],
        "until_up": moment.up + DEADLINE_MS,
        "cal": "77aa01cf",
    }
    names = RUN_FIELDS if act == "run" else OTHER_FIELDS
    return {name: whole[name] for name in names}


def resolved(
    changes: Mapping[str, Value], plate: Plate, moment: Moment
) -> dict[str, Value]:
    """The changes with every named figure put in; None stays and removes."""
    known = {
        **plate.figures(),
        "n": moment.n,
        "fence": moment.fence,
        "up": moment.up,
        "room": moment.room,
    }
    return {
        name: known[value.name] + value.add if isinstance(value, At) else value
        for name, value in changes.items()
    }


def signed(fields: Mapping[str, Value], key: bytes) -> dict[str, Value]:
    """The fields with their code, where a key is set and no code is given.

    Source: RFC 2104; what is covered is in the command contract.
    """
    if not key or "mac" in fields:
        return dict(fields)
    names = RUN_FIELDS if fields.get("act") == "run" else OTHER_FIELDS
    values = [fields.get(name) for name in names]
    text = "\n".join("" if value is None else str(value) for value in values)
    code = hmac.new(key, text.encode("utf-8", "replace"), sha256).hexdigest()
    return {**fields, "mac": code}


def altered(fields: Mapping[str, Value], name: str) -> dict[str, Value]:
    """The fields with one more, as legal as before, under the old code."""
    value = fields.get(name)
    if isinstance(value, int):
        # A shorter run, because a longer one would pass its cut.
        return {**fields, name: value - 1 if name == "ms" else value + 1}
    last = "1" if str(value).endswith("0") else "0"
    return {**fields, name: str(value)[:-1] + last}


def written(fields: Mapping[str, Value], shape: Shape) -> bytes:
    """The bytes of these fields in this shape."""
    if shape.instead is not None:
        return shape.instead
    names = [name for name in fields if fields[name] is not None]
    names = names[shape.turn :] + names[: shape.turn]
    pairs = [
        f'"{name}":{shape.blanks}{_json(fields[name])}{shape.blanks}' for name in names
    ]
    text = "{" + shape.blanks + ("," + shape.blanks).join(pairs) + "}"
    for old, new in shape.edits:
        text = text.replace(old, new, 1)
    content = shape.before + text.encode(shape.encoding) + shape.after
    return content + b" " * (shape.bytes_in_all - len(content))


def _json(value: Value) -> str:
    return value.text if isinstance(value, Raw) else json.dumps(value)


FULL = COMMAND_BYTES_AT_MOST
