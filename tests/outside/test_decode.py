"""What arrives becomes a fact, or is refused without an exception."""

import json
from dataclasses import replace
from datetime import UTC, datetime

import jsonschema
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from slackwater.facts.messages import (
    Beat,
    Channel,
    LastRun,
    Reading,
    Request,
    Result,
    RetainedCommand,
    SpoiledReading,
)
from slackwater.outside.wire import (
    Decoded,
    Decoder,
    Heard,
    Ignored,
    MachineView,
    Spoiled,
    report_mac,
    schemas,
)
from tests.outside.samples import (
    AT,
    BEAT,
    BOOT,
    DKH_TO_MEQ_PER_L,
    ENDED,
    HOLD,
    INPUT,
    KEY,
    NOW,
    PROBE,
    READING,
    REFUSED,
    REQUEST,
    ROOT,
    RUN,
    RUN_ID,
    SIGNED_VIEW,
    TAKEN,
    VIEW,
    changed,
    heard,
)

BEAT_AT = "node/left/beat"
RESULT_AT = "node/left/result"
READING_AT = "tank/display/reading/alk-1"
REQUEST_AT = "tank/display/request"


def decode(place: str, payload: bytes, view: MachineView = VIEW) -> Decoded:
    """One message read by a fresh decoder."""
    return Decoder(root=ROOT, view=view).decode(heard(place, payload))


def test_beat_of_the_contract_becomes_a_beat() -> None:
    """Every field of the example arrives, with our own clock beside it."""
    expected = Beat(
        node="left",
        boot=BOOT,
        up=123456,
        seq=17,
        hold=False,
        fence=3,
        hw="esp32-7c9e",
        cfg="0badcafe",
        channels={
            "a": Channel(
                n=4,
                state="idle",
                odo_ul=12000,
                odo_ms=7260,
                budget_ul=88000,
                last=LastRun(
                    id="0" * 31 + "1",
                    ul=1990,
                    ran_ms=1204,
                    reason="complete",
                    cal="77aa01cf",
                ),
            )
        },
        heard_boot_s=1000.0,
    )
    assert expected == decode(BEAT_AT, BEAT)


@pytest.mark.parametrize(
    ("payload", "said"),
    [
        (TAKEN, ("taken", 0, 0, "", "77aa01cf", 123500)),
        (ENDED, ("ended", 1207, 1996, "complete", "77aa01cf", 124710)),
        (REFUSED, ("refused", 0, 0, "late", "", 140000)),
    ],
)
def test_results_of_the_contract_become_results(
    payload: bytes, said: tuple[str, int, int, str, str, int]
) -> None:
    """The three examples arrive field by field."""
    result = decode(RESULT_AT, payload)
    assert isinstance(result, Result)
    assert (RUN_ID, BOOT, "a", 4) == (
        result.id,
        result.boot,
        result.channel,
        result.n,
    )
    assert said == (
        result.phase,
        result.ran_ms,
        result.ul,
        result.reason,
        result.cal,
        result.up,
    )


def test_reading_of_the_contract_becomes_canonical() -> None:
    """8.12 dKH times 0.35665 is 2.896 meq/L."""
    reading = decode(READING_AT, READING)
    assert isinstance(reading, Reading)
    assert pytest.approx(2.896, abs=0.0005) == reading.value
    assert ("display", "alk-1", "alkalinity", AT) == (
        reading.tank,
        reading.probe,
        reading.parameter,
        reading.at,
    )


def test_request_of_the_contract_becomes_a_request() -> None:
    """A pause arrives with its length and note."""
    expected = Request(tank="display", id="r-1", act="pause", minutes=30, note="guests")
    assert expected == decode(REQUEST_AT, REQUEST)


@pytest.mark.parametrize(
    ("place", "payload"),
    [
        (BEAT_AT, BEAT),
        (RESULT_AT, TAKEN),
        (READING_AT, READING),
        (REQUEST_AT, REQUEST),
    ],
)
def test_retained_messages_mean_nothing(place: str, payload: bytes) -> None:
    """A copy the broker kept is no sign of life and asks for nothing (H15)."""
    decoder = Decoder(root=ROOT, view=VIEW)
    decoded = decoder.decode(heard(place, payload, retained=True))
    assert Ignored(why="retained") == decoded


def test_retained_command_is_found() -> None:
    """A command that lies on the broker is reported with its node (H13)."""
    decoder = Decoder(root=ROOT, view=VIEW)
    found = decoder.decode(heard("node/left/command", RUN, retained=True))
    assert RetainedCommand(node="left") == found


