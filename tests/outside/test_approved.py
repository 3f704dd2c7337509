"""The approved bytes and their digest (design of the approval: any change shows)."""

import hashlib
import json
import random
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import TypeVar

import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from slackwater.errors import InputError
from slackwater.outside.approved import (
    digest,
    machine_from,
    machine_text,
    plan_from,
    plan_text,
)
from tests.outside.settings.machines import full_machine, full_plan, small_machine

TABLE = (b"2026-05-03T06:00:00Z carbonate 1750", b"2026-05-03T07:00:00Z carbonate 1750")

ValueT = TypeVar("ValueT")
Path = tuple[str | int, ...]


def leaves(tree: object, path: Path = ()) -> Iterator[Path]:
    """Paths to every value of a JSON tree that holds no other, in order."""
    if isinstance(tree, dict):
        for key, value in tree.items():
            yield from leaves(value, (*path, key))
    elif isinstance(tree, list):
        for index, value in enumerate(tree):
            yield from leaves(value, (*path, index))
    else:
        yield path


def changed(text: str, path: Path) -> str:
    """The canonical text with the value at one path replaced by another."""
    tree = json.loads(text)
    place = tree
    for part in path[:-1]:
        place = place[part]
    place[path[-1]] = other_than(place[path[-1]])
    return rfc8785.dumps(tree).decode()


def other_than(value: object) -> object:
    """Another value of the same kind that the records accept."""
    choices = {
        "mon": "tue",
        "thu": "fri",
        "maintenance": "correction",
        "correction": "maintenance",
        "return-pump": "skimmer",
    }
    if isinstance(value, bool):
        return not value
    text = str(value)
    if text in choices:
        return choices[text]
    if text.startswith("2026-"):
        return text.replace("2026", "2027")
    if value is None:
        return "7"
    if text.replace(".", "").isdigit():
        return str(int(text) + 1) if "." not in text else str(float(text) + 1)
    return f"{text}x"


def shuffled(mapping: Mapping[str, ValueT], source: random.Random) -> dict[str, ValueT]:
    """The same mapping in another order."""
    keys = list(mapping)
    source.shuffle(keys)
    return {key: mapping[key] for key in keys}


MACHINE_LEAVES = list(leaves(json.loads(machine_text(full_machine()))))
PLAN_LEAVES = list(leaves(json.loads(plan_text(full_plan()))))


def test_machine_survives_the_round_trip() -> None:
    """What was written down comes back equal, default or not."""
    for machine in (small_machine(), full_machine()):
        assert machine == machine_from(machine_text(machine))


def test_plan_survives_the_round_trip() -> None:
    """What was written down comes back equal."""
    assert full_plan() == plan_from(plan_text(full_plan()))


@pytest.mark.parametrize("path", MACHINE_LEAVES, ids=str)
def test_any_change_of_the_machine_alters_the_digest(path: Path) -> None:
    """Each leaf of the machine is part of what was approved."""
    machine, plan = full_machine(), full_plan()
    other = machine_from(changed(machine_text(machine), path))
    assert machine != other
    assert digest(machine, plan, TABLE) != digest(other, plan, TABLE)


@pytest.mark.parametrize("path", PLAN_LEAVES, ids=str)
def test_any_change_of_the_plan_alters_the_digest(path: Path) -> None:
    """Each leaf of the plan is part of what was approved."""
    machine, plan = full_machine(), full_plan()
    other = plan_from(changed(plan_text(plan), path))
    assert plan != other
    assert digest(machine, plan, TABLE) != digest(machine, other, TABLE)


def test_any_change_of_the_dose_table_alters_the_digest() -> None:
    """A byte, a line more, a line less or another order are all another table."""
    machine, plan = full_machine(), full_plan()
    tables = [TABLE, TABLE[:1], TABLE[::-1], (*TABLE, TABLE[0]), (b"", *TABLE), ()]
    digests = {digest(machine, plan, table) for table in tables}
    assert len(tables) == len(digests)


@settings(max_examples=300, deadline=None)
@given(seed=st.integers(min_value=0, max_value=2**32))
def test_order_of_mappings_never_alters_the_digest(seed: int) -> None:
    """However the tables of a file are ordered, the meaning has one digest."""
    plan, small = full_plan(), small_machine()
    source = random.Random(seed)  # noqa: S311 - shuffles test data
    other = replace(
        small,
        pumps=shuffled(small.pumps, source),
        solutions=shuffled(small.solutions, source),
        tanks=shuffled(small.tanks, source),
    )
    assert digest(small, plan, TABLE) == digest(other, plan, TABLE)


