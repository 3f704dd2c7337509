"""From afar only what makes it safer is understood."""

import json

import pytest

from slackwater.facts.messages import Overreach, Request
from slackwater.outside.wire import Decoder, Ignored, Spoiled
from slackwater.outside.wire.decode import LOCAL_ONLY
from tests.outside.samples import (
    REQUEST,
    REQUEST_AT,
    ROOT,
    VIEW,
    changed,
    decode,
    heard,
)


def test_request_of_the_contract_becomes_a_request() -> None:
    """A pause arrives with its length and note."""
    expected = Request(tank="display", id="r-1", act="pause", minutes=30, note="guests")
    assert expected == decode(REQUEST_AT, REQUEST)


@pytest.mark.parametrize(
    "fields",
    [
        {"act": "approve"},
        {"act": "enable"},
        {"act": "release"},
        {"act": "bypass"},
        {"act": "hold"},
        {"minutes": 0},
        {"minutes": 1441},
        {"minutes": ...},
        {"minutes": 1.5},
        {"serial": 3},
        {"scope": "pump"},
        {"note": "a\x1b[2J"},
        {"note": "x" * 201},
        {"id": "a b"},
        {"id": ""},
        {"v": 2},
        {"raise_cap": 1},
    ],
)
def test_request_beyond_the_contract_is_spoiled(fields: dict[str, object]) -> None:
    """From afar only safer: other acts and loose fields do not exist (law 8)."""
    decoded = decode(REQUEST_AT, changed(REQUEST, **fields))
    assert isinstance(decoded, Spoiled | Overreach)


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({"act": "hold"}, Request(tank="display", id="q", act="hold")),
        ({"act": "stop"}, Request(tank="display", id="q", act="stop")),
        ({"act": "report"}, Request(tank="display", id="q", act="report")),
        (
            {"act": "skip", "dose": "reef/carbonate@2026-05-03#07"},
            Request(
                tank="display",
                id="q",
                act="skip",
                dose="reef/carbonate@2026-05-03#07",
            ),
        ),
        (
            {"act": "withdraw", "serial": 12},
            Request(tank="display", id="q", act="withdraw", serial=12),
        ),
        (
            {"act": "ack", "alarm": "low-kh"},
            Request(tank="display", id="q", act="ack", alarm="low-kh"),
        ),
        (
            {"act": "test", "parameter": "calcium", "value": 418, "unit": "mg/L"},
            Request(
                tank="display",
                id="q",
                act="test",
                parameter="calcium",
                level=418.0,
                typed="418 mg/L",
            ),
        ),
    ],
)
def test_each_act_is_understood(fields: dict[str, object], expected: Request) -> None:
    """Every act of the contract arrives with what it is about."""
    payload = json.dumps({"v": 1, "id": "q", **fields}).encode()
    assert expected == decode(REQUEST_AT, payload)


TEST = {"v": 1, "id": "q", "act": "test", "parameter": "alkalinity"}


def test_a_test_told_from_afar_is_read_in_its_unit() -> None:
    """A German degree is 0.3566 meq/L: 10 mg/L CaO (old national standard)."""
    payload = json.dumps({**TEST, "value": 8.3, "unit": "dKH"}).encode()
    decoded = decode(REQUEST_AT, payload)
    assert isinstance(decoded, Request)
    assert pytest.approx(8.3 * 20 / 56.077, rel=1e-4) == decoded.level
    assert ("alkalinity", "8.3 dKH") == (decoded.parameter, decoded.typed)


@pytest.mark.parametrize(
    "fields",
    [
        {"value": 8.3},
        {"unit": "dKH"},
        {"value": "8.3", "unit": "dKH"},
        {"value": True, "unit": "dKH"},
        {"value": 1e400, "unit": "dKH"},
        {"value": float("nan"), "unit": "dKH"},
        {"value": 8.3, "unit": "dkh"},
        {"value": 8.3, "unit": "mg/L"},
        {"value": 83, "unit": "dKH"},
        {"value": -8.3, "unit": "dKH"},
        {"value": 8.3, "unit": "dKH", "parameter": "carbon"},
        {"value": 8.3, "unit": "dKH", "parameter": "kh"},
        {"value": 8.3, "unit": "dKH", "at": "2026-05-03T14:00:00Z"},
        {"value": 8.3, "unit": "dKH", "confirmed": True},
        {"value": 8.3, "unit": "dKH", "minutes": 30},
    ],
)
def test_h61_a_malformed_test_from_afar_is_no_test(fields: dict[str, object]) -> None:
    """No unit, another's unit, no number, beyond what is plausible, or loose fields."""
    payload = json.dumps({**TEST, **fields}).encode()
    assert isinstance(decode(REQUEST_AT, payload), Spoiled)