@pytest.mark.parametrize("payload", [b"", RUN])
def test_passing_command_is_our_own(payload: bytes) -> None:
    """A command that is not kept by the broker is what this daemon just sent."""
    assert Ignored(why="our own") == decode("node/left/command", payload)


@pytest.mark.parametrize("payload", [b"", HOLD])
def test_hold_counts_only_in_beats(payload: bytes) -> None:
    """The hold topic is looked at and has no effect by itself."""
    assert Ignored(why="shown by the beat") == decode("node/left/hold", payload)


def test_input_is_checked_and_waits_for_its_interlock() -> None:
    """A switch in order changes nothing yet; one out of order is spoiled."""
    place = "tank/display/input/leak"
    assert Ignored(why="no interlock listens") == decode(place, INPUT)
    assert Spoiled(
        why="form", detail="state: literal_error", topic=f"{ROOT}/{place}"
    ) == decode(place, changed(INPUT, state="maybe"))


DEEP = changed(BEAT, chan={"a": {"n": {"n": {"n": 1}}}})


@pytest.mark.parametrize(
    ("payload", "why"),
    [
        (BEAT + b" " * 4096, "size"),
        (b"\xff\xfe" + BEAT, "encoding"),
        (BEAT.replace(b"esp32-7c9e", b"\xc3\x28"), "encoding"),
        (DEEP, "depth"),
        (b"[" * 4000, "depth"),
        (b'{"a":' * 600, "depth"),
        (BEAT[:-1] + b',"up":1}', "duplicate-key"),
        (BEAT.replace(b'"odo_ms"', b'"odo_ul"'), "duplicate-key"),
        (BEAT.replace(b"123456", b"NaN"), "number"),
        (BEAT.replace(b"123456", b"-Infinity"), "number"),
        (BEAT.replace(b"123456", b"1e999"), "number"),
        (BEAT.replace(b"123456", b"9" * 3000), "form"),
        (BEAT.replace(b"123456", b"0123456"), "form"),
        (BEAT[:-1], "form"),
        (BEAT + b"}", "form"),
        (b"\xef\xbb\xbf" + BEAT, "form"),
        (b"null", "form"),
        (b"", "form"),
        (b'"' * 4096, "form"),
        (changed(BEAT, v=2), "form"),
        (changed(BEAT, v=True), "form"),
        (changed(BEAT, v=1.0), "form"),
        (changed(BEAT, later=1), "form"),
        (changed(BEAT, up="123456"), "form"),
        (changed(BEAT, up=-1), "form"),
        (changed(BEAT, up=2**63), "form"),
        (changed(BEAT, hold=0), "form"),
        (changed(BEAT, boot="9E1B" * 4), "form"),
        (changed(BEAT, hw="x" * 33), "form"),
        (changed(BEAT, hw="a\nb"), "form"),
        (changed(BEAT, hw="\ud800"), "form"),
        (changed(BEAT, cfg=...), "form"),
        (changed(BEAT, chan={}), "form"),
        (changed(BEAT, chan={"+": json.loads(BEAT)["chan"]["a"]}), "form"),
        (
            changed(
                BEAT, chan={str(i): json.loads(BEAT)["chan"]["a"] for i in range(17)}
            ),
            "form",
        ),
    ],
)
def test_malformed_beat_is_spoiled(payload: bytes, why: str) -> None:
    """Each way to be malformed is refused with its word (H61)."""
    spoiled = decode(BEAT_AT, payload)
    assert isinstance(spoiled, Spoiled)
    assert why == spoiled.why


@pytest.mark.parametrize(
    "fields",
    [
        {"phase": "taken", "reason": "complete"},
        {"phase": "running", "reason": "late"},
        {"phase": "ended", "reason": ""},
        {"phase": "ended", "reason": "late"},
        {"phase": "refused", "reason": ""},
        {"phase": "refused", "reason": "complete"},
        {"phase": "refused", "reason": "mood"},
        {"phase": "taken", "cal": ""},
        {"phase": "begun"},
        {"ul": -1},
        {"n": 1.5},
    ],
)
def test_result_that_contradicts_itself_is_spoiled(fields: dict[str, object]) -> None:
    """A reason must fit its phase, and a run that began has a calibration."""
    decoded = decode(RESULT_AT, changed(TAKEN, **fields))
    assert isinstance(decoded, Spoiled)