@settings(max_examples=300, deadline=None)
@given(
    amount=st.integers(min_value=0, max_value=10**19),
    level=st.floats(allow_nan=False, allow_infinity=False),
)
def test_every_number_comes_back_exactly(amount: int, level: float) -> None:
    """No figure passes through a rounding, however large (RFC 8785 stops at 2**53)."""
    machine = full_machine()
    tank = machine.tanks["reef"]
    caps = {"alkalinity": replace(tank.caps["alkalinity"], gross=amount)}
    tank = replace(tank, caps=caps, targets={"alkalinity": level})
    machine = replace(machine, tanks={"reef": tank})
    assert machine == machine_from(machine_text(machine))


def test_both_ways_of_typing_a_letter_are_one() -> None:
    """Composed and decomposed letters give one digest (Unicode form C)."""
    machine = full_machine()
    composed = replace(full_plan(), name="Fr\u00fchling")
    decomposed = replace(full_plan(), name="Fru\u0308hling")
    assert digest(machine, composed, ()) == digest(machine, decomposed, ())


def test_both_zeros_are_one() -> None:
    """Minus zero is no other number than zero."""
    plan, machine = full_plan(), full_machine()
    guard = replace(machine.guards["reef"], hysteresis=-0.0)
    minus = replace(machine, guards={"reef": guard})
    zero = replace(machine, guards={"reef": replace(guard, hysteresis=0.0)})
    assert digest(zero, plan, ()) == digest(minus, plan, ())


def test_digest_is_the_hash_of_what_is_documented() -> None:
    """The digest can be recomputed with nothing but a hash function."""
    machine, plan = full_machine(), full_plan()
    lines = [machine_text(machine).encode(), plan_text(plan).encode(), *TABLE]
    content = b"slackwater approval 1\n" + b"".join(line + b"\n" for line in lines)
    assert hashlib.sha256(content).hexdigest() == digest(machine, plan, TABLE)


def test_text_is_what_the_standard_library_would_sort() -> None:
    """For text of plain letters, RFC 8785 is sorted keys without spaces."""
    text = machine_text(full_machine())
    plain = json.dumps(json.loads(text), sort_keys=True, separators=(",", ":"))
    assert plain == text


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf")])
def test_refuses_numbers_that_are_none(value: float) -> None:
    """Nothing that is not finite can be approved (H42)."""
    machine = full_machine()
    guard = replace(machine.guards["reef"], ceiling=value)
    with pytest.raises(InputError, match="guards reef ceiling"):
        machine_text(replace(machine, guards={"reef": guard}))


def test_refuses_a_line_end_inside_the_dose_table() -> None:
    """Two lines can never pass for one."""
    with pytest.raises(InputError, match="holds a line end"):
        digest(full_machine(), full_plan(), [b"one\ntwo"])


SPOILED = [
    ("", "Invalid JSON"),
    ("{}", "Field required"),
    (machine_text(full_machine())[:-1], "Invalid JSON"),
    (machine_text(full_machine()) + " ", "not in canonical form"),
    (machine_text(full_machine()).replace('":"', '": "', 1), "not in canonical form"),
    (
        machine_text(full_machine()).replace('"site"', '"extra":"1","site"'),
        "Unexpected keyword argument",
    ),
    (
        machine_text(full_machine()).replace('"site"', '"site":"away","site"'),
        "not in canonical form",
    ),
    (
        machine_text(full_machine()).replace('"ceiling":"3.4"', '"ceiling":3.4'),
        "not in canonical form",
    ),
    (
        machine_text(full_machine()).replace('"ceiling":"3.4"', '"ceiling":"nan"'),
        "not a finite number",
    ),
]


@pytest.mark.parametrize(("text", "expected"), SPOILED)
def test_refuses_what_is_not_the_approved_text(text: str, expected: str) -> None:
    """Cut, padded, extended, doubled or reworded text is not what was approved."""
    with pytest.raises(InputError) as caught:
        machine_from(text)
    assert expected in caught.value.findings[0].what


def test_a_text_of_an_older_version_is_read_with_defaults() -> None:
    """What a later version added stands at its default; nothing else may be missing."""
    machine = small_machine()
    tree = json.loads(machine_text(machine))
    del tree["shortened_timing"]
    del tree["timing"]["free_space_bytes"]
    assert machine == machine_from(rfc8785.dumps(tree).decode())


def test_a_text_of_a_newer_version_is_refused() -> None:
    """A field this version does not know may mean anything."""
    tree = json.loads(machine_text(small_machine()))
    tree["timing"]["unheard_of_s"] = "1.0"
    with pytest.raises(InputError, match="unheard_of_s"):
        machine_from(rfc8785.dumps(tree).decode())
