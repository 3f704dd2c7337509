"""Payloads that are not the contract's: pointers, bare numbers, words, counters."""

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.facts.limits import Switch
from slackwater.facts.messages import (
    CounterSeen,
    Reading,
    SpoiledReading,
    SpoiledSwitch,
    SwitchSeen,
)
from slackwater.facts.tank import Probe
from slackwater.outside.wire import Decoded, Decoder, Heard, Ignored, MachineView
from slackwater.outside.wire.mapped import number_in, value_at
from slackwater.outside.wire.strict import Spoiled
from tests.outside.samples import AT, INPUT, NOW, READING, ROOT, changed

PH = Probe(
    id="ph",
    tank="display",
    parameter="ph",
    unit="pH",
    scale=0.01,
    offset=0.0,
    period_s=60.0,
    resolution=0.01,
    low=6.5,
    high=9.5,
    topic="cellar/water",
    pointer="/ph",
)
WARM = replace(
    PH, id="warm", parameter="temperature", unit="degC", scale=1.0, pointer="/t/0"
)
WARM = replace(WARM, low=10.0, high=35.0, resolution=0.1)
RETURN = Switch(
    id="return",
    tank="display",
    role="return-pump",
    normal_on=True,
    on=("ON", "1", "true"),
    off=("OFF", "0", "false", "null"),
    topic="cellar/plug",
    pointer="",
)
LEAK = Switch(id="leak", tank="display", role="leak", normal_on=False)
REFILL = Switch(
    id="refill",
    tank="display",
    role="top-off",
    normal_on=False,
    topic="cellar/refill",
    pointer="/total",
    unit_ul=1000,
)
VIEW = MachineView(
    nodes=frozenset(),
    tanks=frozenset({"display"}),
    probes={"ph": PH, "warm": WARM},
    switches={each.id: each for each in (RETURN, LEAK, REFILL)},
)
INPUT_AT = f"{ROOT}/tank/display/input/leak"


def said(topic: str, payload: bytes, *, retained: bool = False) -> tuple[Decoded, ...]:
    """What a fresh decoder makes of one message."""
    heard = Heard(topic=topic, payload=payload, retained=retained, now=NOW)
    return Decoder(root=ROOT, view=VIEW).decode_all(heard)


def plug(payload: bytes, *, retained: bool = False) -> Decoded:
    """What the mapped return pump's plug says."""
    (only,) = said("cellar/plug", payload, retained=retained)
    return only


# The document and the whole table of RFC 6901, section 5.
EXAMPLE = b"""{
      "foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4,
      "i\\\\j": 5, "k\\"l": 6, " ": 7, "m~n": 8
   }"""
TABLE = [
    ("", json.loads(EXAMPLE)),
    ("/foo", ["bar", "baz"]),
    ("/foo/0", "bar"),
    ("/", 0),
    ("/a~1b", 1),
    ("/c%d", 2),
    ("/e^f", 3),
    ("/g|h", 4),
    ("/i\\j", 5),
    ('/k"l', 6),
    ("/ ", 7),
    ("/m~0n", 8),
]


@pytest.mark.parametrize(("pointer", "expected"), TABLE)
def test_pointers_lead_where_the_standard_says(pointer: str, expected: object) -> None:
    """RFC 6901, section 5, row by row."""
    assert expected == value_at(EXAMPLE, pointer)


@pytest.mark.parametrize(
    "pointer", ["/bar", "/foo/2", "/foo/01", "/foo/-", "/foo/+1", "/foo/bar", "/a~1b/0"]
)
def test_a_pointer_that_leads_nowhere_is_refused(pointer: str) -> None:
    """Leading zeros and the end mark of an array name no member (RFC 6901, 4)."""
    found = value_at(EXAMPLE, pointer)
    assert isinstance(found, Spoiled)
    assert "form" == found.why