@pytest.mark.parametrize(
    ("place", "payload", "why"),
    [
        ("node/stranger/beat", BEAT, "stranger"),
        ("tank/other/reading/alk-1", READING, "stranger"),
        ("tank/display/reading/alk-9", READING, "stranger"),
        ("tank/other/request", REQUEST, "stranger"),
        ("node/left/beat/more", BEAT, "topic"),
        ("node/LEFT/beat", BEAT, "topic"),
        ("approve", b"{}", "topic"),
    ],
)
def test_strangers_are_spoiled(place: str, payload: bytes, why: str) -> None:
    """Nodes, tanks and probes the machine does not have are counted and dropped."""
    spoiled = decode(place, payload)
    assert isinstance(spoiled, Spoiled)
    assert why == spoiled.why


@pytest.mark.parametrize("place", [BEAT_AT, RESULT_AT])
def test_unsigned_report_of_a_signing_node_is_spoiled(place: str) -> None:
    """A node with a key is believed only with its code (H60)."""
    payload = BEAT if place == BEAT_AT else TAKEN
    spoiled = decode(place, payload, SIGNED_VIEW)
    assert Spoiled(why="auth", topic=f"{ROOT}/{place}") == spoiled


@pytest.mark.parametrize(("place", "payload"), [(BEAT_AT, BEAT), (RESULT_AT, TAKEN)])
def test_signed_report_is_believed(place: str, payload: bytes) -> None:
    """With its code a report reads like any other."""
    mac = report_mac(json.loads(payload), KEY)
    signed = decode(place, changed(payload, mac=mac), SIGNED_VIEW)
    assert decode(place, payload) == signed


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"unit": "ppm"}, "unit changed"),
        ({"unit": "dkh"}, "unit changed"),
        ({"unit": "meq/L", "value": 2.9}, "unit changed"),
        ({"parameter": "calcium"}, "parameter changed"),
        ({"value": 145}, "outside the plausible window"),
        ({"value": 2.9 * DKH_TO_MEQ_PER_L}, "outside the plausible window"),
        ({"value": -8}, "outside the plausible window"),
        ({"value": 1e308}, "outside the plausible window"),
        ({"at": "2026-05-03T14:01:01Z"}, "dated in the future"),
        ({"at": "2026-05-03T14:00:00"}, "form at: value_error"),
        ({"at": "2026-05-03"}, "form at: value_error"),
        ({"at": "2026-02-30T14:00:00Z"}, "form at: value_error"),
        ({"at": "9999-12-31T23:59:59-23:00"}, "form at: value_error"),
        ({"at": 1777816800}, "form at: value_error"),
        ({"value": "8.12"}, "form value: float_type"),
        ({"value": True}, "form value: float_type"),
        ({"value": None}, "form value: float_type"),
        ({"unit": ...}, "form unit: missing"),
    ],
)
def test_wrong_reading_names_its_probe(fields: dict[str, object], why: str) -> None:
    """Unit, window, time and form are checked; the probe counts as faulty (H53)."""
    decoded = decode(READING_AT, changed(READING, **fields))
    assert SpoiledReading(tank="display", probe="alk-1", why=why) == decoded


@pytest.mark.parametrize(
    ("at", "expected"),
    [
        ("2026-05-03T14:01:00Z", datetime(2026, 5, 3, 14, 1, tzinfo=UTC)),
        ("2026-05-03T15:30:00+02:00", datetime(2026, 5, 3, 13, 30, tzinfo=UTC)),
        # RFC 3339, section 5.8, second example.
        ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57, tzinfo=UTC)),
        (
            "1985-04-12T23:20:50.52Z",
            datetime(1985, 4, 12, 23, 20, 50, 520000, tzinfo=UTC),
        ),
    ],
)
def test_times_are_read_as_rfc_3339(at: str, expected: datetime) -> None:
    """Offsets and fractions come out in UTC; one minute ahead is still allowed."""
    reading = decode(READING_AT, changed(READING, at=at))
    assert isinstance(reading, Reading)
    assert expected == reading.at


def series(*values: float, probe_resolution: float = 0.01) -> list[bool]:
    """Whether one decoder accepts each value, dKH, in turn."""
    probe = replace(PROBE, resolution=probe_resolution, low=0.0)
    view = replace(VIEW, probes={probe.id: probe})
    decoder = Decoder(root=ROOT, view=view)
    return [
        isinstance(
            decoder.decode(heard(READING_AT, changed(READING, value=value))), Reading
        )
        for value in values
    ]


