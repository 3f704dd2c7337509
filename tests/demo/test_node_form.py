"""What the virtual node reads as a command, and what it does not."""

import json

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from demo.node.node import canonical, code, label, read_command
from tests.demo.nodes import attempt, bench, encoded, run_bytes, run_fields, stop_bytes

_NAMES = list(run_fields())
_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(_NAMES) | st.text(max_size=4), inner, max_size=3
        )
    ),
    max_leaves=8,
)


def test_reads_every_field_of_a_run() -> None:
    """What was written is what the node decides on."""
    command = read_command(run_bytes())
    assert command is not None
    assert run_fields() == {**command.text, **command.whole}


@pytest.mark.parametrize("name", _NAMES)
def test_no_field_of_a_run_may_be_missing(name: str) -> None:
    """A run is complete or none."""
    assert read_command(run_bytes(**{name: None})) is None


@pytest.mark.parametrize(
    "changes",
    [
        {"v": 0},
        {"v": 1.0},
        {"v": True},
        {"v": "1"},
        {"act": "start"},
        {"act": 1},
        {"id": attempt(1)[1:]},
        {"id": attempt(10).upper()},
        {"id": 7},
        {"chan": ""},
        {"chan": "a/b"},
        {"chan": "a+"},
        {"chan": "A"},
        {"chan": "a" * 33},
        {"boot": "9e1b"},
        {"n": -1},
        {"n": 0.0},
        {"n": 2**64},
        {"n": False},
        {"fence": -1},
        {"ul": 0},
        {"ul": 1_000_001},
        {"ul": 1e3},
        {"ms": 0},
        {"cut_ms": 1_999},
        {"until_up": -1},
        {"until_up": 2**64},
        {"cal": "77aa01c"},
        {"cal": None, "calibration": "77aa01cf"},
        {"mac": "0" * 63},
        {"mac": 0},
        {"at": "2026-05-03"},
        {"repeat": 2},
    ],
)
def test_a_field_out_of_form_is_no_command(changes: dict[str, object]) -> None:
    """Wrong type, range, alphabet, name or version: none of it is a run."""
    assert read_command(run_bytes(**changes)) is None


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"null",
        b"[]",
        b"run",
        b"[" * 1024,
        b'{"a":' * 100,
        run_bytes() + b"x",
        run_bytes().replace(b'"v":1', b'"v":1,"v":1'),
        run_bytes().replace(b'"ul":1000', b'"ul":1000,"ul":9000'),
        run_bytes().replace(b'"n":0', b'"n":NaN'),
        run_bytes().replace(b'"n":0', b'"n":00'),
        run_bytes().replace(b'"n":0', b'"n":{}'),
        run_bytes().replace(b'"chan":"a"', b'"chan":"\\u0061"'),
        run_bytes().replace(b'"chan":"a"', b'"chan":"\xc3\x28"'),
        b"\xef\xbb\xbf" + run_bytes(),
        run_bytes().decode().encode("utf-16"),
        run_bytes() + b" " * (1025 - len(run_bytes())),
    ],
)
def test_bytes_that_are_no_flat_object_are_no_command(payload: bytes) -> None:
    """Size, encoding, depth, repeated keys and loose numbers are refused."""
    assert read_command(payload) is None


def test_a_command_of_exactly_one_kibibyte_is_read() -> None:
    """1024 bytes are allowed, 1025 are not."""
    padding = b" " * (1024 - len(run_bytes()))
    assert read_command(run_bytes() + padding) is not None


def test_the_bounds_themselves_are_allowed() -> None:
    """One litre, 64-bit uptime and a 32-letter channel are in form."""
    payload = run_bytes(ul=10**6, until_up=2**64 - 1, chan="z" * 32, n=2**64 - 1)
    assert read_command(payload) is not None


@pytest.mark.parametrize("act", ["stop", "identify"])
def test_stop_and_identify_may_leave_out_the_channel(act: str) -> None:
    """Without `chan` the whole node is meant."""
    command = read_command(encoded({"v": 1, "act": act, "id": attempt(1)}))
    assert command is not None
    assert (act, "") == (command.act, command.chan)


def test_stop_carries_no_fields_of_a_run() -> None:
    """A stop with a number is no stop of version 1."""
    assert read_command(stop_bytes(n=0)) is None


@given(payload=st.binary(max_size=1100) | _JSON.map(lambda read: repr(read).encode()))
def test_no_bytes_make_the_reader_raise(payload: bytes) -> None:
    """Hazard H61: noise is never a command and never an exception."""
    assert read_command(payload) is None


@given(changes=st.dictionaries(st.sampled_from(_NAMES), _JSON, min_size=1, max_size=3))
def test_a_mutated_run_never_moves_more_than_the_device_allows(
    changes: dict[str, object],
) -> None:
    """Hazard H61: whatever a field becomes, the node answers and stays in bounds."""
    here = bench()
    try:
        payload = json.dumps({**run_fields(), **changes}).encode()
    except UnicodeEncodeError:
        payload = b"{}"
    here.send(payload)
    here.wait(60_000)
    assert int(str(here.channel()["odo_ul"])) <= 5_000


@pytest.mark.parametrize(
    ("payload", "expected"),
    [
        (run_bytes(v=9), attempt(1)),
        (json.dumps(run_fields(v=9)).encode(), attempt(1)),
        (run_bytes(id="short"), ""),
        (b'{"id":"', ""),
        (b"\xff", ""),
        (b'{"id":"\xff"}', ""),
    ],
)
def test_a_refusal_finds_the_id_it_can(payload: bytes, expected: str) -> None:
    """The label of a spoilt command is a well-formed id or nothing."""
    assert expected == label(payload, "id")


_ASCII = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=8)


@given(
    value=st.dictionaries(
        _ASCII,
        st.booleans()
        | st.integers(min_value=0, max_value=2**53 - 1)
        | _ASCII
        | st.dictionaries(_ASCII, _ASCII, max_size=3),
        max_size=6,
    )
)
def test_the_canonical_form_is_that_of_rfc_8785(value: dict[str, object]) -> None:
    """Compared with the rfc8785 library for everything a node can say."""
    expected = rfc8785.dumps(value)  # type: ignore[arg-type]  # plain JSON values
    assert expected == canonical(value).encode()


@pytest.mark.parametrize(
    ("key", "message", "expected"),
    [
        (
            b"\x0b" * 20,
            b"Hi There",
            "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7",
        ),
        (
            b"Jefe",
            b"what do ya want for nothing?",
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
        ),
        (
            b"\xaa" * 20,
            b"\xdd" * 50,
            "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe",
        ),
    ],
)
def test_the_code_is_that_of_rfc_4231(
    key: bytes, message: bytes, expected: str
) -> None:
    """Source: RFC 4231, test cases 1, 2 and 3 (values from memory)."""
    assert expected == code(key, message)
