"""Thousands of changes of what was approved: each has a digest of its own.

The leaves are those of the records themselves: what a sample leaves empty is filled in
by its type, and a test sees to it that every field there is holds something.
"""

import json
import types
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass, replace
from datetime import date, timedelta
from functools import cache
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import pytest
import rfc8785
from pydantic import TypeAdapter

from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine
from slackwater.outside.approved import digest, machine_text, plan_text
from tests.outside.settings.machines import full_machine, full_plan
from tests.outside.test_approved import TABLE, leaves, other_than

LEAST = 5000
# One of so many is tried in the ordinary run.
SLICE = 16
MACHINE, PLAN = TypeAdapter(Machine), TypeAdapter(Plan)
Path = tuple[str | int, ...]
# Words of a closed list, which `other_than` changes as the records allow.
CLOSED = {"mon", "thu", "maintenance", "correction", "return-pump"}


def variants(value: object) -> Iterator[object]:
    """Other values of a leaf that the records accept, many where there are many."""
    if isinstance(value, bool) or str(value) in CLOSED:
        yield other_than(value)
        return
    text = str(value)
    if text.isdigit():
        yield from _whole(int(text))
    elif text.replace(".", "", 1).replace("-", "", 1).isdigit():
        yield from _broken(float(text))
    elif text.startswith("2026-"):
        day = date.fromisoformat(text)
        yield from (str(day + timedelta(days=number)) for number in range(1, 31))
    else:
        yield from _worded(text)


