"""Payloads that are not those of the contract, understood as the operator mapped them.

Floor 6. One subject: bare words and numbers, and where they stand in JSON. Laws here:
nothing raises; what is not exactly a word of the list or a plain finite number is
refused; a mapped topic is never one of our own.
Source: RFC 6901 (JSON Pointer), sections 3 and 4.
"""

import json
import math
import re
from collections.abc import Iterable, Mapping

from slackwater.facts.limits import Switch
from slackwater.facts.relays import Relay
from slackwater.facts.tank import Probe
from slackwater.outside.wire.strict import Spoiled, read_anything

Source = Probe | Switch

_NUMBER = re.compile(r"[+-]?[0-9]{1,18}(\.[0-9]{1,18})?", re.ASCII)
_INDEX = re.compile(r"0|[1-9][0-9]{0,8}", re.ASCII)
# What a counter can hold: larger totals are no counter's.
_TOTAL_AT_MOST_UL = 2**53


def sources_by_topic(sources: Iterable[Source]) -> Mapping[str, tuple[Source, ...]]:
    """Mapped inputs by the topic they speak on; several may share one."""
    found: dict[str, tuple[Source, ...]] = {}
    for source in sources:
        if source.topic:
            found[source.topic] = (*found.get(source.topic, ()), source)
    return found


def number_in(payload: bytes, pointer: str) -> float | Spoiled:
    """The number that a payload holds at a place; a text of a plain number is one."""
    value = value_at(payload, pointer)
    if isinstance(value, Spoiled):
        return value
    if isinstance(value, str) and _NUMBER.fullmatch(value):
        return float(value)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return Spoiled(why="form", detail="no number there")
    return _finite(value)


def _finite(value: float) -> float | Spoiled:
    try:
        number = float(value)
    except OverflowError:
        return Spoiled(why="number")
    return number if math.isfinite(number) else Spoiled(why="number")


def state_in(payload: bytes, switch: Switch | Relay) -> bool | Spoiled:
    """Whether a switch or a relay says on, by one of its words."""
    value = value_at(payload, switch.pointer or "")
    if isinstance(value, Spoiled):
        return value
    word = value if isinstance(value, str) else json.dumps(value)
    if word in switch.on:
        return True
    if word in switch.off:
        return False
    return Spoiled(why="form", detail="neither a word for on nor one for off")


def total_in(payload: bytes, switch: Switch) -> int | Spoiled:
    """A counter's running total in whole microlitres, rounded down."""
    number = number_in(payload, switch.pointer or "")
    if isinstance(number, Spoiled):
        return number
    if not 0 <= number * switch.unit_ul <= _TOTAL_AT_MOST_UL:
        return Spoiled(why="number", detail="no running total")
    return int(number * switch.unit_ul)


def value_at(payload: bytes, pointer: str) -> object | Spoiled:
    """What stands at a place in a payload; the bare text where it is no JSON."""
    value = read_anything(payload)
    if isinstance(value, Spoiled):
        # Only a whole payload may be something else than JSON: a plain word.
        if pointer or value.why != "form":
            return value
        return payload.decode("utf-8")
    for part in pointer.split("/")[1:]:
        value = _member(value, part.replace("~1", "/").replace("~0", "~"))
        if isinstance(value, Spoiled):
            return value
    return value


def _member(value: object, name: str) -> object | Spoiled:
    found: object = Spoiled(why="form", detail="nothing at the place of the pointer")
    if isinstance(value, dict):
        found = value.get(name, found)
    elif isinstance(value, list) and _INDEX.fullmatch(name) and int(name) < len(value):
        found = value[int(name)]
    return found
