"""Events and states survive their text, and nothing else is read."""

import json
from dataclasses import asdict, dataclass, replace
from datetime import UTC, date, datetime, timedelta, timezone
from typing import get_args

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from slackwater.errors import InputError, LedgerDamagedError
from slackwater.facts.alarms import StandingAlarm
from slackwater.facts.events import AnyEvent, ReadingKept
from slackwater.facts.fold import fold
from slackwater.facts.now import Mark
from slackwater.facts.reasons import Code, Figure, Reason
from slackwater.facts.rolling import Rolling
from slackwater.facts.state import ClosedDose, Flow, OpenDose, State
from slackwater.ledger.codec import (
    canonical,
    decode,
    dump_state,
    encode,
    load_state,
    timestamp,
)
from tests.ledger.samples import (
    DAY,
    NOON,
    alarmed,
    approved,
    intended,
    kept,
    made,
    of_every_kind,
    started,
)
from tests.ledger.water_samples import measured, of_the_water

KINDS = (*of_every_kind(), *of_the_water())

FIGURES: st.SearchStrategy[Figure] = st.one_of(
    st.text(), st.integers(), st.floats(allow_nan=False, allow_infinity=False),
    st.booleans(), st.none(),
)  # fmt: skip


def rich_state() -> State:
    """A state with something in every kind of place."""
    return State(
        mark=Mark(utc=NOON, boot_s=1.5, boot_id="boot-1", proven_ms=7),
        newest_at=NOON,
        unclean_starts=[NOON, NOON + timedelta(seconds=1)],
        approvals=[approved()],
        open={"a" * 32: OpenDose(intent=intended(), taken=True)},
        closed={
            "b" * 32: ClosedDose(
                pump="left",
                node="shelf",
                tank="reef",
                asked_ul=5,
                charge_ul=6,
                believed_ul=4,
                effects={"alkalinity": 9},
                local_day=DAY,
                in_water=True,
                proven_ms=3,
                sealed=False,
            )
        },
        charges={"pump/left": Rolling([(1, 2, "x"), (3, 4, "y")], 6)},
        days={"pump/left": {date(2026, 5, 4): 2, DAY: 1}},
        hours={"reef": {99: 1, 100: 2, 1000: 3}},
        flows={"left": Flow(tank="reef", solution="carbonate", end_ms=5)},
        readings={"probe-1": [kept(1), kept(2)]},
        heard_requests={"ask-1": NOON},
        levels={"reef/phosphate": measured()},
        levels_older={"reef/phosphate": [measured()]},
        alarms={
            "node-absent.shelf": StandingAlarm(
                first=alarmed(), raised=alarmed(), word="suppressed", until=NOON
            )
        },
        told_ms=[1, 2],
    )


def numbers(document: object) -> list[object]:
    """Whatever stands at the leaves of a document."""
    if isinstance(document, dict):
        document = list(document.values())
    if isinstance(document, list):
        return [leaf for part in document for leaf in numbers(part)]
    return [document]


def test_samples_hold_every_kind_there_is() -> None:
    """The round trip below leaves no kind of entry out."""
    assert set(get_args(AnyEvent)) == {type(event) for event in KINDS}


@pytest.mark.parametrize("event", KINDS, ids=lambda event: event.kind)
def test_every_kind_of_entry_reads_back_as_itself(event: AnyEvent) -> None:
    """Text and back gives an equal record of the same class."""
    again = decode(encode(event))

    assert (type(event), event) == (type(again), again)


@pytest.mark.parametrize("event", KINDS, ids=lambda event: event.kind)
def test_an_entry_means_what_canonical_json_says(event: AnyEvent) -> None:
    """RFC 8785 (rfc8785, reference library) reads the same document."""
    text = encode(event)

    assert json.loads(rfc8785.dumps(json.loads(text))) == json.loads(text)
    # Where every number is whole, the two texts are equal byte for byte.
    if not any(isinstance(value, float) for value in numbers(json.loads(text))):
        assert rfc8785.dumps(json.loads(text)) == text.encode()


