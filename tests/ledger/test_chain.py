"""Rows as the docstring of the chain describes them, made here a second time."""

import hashlib
import json

import pytest

from slackwater.errors import LedgerDamagedError
from slackwater.facts.events import AnyEvent, RequestHeard
from slackwater.ledger.chain import (
    GENESIS,
    Row,
    fault_of,
    follow,
    has_types,
    link,
    subject_of,
)
from slackwater.ports import Head
from tests.ledger.samples import clocks, kept, made, of_every_kind

EVENTS: tuple[AnyEvent, ...] = (made(), kept(1), kept(2))


def hashed(row: Row) -> bytes:
    """SHA-256 (FIPS 180-4) over the hash before and the row's columns as JSON."""
    columns = list(row[:7])
    text = json.dumps(columns, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(row.prev + text.encode("utf-8")).digest()


def test_each_row_carries_the_hash_of_itself_and_the_one_before() -> None:
    """From 32 bytes of nothing on."""
    rows = link(None, EVENTS)

    assert [1, 2, 3] == [row.seq for row in rows]
    assert [bytes(32), *(row.sha256 for row in rows[:-1])] == [row.prev for row in rows]
    assert [hashed(row) for row in rows] == [row.sha256 for row in rows]


def test_rows_go_on_from_a_head() -> None:
    """As if they had been made together."""
    rows = link(None, EVENTS)

    assert rows[1:] == link(rows[0].head, EVENTS[1:])
    assert Head(seq=1, sha256=rows[0].sha256.hex()) == rows[0].head


def test_rows_that_hang_together_have_no_fault() -> None:
    """All of them, and from the middle on."""
    rows = link(None, EVENTS)
    follow(rows, 0, GENESIS, "x")
    follow(rows[1:], 1, rows[0].sha256, "x")
    follow([], 7, GENESIS, "x")


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"seq": 4}, "entries 2 to 3 are missing before it"),
        ({"seq": 1}, "entries 2 to 0 are missing before it"),
        ({"prev": GENESIS}, "it does not follow the entry before it"),
        ({"body": "{}"}, "its content is not what was written"),
        ({"pump": "left"}, "its content is not what was written"),
        ({"sha256": GENESIS}, "its content is not what was written"),
    ],
)
def test_a_row_that_does_not_is_told_by_its_fault(
    changed: dict[str, object], said: str
) -> None:
    """And by its number."""
    first, second, _third = link(None, EVENTS)
    wrong = second._replace(**changed)  # type: ignore[arg-type]  # as each case has it

    assert said == fault_of(wrong, 1, first.sha256)
    with pytest.raises(
        LedgerDamagedError, match=f"entry {wrong.seq} is damaged: {said}"
    ):
        follow([first, wrong], 0, GENESIS, "x")


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("seq", "1"),
        ("at", 5),
        ("kind", None),
        ("dose", 5),
        ("attempt", b"x"),
        ("pump", 0.5),
        ("body", b"{}"),
        ("prev", "x"),
        ("sha256", None),
    ],
)
def test_one_column_of_another_type_is_enough(column: str, value: object) -> None:
    """The others may be as they must."""
    (row,) = link(None, EVENTS[:1])

    assert has_types(row)
    assert not has_types(row._replace(**{column: value}))  # type: ignore[arg-type]  # wrong


SUBJECTS = {
    "dose_intended": ("reef/carbonate@2026-05-03#07", "7".zfill(32), "left"),
    "dose_missed": ("reef/carbonate@2026-05-03#08", None, "left"),
    "dose_held": ("reef/carbonate@2026-05-03#07", None, "left"),
    "dose_taken": (None, "7".zfill(32), None),
    "charge_raised": (None, "7".zfill(32), "left"),
    "calibrated": (None, None, "left"),
    "request_heard": ("reef/carbonate@2026-05-03#09", None, None),
    "request_taken_back": ("shot-1", None, "carbonate"),
    "started": (None, None, None),
}


@pytest.mark.parametrize("kind", SUBJECTS)
def test_an_entry_is_found_by_what_it_is_about(kind: str) -> None:
    """Dose, attempt and pump, as far as it names them itself."""
    found = {subject_of(one) for one in of_every_kind() if one.kind == kind}

    assert {SUBJECTS[kind]} == found


def test_a_request_that_names_no_dose_is_about_none() -> None:
    """No text at all, rather than an empty one."""
    heard = RequestHeard(
        **clocks(), request="ask-1", act="hold", tank="reef", granted=True, note=""
    )

    assert (None, None, None) == subject_of(heard)
