"""Bytes from the wire, read twice before anybody believes them.

Floor 6. One subject: payload bytes to a checked model, or one reason why not.
Laws here: size, encoding, depth, duplicate keys and numbers are checked before the
model sees a byte; no input raises; a complaint never quotes what was received.
"""

import json
import math
import re
from dataclasses import dataclass
from typing import Generic, Literal, NoReturn, TypeVar

from pydantic import BaseModel, ValidationError

PAYLOAD_BYTES_AT_MOST = 4096
COMMAND_BYTES_AT_MOST = 1024
# A beat needs four: message, channels, channel, last run.
DEPTH_AT_MOST = 4

Why = Literal[
    "size",
    "encoding",
    "depth",
    "form",
    "duplicate-key",
    "number",
    "topic",
    "stranger",
    "auth",
]
Model = TypeVar("Model", bound=BaseModel)

# Possessive: a string is taken whole or not at all, in a single pass over it.
_STRING = re.compile(r'"[^"\\]*+(?:\\.[^"\\]*+)*+"', re.DOTALL)
_PLAIN = re.compile("[^a-z0-9_.-]", re.ASCII)
_BRACKET = re.compile(r"[\[\]{}]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Spoiled:
    """A message that was refused at the rim; it is counted and has no effect."""

    why: Why
    detail: str = ""
    topic: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Read(Generic[Model]):
    """A payload that passed both readings, with its plain form for signatures."""

    model: Model
    plain: dict[str, object]


class _DuplicateKeyError(ValueError):
    """Two equal keys in one object."""


class _NotFiniteError(ValueError):
    """A number that is none, or is beyond all bounds."""


def read_strictly(
    payload: bytes,
    model: type[Model],
    *,
    bytes_at_most: int = PAYLOAD_BYTES_AT_MOST,
    depth_at_most: int = DEPTH_AT_MOST,
) -> Read[Model] | Spoiled:
    """Read a payload into a model; every flaw gives a `Spoiled`, never an error."""
    plain = read_anything(
        payload, bytes_at_most=bytes_at_most, depth_at_most=depth_at_most
    )
    if not isinstance(plain, dict | Spoiled):
        plain = Spoiled(why="form", detail="not a JSON object")
    if isinstance(plain, Spoiled):
        return plain
    try:
        checked = model.model_validate_json(payload)
    except ValidationError as error:
        return Spoiled(why="form", detail=first_complaint(error))
    return Read(model=checked, plain=plain)


def read_anything(
    payload: bytes,
    *,
    bytes_at_most: int = PAYLOAD_BYTES_AT_MOST,
    depth_at_most: int = DEPTH_AT_MOST,
) -> object | Spoiled:
    """Read a payload of any JSON; every flaw gives a `Spoiled`, never an error."""
    if len(payload) > bytes_at_most:
        return Spoiled(why="size", detail=f"more than {bytes_at_most} bytes")
    try:
        text = payload.decode("utf-8")
    except UnicodeDecodeError:
        return Spoiled(why="encoding", detail="not UTF-8")
    # What opens no more often than that is never nested deeper.
    opened = text.count("{") + text.count("[")
    if opened > depth_at_most and _depth(text) > depth_at_most:
        return Spoiled(why="depth", detail=f"nested deeper than {depth_at_most}")
    return _parse(text)


def first_complaint(error: ValidationError) -> str:
    """Where and how the first field failed, without its value."""
    first = error.errors(include_url=False, include_input=False)[0]
    place = ".".join(str(step) for step in first["loc"]) or "payload"
    # Names of unknown fields come from the sender: only plain letters, and few.
    return f"{_PLAIN.sub('?', place)[:80]}: {first['type']}"


def _parse(text: str) -> object | Spoiled:
    try:
        plain: object = json.loads(
            text,
            object_pairs_hook=_without_duplicates,
            parse_constant=_no_constant,
            parse_float=_finite,
        )
    except _DuplicateKeyError:
        return Spoiled(why="duplicate-key")
    except _NotFiniteError:
        return Spoiled(why="number")
    # Too many digits for a whole number is a ValueError too, not a JSON one.
    except ValueError:
        return Spoiled(why="form", detail="not JSON")
    return plain


def _depth(text: str) -> int:
    deepest = depth = 0
    for bracket in _BRACKET.findall(_without_strings(text)):
        if bracket in "{[":
            depth += 1
            deepest = max(deepest, depth)
        else:
            depth -= 1
    return deepest


def _without_strings(text: str) -> str:
    """The text outside its strings; quick where every quote begins or ends one."""
    if "\\" in text:
        return _STRING.sub("", text)
    return "".join(text.split('"')[::2])


def _without_duplicates(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise _DuplicateKeyError
    return found


def _no_constant(_: str) -> NoReturn:
    raise _NotFiniteError


def _finite(text: str) -> float:
    number = float(text)
    if not math.isfinite(number):
        raise _NotFiniteError
    return number