@pytest.mark.parametrize(
    ("payload", "expected"),
    [
        (b"8.12", 8.12),
        (b" 8 ", 8.0),
        (b"-1", -1.0),
        (b"1e1", 10.0),
        (b'"8.12"', 8.12),
        (b'"+8"', 8.0),
    ],
)
def test_a_bare_number_is_read(payload: bytes, expected: float) -> None:
    """JSON numbers, and texts of a plain number."""
    assert expected == number_in(payload, "")


@pytest.mark.parametrize(
    ("payload", "why"),
    [
        (b"8,12", "form"),
        (b"", "form"),
        (b"true", "form"),
        (b"null", "form"),
        (b"[8]", "form"),
        (b'"8.12 dKH"', "form"),
        (b'"1e1"', "form"),
        (b"NaN", "number"),
        (b"Infinity", "number"),
        (b"1e400", "number"),
        (b"1" + b"0" * 400, "number"),
        (b"\xff", "encoding"),
        (b" " * 5000, "size"),
        (b"[[[[[1]]]]]", "depth"),
    ],
)
def test_h42_whatever_is_no_plain_number_is_refused(payload: bytes, why: str) -> None:
    """No comma, unit, truth value, nothing, NaN or number beyond all bounds."""
    found = number_in(payload, "")
    assert isinstance(found, Spoiled), found
    assert why == found.why


def test_several_inputs_share_a_topic() -> None:
    """One message, two readings of the moment it came, each in its own unit."""
    found = said("cellar/water", b'{"ph": 812, "t": [25.4, 1]}')
    expected = [("ph", pytest.approx(8.12)), ("warm", 25.4)]
    readings = [one for one in found if isinstance(one, Reading)]
    assert expected == [(one.probe, one.value) for one in readings]
    assert {AT} == {one.at for one in readings}


def test_h53_a_mapped_reading_is_judged_like_any_other() -> None:
    """A missing place, a value that cannot be, and a leap by half are refused."""
    decoder = Decoder(root=ROOT, view=VIEW)

    def first(payload: bytes) -> Decoded:
        heard = Heard(topic="cellar/water", payload=payload, retained=False, now=NOW)
        return decoder.decode_all(heard)[0]

    def why(payload: bytes) -> str:
        found = first(payload)
        assert isinstance(found, SpoiledReading)
        return found.why

    assert "form nothing at the place of the pointer" == why(b'{"PH": 812}')
    assert "outside the plausible window" == why(b'{"ph": 81200}')
    assert isinstance(first(b'{"ph": 940}'), Reading)
    assert isinstance(first(b'{"ph": 950}'), Reading)
    narrow = replace(PH, low=1.0)
    decoder.view = replace(VIEW, probes={"ph": narrow})
    assert "outside the plausible window" == why(b'{"ph": 500}')


def test_h53_a_leap_by_half_is_refused_when_mapped_too() -> None:
    """The same test of scale as for readings of the contract."""
    wide = replace(PH, low=0.5, high=14.0, scale=1.0)
    decoder = Decoder(root=ROOT, view=replace(VIEW, probes={"ph": wide}))
    found = [
        decoder.decode_all(
            Heard(topic="cellar/water", payload=payload, retained=False, now=NOW)
        )[0]
        for payload in (b'{"ph": 8}', b'{"ph": 4}')
    ]
    assert isinstance(found[0], Reading)
    assert isinstance(found[1], SpoiledReading)
    assert "times off the last reading" in found[1].why


def test_a_retained_reading_or_total_says_nothing() -> None:
    """Nobody knows how long it lay there."""
    kept = said("cellar/water", b'{"ph": 812, "t": [25.4]}', retained=True)
    count = said("cellar/refill", b'{"total": 5}', retained=True)
    assert {Ignored(why="retained")} == {*kept, *count}


@pytest.mark.parametrize(
    ("payload", "is_on"),
    [
        (b"ON", True),
        (b'"ON"', True),
        (b"1", True),
        (b"true", True),
        (b"OFF", False),
        (b"0", False),
        (b"false", False),
        (b"null", False),
    ],
)
def test_a_switch_speaks_its_words(payload: bytes, is_on: bool) -> None:
    """Bare, as JSON text, number, truth value or null: the word as JSON writes it."""
    expected = SwitchSeen(
        tank="display", switch="return", is_on=is_on, heard_boot_s=1000.0
    )
    assert expected == plug(payload)


