"""Events and states as canonical JSON text, and back.

Floor 6. One subject: the words a row is written in. Laws here: equal events give
equal bytes (keys sorted, no spaces, no NaN); a state keeps the order of its keys;
nothing is written that does not read back as the same record; what is read is checked
strictly, unknown fields and kinds are damage, never guessed at.
"""

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Annotated, TypeVar

from pydantic import Field, TypeAdapter
from pydantic_core import PydanticSerializationError, ValidationError

from slackwater.errors import Finding, InputError, LedgerDamagedError
from slackwater.facts.events import AnyEvent
from slackwater.facts.state import State

Record = TypeVar("Record")

# A reason, not a dump.
_WORDS_AT_MOST = 160


def encode(event: AnyEvent) -> str:
    """The canonical JSON text of one event.

    Raises: InputError when the event cannot be written as it stands (time not in
    UTC, a NaN, a value of another type than its field says).
    """
    if event.at.utcoffset() != timedelta(0):
        raise _unwritable(event, "its time is not an aware UTC time")
    text = _written(_events(), event, canonical)
    # Read back at once: an entry nobody can read again would hold every later start.
    try:
        again = decode(text)
    except LedgerDamagedError as error:
        (finding,) = error.findings
        raise _unwritable(event, finding.what) from error
    if again != event:
        raise _unwritable(event, "it reads back as something else")
    return text


def decode(text: str, where: str = "") -> AnyEvent:
    """The event a row's text stands for; `where` names the row in errors.

    Raises: LedgerDamagedError when the text is not canonical or not exactly one event.
    """
    return _read(_events(), text, where, canonical)


def dump_state(state: State) -> str:
    """The JSON text of a folded state, for a Checkpoint; keys stay in their order.

    Folding drops what came first, so the order in which keys came is part of a state.
    Raises: InputError when a value has another type than its field says.
    """
    return _written(_states(), state, _in_order)


def load_state(text: str) -> State:
    """The state a checkpoint carries, keys in the order they had.

    Raises: LedgerDamagedError when the text is not exactly what `dump_state` gives.
    """
    return _read(_states(), text, "the state of a checkpoint", _in_order)


def canonical(document: object) -> str:
    """JSON with sorted keys, no spaces, no NaN; floats in their shortest form.

    Raises: ValueError for a NaN or an infinity.
    """
    return _sorted().encode(document)


def _in_order(document: object) -> str:
    return _ordered().encode(document)


@cache
def _sorted() -> json.JSONEncoder:
    # Made once: `json.dumps` with other settings than its own makes one each time.
    return _encoder(sort_keys=True)


@cache
def _ordered() -> json.JSONEncoder:
    return _encoder(sort_keys=False)


def _encoder(*, sort_keys: bool) -> json.JSONEncoder:
    return json.JSONEncoder(
        sort_keys=sort_keys,
        separators=(",", ":"),
        ensure_ascii=False,
        allow_nan=False,
    )


def timestamp(when: datetime) -> str:
    """RFC 3339 in UTC, of one width, so that texts sort as times do."""
    in_utc = when.astimezone(UTC).replace(tzinfo=None)
    return in_utc.isoformat(timespec="microseconds") + "Z"


@cache
def _events() -> TypeAdapter[AnyEvent]:
    # Built when first needed: it takes tens of milliseconds and nothing happens at
    # import.
    return TypeAdapter(Annotated[AnyEvent, Field(discriminator="kind")])


@cache
def _states() -> TypeAdapter[State]:
    return TypeAdapter(State)


def _written(
    adapter: TypeAdapter[Record], record: Record, to_text: Callable[[object], str]
) -> str:
    try:
        document = adapter.dump_python(record, mode="json", warnings="error")
        text = to_text(document)
        # Lone surrogates pass json and fail only here.
        text.encode()
    except (PydanticSerializationError, TypeError, ValueError) as error:
        raise _unwritable(record, _in_one_line(str(error))) from error
    return text


def _read(
    adapter: TypeAdapter[Record],
    text: str,
    where: str,
    to_text: Callable[[object], str],
) -> Record:
    try:
        # The first reading: duplicate keys, NaN and odd spacing change the text.
        plain = to_text(json.loads(text)) == text
        record = adapter.validate_json(text, strict=True, extra="forbid")
    except ValidationError as error:
        raise _unreadable(_first_fault(error), where) from error
    except (ValueError, RecursionError) as error:
        raise _unreadable(_in_one_line(str(error)), where) from error
    if not plain:
        fault = "its text is not canonical JSON"
        raise _unreadable(fault, where)
    return record


def _first_fault(error: ValidationError) -> str:
    fault, *_ = error.errors()
    place = ".".join(str(part) for part in fault["loc"])
    return _in_one_line(f"{place}: {fault['msg']}" if place else fault["msg"])


def _in_one_line(words: str) -> str:
    return " ".join(words.split())[:_WORDS_AT_MOST]


def _unwritable(record: object, why: str) -> InputError:
    return InputError(
        Finding(
            what=f"a {type(record).__name__} cannot be written: {why}",
            where="",
            expected="a record whose values have the types of its fields, in UTC",
            do="Nothing was written; report this as a fault of the program.",
        )
    )


def _unreadable(why: str, where: str) -> LedgerDamagedError:
    return LedgerDamagedError(
        Finding(
            what=f"an entry cannot be read: {why}",
            where=where,
            expected="exactly one canonical record this version knows",
            do="Stop dosing by hand if needed; restore the ledger from a copy or "
            "install the version that wrote it.",
        )
    )
