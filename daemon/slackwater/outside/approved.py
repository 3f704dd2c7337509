"""The approved bytes: machine and plan in one canonical text, and their digest.

Floor 6. One subject: canonical text of records. Laws here: the same meaning gives the
same bytes and any other meaning other bytes; every number is a decimal string, so no
reader rounds it; text that is not canonical is refused, so what runs is what was
approved.
Source: RFC 8785 (JSON Canonicalization Scheme); Unicode normalisation form C.
"""

import hashlib
import json
import math
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from typing import TypeAlias, TypeVar

import rfc8785
from pydantic import TypeAdapter, ValidationError

from slackwater.errors import Finding, InputError
from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine

# Stands first in the digest: other bytes for another purpose never match.
PURPOSE = b"slackwater approval 1\n"

RecordT = TypeVar("RecordT", Machine, Plan)
Tree: TypeAlias = Mapping[str, "Tree"] | Sequence["Tree"] | str | bool | None


def machine_text(machine: Machine) -> str:
    """Canonical JSON of the machine.

    Raises: InputError when a number in it is not finite.
    """
    return _text(machine, _machine_adapter())


def machine_from(text: str) -> Machine:
    """The machine that `machine_text` wrote down.

    Raises: InputError when the text is not canonical or not a machine.
    """
    return _record(text, _machine_adapter(), "the approved machine")


def plan_text(plan: Plan) -> str:
    """Canonical JSON of the plan.

    Raises: InputError when a number in it is not finite.
    """
    return _text(plan, _plan_adapter())


def plan_from(text: str) -> Plan:
    """The plan that `plan_text` wrote down.

    Raises: InputError when the text is not canonical or not a plan.
    """
    return _record(text, _plan_adapter(), "the approved plan")


def digest(machine: Machine, plan: Plan, table_lines: Iterable[bytes]) -> str:
    """SHA-256 in hex over machine, plan and dose table.

    Shape: `table_lines` in the order of the table, each without its line end; may be
    a stream. Raises: InputError when a line holds a line end.
    """
    total = hashlib.sha256(PURPOSE)
    for text in (machine_text(machine), plan_text(plan)):
        total.update(text.encode() + b"\n")
    for line in table_lines:
        if b"\n" in line:
            raise InputError(
                Finding(
                    what="a line of the dose table holds a line end",
                    where="dose table",
                    expected="one dose a line",
                    do="Report this: the program wrote a wrong table.",
                )
            )
        total.update(line + b"\n")
    return total.hexdigest()


def table_digest(table_lines: Iterable[bytes]) -> str:
    """SHA-256 in hex over the dose table alone, each line with its line end."""
    total = hashlib.sha256()
    for line in table_lines:
        total.update(line + b"\n")
    return total.hexdigest()


@cache
def _machine_adapter() -> TypeAdapter[Machine]:
    return TypeAdapter(Machine)


@cache
def _plan_adapter() -> TypeAdapter[Plan]:
    return TypeAdapter(Plan)


def _text(record: RecordT, adapter: TypeAdapter[RecordT]) -> str:
    tree = _canonical(adapter.dump_python(record, mode="json"), "")
    # Of ASCII text without a bare number both writers make the same bytes, this one
    # ten times as fast; they part in the order of rare keys alone.
    text = json.dumps(tree, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return text if text.isascii() else rfc8785.dumps(tree).decode()


def _canonical(value: object, where: str) -> Tree:
    match value:
        case dict():
            return {
                unicodedata.normalize("NFC", str(key)): _canonical(
                    item, f"{where} {key}".strip()
                )
                for key, item in value.items()
            }
        case list() | tuple():
            return [_canonical(item, where) for item in value]
        case str():
            return unicodedata.normalize("NFC", value)
        case bool() | None:
            return value
        case int():
            return str(value)
        case float() if math.isfinite(value):
            # -0.0 and 0.0 are one number and must be one text.
            return repr(value + 0.0)
    raise InputError(
        Finding(
            what=f"{value} is not a finite number",
            where=where,
            expected="numbers that can be written down",
            do="Mend the configuration.",
        )
    )


def _record(text: str, adapter: TypeAdapter[RecordT], where: str) -> RecordT:
    try:
        record = adapter.validate_json(text, extra="forbid")
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(str(part) for part in first["loc"])
        raise InputError(_not_canonical(where, f"{place}: {first['msg']}")) from error
    written = _text(record, adapter)
    if written == text:
        return record
    if not _says(json.loads(text), json.loads(written)):
        raise InputError(_not_canonical(where, "the text is not in canonical form"))
    if rfc8785.dumps(json.loads(text)).decode() != text:
        raise InputError(_not_canonical(where, "the text is not in canonical form"))
    return record


def _says(text: object, record: object) -> bool:
    """Whether a text says all of a record but for fields that came after it.

    An approval outlives the version that wrote it: a field it does not know stands at
    its default, which must mean what the older version did.
    """
    if isinstance(text, dict) and isinstance(record, dict):
        known = text.keys() <= record.keys()
        return known and all(_says(text[key], record[key]) for key in text)
    if isinstance(text, list) and isinstance(record, list):
        pairs = zip(text, record, strict=False)
        return len(text) == len(record) and all(_says(*pair) for pair in pairs)
    return text == record


def _not_canonical(where: str, what: str) -> Finding:
    return Finding(
        what=what,
        where=where,
        expected="exactly the bytes that were approved",
        do="Run a rehearsal of the present files and approve anew.",
    )