def _whole(number: int) -> Iterator[str]:
    """One up and down, each digit, other sizes, nought."""
    found = {number + 10**place for place in range(20)}
    found |= {number * factor for factor in (0, 2, 3, 5, 10, 60, 100, 1000, 10**6)}
    found |= {number // factor for factor in (2, 10)} | {max(number - 1, 0)}
    yield from (str(one) for one in sorted(found - {number}))


def _broken(number: float) -> Iterator[str]:
    """From the last bit of it to thousands of it."""
    found = {number * (1 + 2.0**-power) for power in range(1, 52, 2)}
    found |= {number * factor for factor in (0.0, -1.0, 0.1, 2.0, 10.0, 1000.0)}
    yield from (repr(one + 0.0) for one in sorted(found - {number}))


def _worded(text: str) -> Iterator[str]:
    """A letter more, one less, another case, other letters that look alike."""
    found = {text + letter for letter in "abcdefghijklm 0_.é-"}
    found |= {text[:-1], text[1:], text.upper(), text.title(), text * 2, f" {text}"}
    found |= {text[:at] + "q" + text[at + 1 :] for at in range(min(len(text), 8))}
    yield from sorted(found - {text})


def changed(text: str, path: Path, value: object) -> str:
    """The canonical text with another value at one path."""
    tree = json.loads(text)
    place = tree
    for part in path[:-1]:
        place = place[part]
    place[path[-1]] = value
    return rfc8785.dumps(tree).decode()


PLAIN: Mapping[object, object] = {
    str: "some",
    bool: True,
    int: 7,
    float: 1.5,
    date: date(2026, 5, 3),
}


def made(hint: object) -> Any:  # noqa: ANN401 - whatever the hint asks for
    """Something of a type, its records filled in every field."""
    origin, parts = get_origin(hint), get_args(hint)
    if isinstance(hint, type) and is_dataclass(hint):
        hints = get_type_hints(hint)
        return hint(**{field.name: made(hints[field.name]) for field in fields(hint)})
    if origin is Literal:
        return parts[0]
    if origin in (Union, types.UnionType):
        return made(next(part for part in parts if part is not type(None)))
    if origin is tuple:
        return (made(parts[0]),)
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return {"some": made(parts[1])}
    return PLAIN[hint]


def complete(record: Any) -> Any:  # noqa: ANN401 - any record
    """The same with every empty field filled, down to the last record in it."""
    if isinstance(record, Mapping):
        return {name: complete(value) for name, value in record.items()}
    if isinstance(record, tuple):
        return tuple(complete(value) for value in record)
    if not is_dataclass(record) or isinstance(record, type):
        return record
    hints = get_type_hints(type(record))
    values = {}
    for field in fields(record):
        value = getattr(record, field.name)
        empty = value in (None, "", (), {})
        values[field.name] = made(hints[field.name]) if empty else complete(value)
    return replace(record, **values)


@cache
def whole_machine() -> Machine:
    """The machine of the other tests with nothing empty."""
    machine: Machine = complete(full_machine())
    return machine


@cache
def whole_plan() -> Plan:
    """The plan of the other tests with nothing empty."""
    plan: Plan = complete(full_plan())
    return plan


def machines() -> Iterator[str]:
    """Texts of machines, each changed in one leaf."""
    text = machine_text(whole_machine())
    for path in leaves(json.loads(text)):
        for value in variants(_at(text, path)):
            yield changed(text, path, value)


def plans() -> Iterator[str]:
    """Texts of plans, each changed in one leaf."""
    text = plan_text(whole_plan())
    for path in leaves(json.loads(text)):
        for value in variants(_at(text, path)):
            yield changed(text, path, value)


def tables() -> Iterator[tuple[bytes, ...]]:
    """Dose tables, each changed in one byte, cut, doubled or turned round."""
    for line, text in enumerate(TABLE):
        for place in range(len(text)):
            other = text[:place] + bytes([text[place] ^ 1]) + text[place + 1 :]
            yield (*TABLE[:line], other, *TABLE[line + 1 :])
    yield from (TABLE[:1], TABLE[1:], TABLE[::-1], TABLE * 2, ())


def _at(text: str, path: Path) -> object:
    place = json.loads(text)
    for part in path:
        place = place[part]
    return place


def digests(every: int) -> tuple[int, set[str]]:
    """How many changes were tried, and the digests they have."""
    machine, plan = whole_machine(), whole_plan()
    found, tried = {digest(machine, plan, TABLE)}, 1
    for text in list(machines())[::every]:
        found.add(digest(MACHINE.validate_json(text), plan, TABLE))
        tried += 1
    for text in list(plans())[::every]:
        found.add(digest(machine, PLAN.validate_json(text), TABLE))
        tried += 1
    for table in list(tables())[::every]:
        found.add(digest(machine, plan, table))
        tried += 1
    return tried, found


def test_there_are_thousands_of_changes_and_each_is_another_text() -> None:
    """No two of them say the same, so that no two may have one digest."""
    texts = [*machines(), *plans()]
    assert len(texts) == len(set(texts))
    assert len(texts) + len(list(tables())) >= LEAST


def test_every_change_of_a_slice_has_a_digest_of_its_own() -> None:
    """One in sixteen, spread over all leaves."""
    tried, found = digests(SLICE)
    assert tried == len(found) > LEAST // SLICE


@pytest.mark.long
@pytest.mark.timeout(900)
def test_every_one_of_thousands_of_changes_has_a_digest_of_its_own() -> None:
    """Each leaf of the schema, some thirty ways."""
    tried, found = digests(1)
    assert tried == len(found) > LEAST


def schema(kind: object) -> Iterator[tuple[str, str]]:
    """Every field of a record and of the records within it."""
    origin = get_origin(kind)
    if origin in (Union, types.UnionType, tuple) or (
        isinstance(origin, type) and issubclass(origin, Mapping)
    ):
        for part in get_args(kind):
            yield from schema(part)
    elif isinstance(kind, type) and is_dataclass(kind):
        for name, hint in get_type_hints(kind).items():
            yield kind.__name__, name
            yield from schema(hint)


def held(record: Any) -> Iterator[tuple[str, str]]:  # noqa: ANN401 - any record
    """Every field that holds something, in a record and in those within it."""
    if is_dataclass(record) and not isinstance(record, type):
        for field in fields(record):
            value = getattr(record, field.name)
            if value not in (None, "", (), {}):
                yield type(record).__name__, field.name
            yield from held(value)
    elif isinstance(record, Mapping):
        for value in record.values():
            yield from held(value)
    elif isinstance(record, tuple):
        for value in record:
            yield from held(value)


def test_the_changed_records_hold_every_field_of_the_schema() -> None:
    """A field that is new and empty here would be a leaf nobody changes."""
    for kind, record in ((Machine, whole_machine()), (Plan, whole_plan())):
        named = set(schema(kind))
        assert len(named) > len(fields(kind))
        assert set() == named - set(held(record))
