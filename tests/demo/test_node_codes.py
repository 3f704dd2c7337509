"""Codes on the wire of the virtual node, compared with OpenSSL and rfc8785."""

import json

import pytest
import rfc8785

from demo.node.node import canonical
from tests.demo.nodes import (
    KEY,
    answer,
    attempt,
    bench,
    encoded,
    openssl_code,
    run_bytes,
    run_fields,
    stop_bytes,
)

# The code a key gives, worked out apart from the node: by `openssl dgst -sha256 -mac
# HMAC -macopt hexkey:000102..1f` over the values in the contract's order, joined by LF.
_SIGNED_RUN = "7624a1b4a406805d0839ccc42d98d936d20639544a0749f6cea5f98c825b248d"
_SIGNED_STOP = "93974446c8107404c0f1a54d250bdd08a188a3e9c5b59b5ee4796a034ea18a90"


def _signed(fields: dict[str, object]) -> bytes:
    """Sign through a second implementation, the cryptography of OpenSSL."""
    text = "\n".join(str(value) for value in fields.values())
    return encoded({**fields, "mac": openssl_code(KEY, text.encode())})


def test_a_full_beat_stays_within_the_wire_bound() -> None:
    """Sixteen channels with the largest figures and a code fit 4 KiB."""
    here = bench(
        key=KEY,
        chans="abcdefghijklmnop",
        max_ul=10**6,
        max_ms=10**8,
        max_cut_ms=10**8,
        day_ul=10**8,
        nominal_ul_per_min=600,
    )
    for chan in here.node.heads:
        fields = run_fields(chan=chan, id=attempt(ord(chan)), ul=10**6)
        fields |= {"ms": 99_999_999, "cut_ms": 99_999_999}
        here.send(_signed(fields))
    here.wait(99_999_999)
    beat = canonical(here.node.beat()[1]).encode()
    assert beat.count(b'"last"') == 16
    assert len(beat) <= 4096


def test_a_signed_run_is_taken() -> None:
    """With a key the code made by OpenSSL over the contract's text is accepted."""
    here = bench(key=KEY)
    assert answer(here.send(run_bytes(mac=_SIGNED_RUN))) == ("taken", "")


def test_a_signed_stop_without_a_channel_covers_an_empty_one() -> None:
    """`stop` covers `v, act, id, chan`, the last one empty when absent."""
    here = bench(key=KEY)
    here.send(run_bytes(mac=_SIGNED_RUN))
    told = here.send(stop_bytes(None, mac=_SIGNED_STOP))
    assert answer(told) == ("ended", "stopped")


@pytest.mark.parametrize(
    "name",
    ["id", "chan", "boot", "n", "fence", "ul", "ms", "cut_ms", "until_up", "cal"],
)
def test_every_field_is_under_the_code(name: str) -> None:
    """Hazard H60: a change of any field is refused as auth."""
    value = run_fields()[name]
    changed = {"chan": "b", "id": attempt(7), "boot": "1" * 16, "cal": "00000000"}
    other = changed[name] if isinstance(value, str) else int(str(value)) + 1
    payload = run_bytes(**{name: other, "mac": _SIGNED_RUN})
    assert answer(bench(key=KEY).send(payload)) == ("refused", "auth")


def test_a_run_without_a_code_is_refused_where_a_key_is_set() -> None:
    """No code, no run."""
    assert answer(bench(key=KEY).send(run_bytes())) == ("refused", "auth")


def test_the_code_is_looked_at_between_form_and_boot() -> None:
    """Rule 2 in its parts and place: form, then auth, then everything else."""
    here = bench(key=KEY)
    wrong = {"mac": "0" * 64, "boot": "0" * 16}
    assert answer(here.send(run_bytes(**wrong, extra=1))) == ("refused", "form")
    assert answer(here.send(run_bytes(**wrong))) == ("refused", "auth")


def test_a_forged_repeat_learns_nothing() -> None:
    """Rule 2 comes before rule 3: the last result is not for everybody."""
    here = bench(key=KEY)
    here.send(run_bytes(mac=_SIGNED_RUN))
    assert answer(here.send(run_bytes(mac="0" * 64))) == ("refused", "auth")


def test_a_code_nobody_can_check_is_refused() -> None:
    """A node without a key does not take a signed command on trust."""
    payload = run_bytes(mac=_SIGNED_RUN)
    assert answer(bench().send(payload)) == ("refused", "auth")


def test_a_forged_stop_stops_nothing() -> None:
    """Only an entitled sender stops, where a key is set."""
    here = bench(key=KEY)
    here.send(run_bytes(mac=_SIGNED_RUN))
    assert answer(here.send(stop_bytes(mac="0" * 64))) == ("refused", "auth")
    assert here.pumping()


def test_beats_and_results_are_signed_over_their_canonical_form() -> None:
    """Form by the rfc8785 library, code by OpenSSL: both agree with the node."""
    here = bench(key=KEY)
    for _, payload in here.send(run_bytes(mac=_SIGNED_RUN)):
        plain = json.loads(canonical(payload))
        shown = plain.pop("mac")
        assert openssl_code(KEY, rfc8785.dumps(plain)) == shown