@pytest.mark.parametrize("payload", [b"on", b"ON ", b"", b"2", b"[]", b"\xff", b"1.0"])
def test_any_other_word_is_counted_and_changes_nothing(payload: bytes) -> None:
    """A word is exactly what the file says."""
    assert isinstance(plug(payload), SpoiledSwitch)


def test_a_retained_switch_may_warn_and_not_calm() -> None:
    """Off is wrong for a return pump, so it counts; on is no sign of life."""
    assert isinstance(plug(b"OFF", retained=True), SwitchSeen)
    assert Ignored(why="retained") == plug(b"ON", retained=True)


@pytest.mark.parametrize(("state", "is_on"), [("on", True), ("off", False)])
def test_a_switch_of_the_contract_is_heard(state: str, is_on: bool) -> None:
    """`{"state": …}` on the topic of its tank."""
    expected = SwitchSeen(
        tank="display", switch="leak", is_on=is_on, heard_boot_s=1000.0
    )
    assert (expected,) == said(INPUT_AT, changed(INPUT, state=state))


def test_a_switch_of_the_contract_is_strict() -> None:
    """Another word, a field more, and the mapped one's topic in the contract."""
    for payload in (changed(INPUT, state="maybe"), changed(INPUT, more=1), b"on"):
        (found,) = said(INPUT_AT, payload)
        assert isinstance(found, SpoiledSwitch), payload
    (other,) = said(f"{ROOT}/tank/display/input/return", INPUT)
    assert Ignored(why="no switch") == other
    (probe,) = said(f"{ROOT}/tank/display/reading/ph", READING)
    assert isinstance(probe, Spoiled)
    assert "stranger" == probe.why


@pytest.mark.parametrize(
    ("payload", "total_ul"),
    [(b'{"total": 12.5}', 12_500), (b'{"total": "0"}', 0), (b'{"total": 0.0019}', 1)],
)
def test_a_counter_gives_whole_microlitres(payload: bytes, total_ul: int) -> None:
    """Its running total, rounded down."""
    expected = CounterSeen(
        tank="display",
        switch="refill",
        total_ul=total_ul,
        at=AT,
        heard_boot_s=1000.0,
    )
    assert (expected,) == said("cellar/refill", payload)


@pytest.mark.parametrize("payload", [b'{"total": -1}', b'{"total": 1e15}', b"5", b"{}"])
def test_what_is_no_running_total_is_refused(payload: bytes) -> None:
    """Nothing negative, nothing beyond what a counter holds, nothing elsewhere."""
    (found,) = said("cellar/refill", payload)
    assert isinstance(found, SpoiledSwitch)


@given(
    st.sampled_from(["cellar/water", "cellar/plug", "cellar/refill", INPUT_AT]),
    st.one_of(
        st.binary(max_size=64),
        st.recursive(
            st.one_of(st.none(), st.booleans(), st.floats(), st.text(max_size=8)),
            lambda inner: st.one_of(
                st.lists(inner, max_size=3),
                st.dictionaries(
                    st.sampled_from(["ph", "t", "0", "total", "state", ""]), inner
                ),
            ),
            max_leaves=8,
        ).map(lambda tree: json.dumps(tree).encode()),
    ),
    st.booleans(),
)
def test_h61_no_payload_raises_or_is_believed_beyond_its_bounds(
    topic: str, payload: bytes, retained: bool
) -> None:
    """Any bytes: a plausible reading, a word of the list, a total, or refused."""
    for found in said(topic, payload, retained=retained):
        if isinstance(found, Reading):
            probe = VIEW.probes[found.probe]
            assert probe.low <= found.value <= probe.high
            assert not retained
        elif isinstance(found, CounterSeen):
            assert 0 <= found.total_ul <= 2**53
        else:
            assert isinstance(
                found, SwitchSeen | SpoiledSwitch | SpoiledReading | Spoiled | Ignored
            )
