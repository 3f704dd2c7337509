"""Commands are the contract's bytes, and their codes are what openssl computes."""

import hmac
import json
from dataclasses import replace
from hashlib import sha256

import pytest

from slackwater.errors import InputError
from slackwater.facts.messages import StopPump
from slackwater.outside.wire import (
    IdentifyCommand,
    RunCommand,
    Spoiled,
    StopCommand,
    identify_bytes,
    is_signed_by,
    read_command,
    report_mac,
    run_bytes,
    stop_bytes,
)
from tests.outside.samples import (
    COMMAND,
    IDENTIFY,
    KEY,
    RUN,
    RUN_ID,
    STOP,
    STOP_ALL,
    TAKEN,
    changed,
)

# Made with `printf … | openssl dgst -sha256 -mac HMAC -macopt hexkey:0001…1f`
# (OpenSSL 3) over the values the contract lists, one per line, no final line feed.
RUN_CODE = "ffd5e5d250868d0740e49d360f38fcc7de3e5f3cb0e08bd575915174841ef862"
STOP_CODE = "97579167ac9a5c3d8cfa4a400264ab1c24327ac85a5675b6def797393bb372f1"
STOP_ALL_CODE = "efcb3591a86cc78ebe499ef376ebdcfe4c24e78ca678e8f27071aefb92889b33"
# The same over the result's members in the order of RFC 8785, without spaces.
TAKEN_CODE = "d35c690506bbc1d0d4c20cc79833bb23093c59c2264a8b28eaa4bdcb0cdab333"


def test_run_is_the_contracts_bytes() -> None:
    """The example of the contract comes out byte for byte."""
    assert RUN == run_bytes(COMMAND)


def test_stop_is_the_contracts_bytes() -> None:
    """A stop for one channel comes out byte for byte."""
    assert STOP == stop_bytes(StopPump(node="left", channel="a"), RUN_ID)


def test_stop_without_channel_has_no_chan() -> None:
    """A stop for every channel leaves the field out."""
    assert STOP_ALL == stop_bytes(StopPump(node="left"), RUN_ID)


def test_identify_is_the_contracts_bytes() -> None:
    """Identify differs from stop in one word."""
    assert IDENTIFY == identify_bytes("left", "a", RUN_ID)


@pytest.mark.parametrize(
    ("payload", "model"),
    [(RUN, RunCommand), (STOP, StopCommand), (IDENTIFY, IdentifyCommand)],
)
def test_commands_survive_the_round_trip(payload: bytes, model: type) -> None:
    """What a node reads and writes again is what was sent."""
    command = read_command(payload)
    assert isinstance(command, model)
    assert isinstance(command, RunCommand | StopCommand | IdentifyCommand)
    assert payload == command.model_dump_json(exclude_none=True).encode()


@pytest.mark.parametrize(
    ("payload", "code"),
    [
        (run_bytes(COMMAND, KEY), RUN_CODE),
        (stop_bytes(StopPump(node="left", channel="a"), RUN_ID, KEY), STOP_CODE),
        (stop_bytes(StopPump(node="left"), RUN_ID, KEY), STOP_ALL_CODE),
    ],
    ids=["run", "stop", "stop-all"],
)
def test_code_of_a_command_is_what_openssl_computes(payload: bytes, code: str) -> None:
    """The code covers the values in the contract's order."""
    assert code == json.loads(payload)["mac"]


def test_code_of_a_result_is_what_openssl_computes() -> None:
    """The code covers the canonical form without itself."""
    plain = {**json.loads(TAKEN), "mac": "0" * 64}
    assert TAKEN_CODE == report_mac(plain, KEY)


def test_standard_library_agrees_with_the_published_vector() -> None:
    """RFC 4231, test case 2: the primitive under all codes is the right one."""
    expected = "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
    computed = hmac.new(b"Jefe", b"what do ya want for nothing?", sha256).hexdigest()
    assert expected == computed


def test_signed_report_is_genuine() -> None:
    """The right code passes."""
    assert is_signed_by({**json.loads(TAKEN), "mac": TAKEN_CODE}, KEY)


@pytest.mark.parametrize("field", sorted(json.loads(TAKEN)))
def test_forged_field_is_not_genuine(field: str) -> None:
    """Each field is covered: changing it breaks the code (H60)."""
    plain = {**json.loads(TAKEN), "mac": TAKEN_CODE, field: "forged"}
    assert not is_signed_by(plain, KEY)


@pytest.mark.parametrize("mac", [None, "", "ä" * 64, 7, TAKEN_CODE.upper()])
def test_wrong_code_is_not_genuine(mac: object) -> None:
    """A missing, foreign or differently written code does not pass."""
    assert not is_signed_by({**json.loads(TAKEN), "mac": mac}, KEY)


def test_content_without_canonical_form_is_not_genuine() -> None:
    """A whole number beyond 2**53 has no canonical form and therefore no code."""
    assert not is_signed_by({**json.loads(TAKEN), "up": 2**60, "mac": TAKEN_CODE}, KEY)


@pytest.mark.parametrize(
    "wrong",
    [
        replace(COMMAND, ul=0),
        replace(COMMAND, ul=1_000_001),
        replace(COMMAND, ms=0),
        replace(COMMAND, cut_ms=1209),
        replace(COMMAND, n=-1),
        replace(COMMAND, boot="9E1B" * 4),
        replace(COMMAND, cal=""),
        replace(COMMAND, attempt="5f0c"),
        replace(COMMAND, channel="+"),
        replace(COMMAND, until_up=2**64),
    ],
)
def test_command_outside_the_contract_never_becomes_bytes(wrong: object) -> None:
    """A command the node would refuse for its form is not even written."""
    assert isinstance(wrong, type(COMMAND))
    with pytest.raises(InputError) as caught:
        run_bytes(wrong)
    assert "node left, RunCommand" == caught.value.findings[0].where


@pytest.mark.parametrize(
    ("payload", "why"),
    [
        (changed(RUN, v=2), "form"),
        (changed(RUN, extra=1), "form"),
        (changed(RUN, mac="00"), "form"),
        (changed(RUN, ul=2000.0), "form"),
        (changed(RUN, ul=True), "form"),
        (changed(RUN, n="4"), "form"),
        (changed(RUN, act="on"), "form"),
        (changed(RUN, chan=...), "form"),
        (changed(STOP, boot="9e1b" * 4), "form"),
        (RUN[:-1] + b',"n":5}', "duplicate-key"),
        (RUN + b" " * 1024, "size"),
        (b"[]", "form"),
        (b"", "form"),
        (RUN.replace(b"2000", b"NaN"), "number"),
        (RUN.replace(b"2000", b"1e400"), "number"),
    ],
)
def test_malformed_command_is_spoiled(payload: bytes, why: str) -> None:
    """Unknown fields, other versions and sloppy numbers are refused in commands."""
    read = read_command(payload)
    assert isinstance(read, Spoiled)
    assert why == read.why