@pytest.mark.parametrize(
    ("values", "accepted"),
    [
        ((8.0, 12.0), [True, True]),
        ((8.0, 12.1), [True, False]),
        ((8.0, 5.4), [True, True]),
        ((8.0, 5.3), [True, False]),
        # dKH read as meq/L for ever: a lasting change of scale stays out.
        ((8.0, 2.86, 2.86, 2.86), [True, False, False, False]),
        # One spike that was let in does not lock the true value out.
        ((8.0, 11.9, 7.9, 8.0), [True, True, True, True]),
        ((0.0, 8.0), [True, False]),
    ],
)
def test_leap_by_half_is_refused(
    values: tuple[float, ...], accepted: list[bool]
) -> None:
    """More than 1.5 times the last reading is no water but another scale (H53)."""
    assert accepted == series(*values)


def test_step_of_one_resolution_is_no_leap() -> None:
    """Near zero the smallest step is a large ratio and still a reading."""
    assert [True, True] == series(0.1, 0.2, probe_resolution=0.1)


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
    assert isinstance(decode(REQUEST_AT, changed(REQUEST, **fields)), Spoiled)


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
            Request(tank="display", id="q", act="ack", note="low-kh"),
        ),
    ],
)
def test_each_act_is_understood(fields: dict[str, object], expected: Request) -> None:
    """Every act of the contract arrives with what it is about."""
    payload = json.dumps({"v": 1, "id": "q", **fields}).encode()
    assert expected == decode(REQUEST_AT, payload)


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


PLACES = {
    BEAT_AT: (BEAT, "beat"),
    RESULT_AT: (ENDED, "result"),
    READING_AT: (READING, "reading"),
    REQUEST_AT: (REQUEST, "request"),
}


@st.composite
def mutated(draw: st.DrawFn) -> tuple[str, bytes]:
    """A valid payload with a few bytes changed, cut, put in or repeated."""
    place = draw(st.sampled_from(sorted(PLACES)))
    payload = bytearray(PLACES[place][0])
    for _ in range(draw(st.integers(1, 4))):
        where = draw(st.integers(0, max(0, len(payload) - 1)))
        match draw(st.sampled_from(["set", "cut", "put", "repeat", "token"])):
            case "set" if payload:
                payload[where] = draw(st.integers(0, 255))
            case "cut":
                del payload[where : where + draw(st.integers(1, 30))]
            case "put":
                payload[where:where] = draw(st.binary(min_size=1, max_size=8))
            case "repeat":
                payload[where:where] = payload[where : where + 40]
            case _:
                token = draw(
                    st.sampled_from(
                        [b"NaN", b"1e999", b"-0", b"null", b"[", b"{", b'"', b"\\"]
                    )
                )
                payload[where : where + 3] = token
    return place, bytes(payload)


def is_valid(payload: bytes, kind: str) -> bool:
    """Whether standard tools find a payload in order: the judge of the decoder.

    `json` for the text, `jsonschema` for the form, a walk for repeated keys.
    """

    def pairs(found: list[tuple[str, object]]) -> dict[str, object]:
        if len({name for name, _ in found}) != len(found):
            raise ValueError
        return dict(found)

    try:
        content = json.loads(payload.decode(), object_pairs_hook=pairs)
    except (ValueError, RecursionError):
        return False
    validator = jsonschema.Draft202012Validator(schemas()[kind])
    return bool(validator.is_valid(content))


@given(mutated())
@example((BEAT_AT, b"[" * 100_000))
@example((BEAT_AT, b'{"v":' + b"1" * 4000 + b"}"))
def test_mutated_payload_is_never_believed_wrongly(case: tuple[str, bytes]) -> None:
    """No mutation raises, and what is accepted is valid for standard tools (H61)."""
    place, payload = case
    decoded = decode(place, payload)
    accepted = not isinstance(decoded, Spoiled | SpoiledReading | Ignored)
    assert not accepted or is_valid(payload, PLACES[place][1])


@given(st.binary(max_size=200), st.text(max_size=50), st.booleans())
def test_anything_anywhere_raises_nothing(
    payload: bytes, topic: str, retained: bool
) -> None:
    """Random bytes on random topics are at most a retained command."""
    decoder = Decoder(root=ROOT, view=SIGNED_VIEW)
    decoded = decoder.decode(
        Heard(topic=topic, payload=payload, retained=retained, now=NOW)
    )
    assert isinstance(decoded, Spoiled)


def test_complaint_never_quotes_the_sender() -> None:
    """Field names of strangers reach no log as they were sent (H61)."""
    hostile = changed(BEAT, **{"\x1b[31mboo\n" * 30: 1})
    spoiled = decode(BEAT_AT, hostile)
    assert isinstance(spoiled, Spoiled)
    assert spoiled.detail.isprintable()
    assert "boo" not in spoiled.detail.replace("?31mboo", "")
    assert len(spoiled.detail) < 120
