"""What arrives becomes a fact, or is refused without an exception."""

import json

import pytest

from slackwater.facts.messages import (
    Beat,
    Channel,
    LastRun,
    Result,
    RetainedCommand,
)
from slackwater.outside.wire import (
    Decoder,
    Ignored,
    Spoiled,
    report_mac,
)
from tests.outside.samples import (
    BEAT,
    BEAT_AT,
    BOOT,
    ENDED,
    HOLD,
    INPUT,
    KEY,
    READING,
    READING_AT,
    REFUSED,
    REQUEST,
    REQUEST_AT,
    RESULT_AT,
    ROOT,
    RUN,
    RUN_ID,
    SIGNED_VIEW,
    TAKEN,
    VIEW,
    changed,
    decode,
    heard,
)


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


def test_input_of_no_switch_is_checked_and_changes_nothing() -> None:
    """Nobody configured it: in order it is ignored, out of order it is spoiled."""
    place = "tank/display/input/leak"
    assert Ignored(why="no switch") == decode(place, INPUT)
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