@given(value=st.floats(allow_nan=False, allow_infinity=False))
def test_every_number_of_a_reading_reads_back_exactly(value: float) -> None:
    """Floats keep every bit."""
    event = replace(kept(), value=value)

    assert event == decode(encode(event))


@given(figures=st.dictionaries(st.text(), FIGURES))
def test_figures_of_a_reason_keep_value_and_type(figures: dict[str, Figure]) -> None:
    """A truth stays a truth, a whole number a whole number."""
    reason = Reason(code=Code.CAP_DAY, figures=figures)
    event = replace(intended(), reasons=(reason,))
    again = decode(encode(event))

    assert event == again
    assert {name: type(value) for name, value in figures.items()} == {
        name: type(value) for name, value in again.reasons[0].figures.items()
    }  # fmt: skip


@given(when=st.datetimes(timezones=st.just(UTC)))
def test_every_utc_time_reads_back_and_sorts_as_text(when: datetime) -> None:
    """Entry times are of one width, to the microsecond."""
    event = replace(kept(), at=when)

    assert event == decode(encode(event))
    assert when == datetime.fromisoformat(timestamp(when))
    assert (timestamp(when) < timestamp(NOON)) == (when < NOON)


def test_order_of_keys_makes_no_difference_to_an_entry() -> None:
    """Equal events give equal bytes."""
    one = replace(made(), dosed_ul={"left": 1, "right": 2})
    other = replace(made(), dosed_ul={"right": 2, "left": 1})

    assert encode(one) == encode(other)


@pytest.mark.parametrize(
    "event",
    [
        replace(kept(), value=float("nan")),
        replace(kept(), value=float("inf")),
        replace(kept(), at=NOON.replace(tzinfo=None)),
        replace(kept(), at=NOON.astimezone(timezone(timedelta(hours=2)))),
        replace(kept(), taken_at=None),  # type: ignore[arg-type]  # the point
        replace(made(), dosed_ul={"left": 1.5}),  # type: ignore[dict-item]  # the point
        replace(made(), by="\ud800"),
        replace(made(), effects=object()),  # type: ignore[arg-type]  # the point
        replace(started(), mode="test"),  # type: ignore[arg-type]  # the point
    ],
)
def test_what_would_not_read_back_is_not_written(event: AnyEvent) -> None:
    """A wrong value is refused before it reaches the file."""
    with pytest.raises(InputError, match="cannot be written"):
        encode(event)


def good() -> dict[str, object]:
    """A readable entry as a document."""
    document = json.loads(encode(kept()))
    assert isinstance(document, dict)
    return document


@pytest.mark.parametrize(
    "text",
    [
        "",
        "null",
        "[]",
        "[" * 100_000,
        encode(kept()).replace(":", ": ", 1),
        encode(kept())[:-1] + ',"value":2.9173}',
        encode(kept()).replace("2.9173", "NaN"),
        encode(kept()).replace("2.9173", "1e400"),
        encode(kept()).replace("2.9173", '"2.9173"'),
        canonical({**good(), "extra": 1}),
        canonical({**good(), "kind": "reading_lost"}),
        canonical({k: v for k, v in good().items() if k != "kind"}),
        canonical({k: v for k, v in good().items() if k != "tank"}),
        canonical({**good(), "tank": 5}),
        canonical({**good(), "proven_ms": True}),
    ],
)
def test_anything_but_one_canonical_known_entry_is_damage(text: str) -> None:
    """No field is guessed, dropped or turned into another type."""
    with pytest.raises(LedgerDamagedError, match="cannot be read"):
        decode(text, "entry 5")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (canonical({**good(), "tank": 5, "value": "x"}), "reading_kept.tank: Input "),
        ("[]", "Input should be an object"),
        ("", "Expecting value: line 1 column 1"),
        ("{}x", "Extra data: line 1 column 3"),
    ],
)
def test_damage_is_told_by_its_first_fault_and_its_place(text: str, said: str) -> None:
    """Where in the entry, if there is a place, and in which entry."""
    with pytest.raises(LedgerDamagedError) as caught:
        decode(text, "x, entry 5")

    (finding,) = caught.value.findings
    assert finding.what.startswith(f"an entry cannot be read: {said}")
    assert "x, entry 5" == finding.where


