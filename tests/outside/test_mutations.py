"""Hostile payloads raise nothing and are never believed wrongly."""

import json

import jsonschema
from hypothesis import example, given
from hypothesis import strategies as st

from slackwater.facts.messages import (
    SpoiledReading,
)
from slackwater.outside.wire import (
    Decoder,
    Heard,
    Ignored,
    Spoiled,
    schemas,
)
from tests.outside.samples import (
    BEAT,
    BEAT_AT,
    ENDED,
    NOW,
    READING,
    READING_AT,
    REQUEST,
    REQUEST_AT,
    RESULT_AT,
    ROOT,
    SIGNED_VIEW,
    changed,
    decode,
)

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