@pytest.mark.parametrize("act", ["hold", "pause", "ack"])
def test_only_a_test_carries_a_figure(act: str) -> None:
    """A figure in another act is a slip, and the act is not carried out."""
    fields = {"parameter": "alkalinity", "value": 8.3, "unit": "dKH", "act": act}
    payload = json.dumps({**TEST, **fields}).encode()
    assert isinstance(decode(REQUEST_AT, payload), Spoiled)


def test_h60_a_retained_test_is_none() -> None:
    """What lies on the broker was told some time ago, by nobody knows whom."""
    payload = json.dumps({**TEST, "value": 14.0, "unit": "dKH"}).encode()
    decoder = Decoder(root=ROOT, view=VIEW)
    assert isinstance(
        decoder.decode(heard(REQUEST_AT, payload, retained=True)), Ignored
    )


def test_nameless_request_counts_once_in_ten_seconds() -> None:
    """The same content at once is one request, later it is another (H55)."""
    decoder = Decoder(root=ROOT, view=VIEW)
    payload = changed(REQUEST, id=...)
    moments = (0.0, 0.1, 10.0, 20.1)
    names = [
        decoded.id if isinstance(decoded, Request) else ""
        for decoded in (
            decoder.decode(heard(REQUEST_AT, payload, later_s=later_s))
            for later_s in moments
        )
    ]
    assert [True, False, False, True] == [bool(name) for name in names]
    assert names[0] != names[3]


def test_nameless_requests_that_differ_both_count() -> None:
    """Another length is another request."""
    decoder = Decoder(root=ROOT, view=VIEW)
    first = decoder.decode(heard(REQUEST_AT, changed(REQUEST, id=...)))
    second = decoder.decode(heard(REQUEST_AT, changed(REQUEST, id=..., minutes=31)))
    assert isinstance(first, Request)
    assert isinstance(second, Request)
    assert first.id != second.id


PLACES = (
    *(f"tank/display/{name}" for name in ("request", "input/float", "state", "event")),
    *(f"node/left/{name}" for name in ("command", "beat", "result", "hold", "state")),
    *("tank/display/reading/kh-1", "daemon/state", "daemon/echo"),
    *("daemon/approve", "approval", "approve"),
)
APPROVAL = {"v": 1, "id": "q", "act": "approve", "serial": 2, "digest": "a" * 64}


@pytest.mark.parametrize("place", PLACES)
def test_h60_an_approval_on_any_topic_approves_nothing(place: str) -> None:
    """It is refused, no news, or at most a demand that is told to a person."""
    for payload in (json.dumps(APPROVAL).encode(), json.dumps([APPROVAL]).encode()):
        decoded = decode(place, payload)
        assert isinstance(decoded, Spoiled | Ignored | Overreach)
        asked = isinstance(decoded, Overreach)
        assert asked <= (place == REQUEST_AT)


@pytest.mark.parametrize("act", sorted(LOCAL_ONLY))
def test_h60_what_only_the_machine_may_do_is_told_when_it_is_asked_for(
    act: str,
) -> None:
    """Every verb of that kind, with whatever else the request says."""
    payload = json.dumps({"v": 1, "act": act, "serial": 2, "pump": "x"}).encode()
    decoded = decode(REQUEST_AT, payload)
    assert isinstance(decoded, Overreach)
    assert ("display", act) == (decoded.tank, decoded.act)
    assert not hasattr(decoded, "serial")


def test_a_request_that_is_only_wrong_is_no_such_demand() -> None:
    """A slip in a known act, or a word nobody knows."""
    for fields in ({"act": "pause"}, {"act": "dance"}, {"act": 7}, {}):
        payload = json.dumps({"v": 1, "id": "q", **fields}).encode()
        assert isinstance(decode(REQUEST_AT, payload), Spoiled)