def test_a_reason_is_no_dump() -> None:
    """Two lines of a terminal (80 characters each, common practice) are enough."""
    unknown = canonical({**good(), "kind": "reading_lost"})
    wrong = replace(kept(), tank=5, probe=6, parameter=7)  # type: ignore[arg-type]  # the point
    with pytest.raises(LedgerDamagedError) as read:
        decode(unknown)
    with pytest.raises(InputError) as written:
        encode(wrong)
    reasons = [
        caught.value.findings[0].what.partition(": ")[2] for caught in (read, written)
    ]

    assert [160, 160] == [len(reason) for reason in reasons]
    assert [False, False] == ["\n" in reason for reason in reasons]


@dataclass(frozen=True, slots=True, kw_only=True)
class Later(ReadingKept):
    """A reading as a later version may know it."""

    depth_m: float = 0.3


def test_an_entry_that_reads_back_otherwise_is_not_written() -> None:
    """A field this version has no room for would be lost."""
    later = Later(**asdict(kept()))
    with pytest.raises(InputError, match="it reads back as something else"):
        encode(later)


def test_a_state_that_cannot_be_written_is_no_checkpoint() -> None:
    """Half a letter is no text (RFC 8259, 8.2), nor is a number one."""
    for wrong in ("\ud800", 5):
        with pytest.raises(InputError, match="a State cannot be written"):
            dump_state(replace(rich_state(), ledger_id=wrong))  # type: ignore[arg-type]  # the point


def test_an_unknown_field_deep_inside_is_damage() -> None:
    """Strictness holds in nested records too."""
    document = json.loads(encode(intended()))
    document["command"]["speed"] = 2

    with pytest.raises(LedgerDamagedError, match=r"command\.speed"):
        decode(canonical(document))


def test_a_rich_state_survives_its_text() -> None:
    """Every container and record of a state comes back equal."""
    state = rich_state()

    assert state == load_state(dump_state(state))


def test_a_state_keeps_the_order_of_its_keys() -> None:
    """Folding drops what came first, so order is part of the state."""
    again = load_state(dump_state(rich_state()))

    assert list(again.hours["reef"]) == [99, 100, 1000]
    assert [date(2026, 5, 4), DAY] == list(again.days["pump/left"])


def test_a_state_goes_on_folding_after_its_text_as_before() -> None:
    """A start from a checkpoint ends where an uninterrupted run ends."""
    straight, resumed = State(), State()
    events: tuple[AnyEvent, ...] = (made(), started(), intended(), kept(50))
    for number, event in enumerate(events):
        fold(straight, event)
        fold(resumed, event)
        if number == 2:
            resumed = load_state(dump_state(resumed))

    assert dump_state(straight) == dump_state(resumed)


def test_a_checkpoint_of_an_earlier_version_is_not_damage() -> None:
    """What a state did not have yet starts empty; all it had is there."""
    document = json.loads(dump_state(rich_state()))
    for name in ("levels", "levels_older", "changes", "tasks"):
        del document[name]
    text = json.dumps(document, separators=(",", ":"), ensure_ascii=False)

    assert replace(rich_state(), levels={}, levels_older={}) == load_state(text)


@pytest.mark.parametrize("text", ["", "{}x", "[]", '{"surprise":1}', '{"fence":"1"}'])
def test_anything_but_a_state_is_damage(text: str) -> None:
    """A checkpoint is read as strictly as an entry."""
    with pytest.raises(LedgerDamagedError):
        load_state(text)
