"""Validates one TOML table against its model and gathers everything that is wrong.

Floor 6. One subject: from plain tables to models, every error told. Laws here: all
findings of a file come out at once; a finding names file, table and key, what was
found and what is accepted; a key that nobody reads is an error.
"""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING, NoReturn, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails, PydanticCustomError

from slackwater.errors import Finding, InputError
from slackwater.outside.settings.examples import example_of

ID_PATTERN = re.compile(r"[a-z0-9-]{1,32}")
ID_EXPECTED = "1 to 32 of a-z, 0-9 and -"

# Longer texts are cut in messages: a pasted page must not hide the sentence.
SHOWN_CHARACTERS = 60

ModelT = TypeVar("ModelT", bound="TableModel")
ValueT = TypeVar("ValueT")


class UnreadError(Exception):
    """A value was asked for that was refused; what is wrong with it was noted."""


class TableModel(BaseModel):
    """One kind of table: strict types, no key that nobody reads."""

    model_config = ConfigDict(
        extra="forbid",
        strict=True,
        frozen=True,
        allow_inf_nan=False,
        arbitrary_types_allowed=True,
        # Those that only stand inside others are never validated by themselves.
        defer_build=True,
    )

    if not TYPE_CHECKING:  # or every attribute would seem to be there

        def __getattr__(self, name: str) -> NoReturn:
            """Only asked for what is not there: in a table read in part."""
            if name in type(self).model_fields:
                raise UnreadError(name)
            return super().__getattr__(name)


class Findings:
    """Collects what is wrong with one file, in the order it was noticed."""

    def __init__(self, file: str) -> None:
        """Start with nothing wrong in `file`."""
        self.file = file
        self._found: list[Finding] = []

    def add(self, table: str, what: str, expected: str, advice: str) -> None:
        """Note one thing; `table` reads `[pump.carbonate] rate`."""
        where = f"{self.file} {table}".rstrip()
        finding = Finding(what=what, where=where, expected=expected, do=advice)
        if finding not in self._found:
            self._found.append(finding)

    def adopt(self, table: str, error: InputError) -> None:
        """Take over what a lower floor found, told with our file and table."""
        for finding in error.findings:
            self.add(table, finding.what, finding.expected, finding.do)

    def attempt(self, place: str, read: Callable[[], ValueT]) -> ValueT | None:
        """What `read` gives, or None after noting why it refused."""
        try:
            return self.judge(read)
        except PydanticCustomError as error:
            told = error.context or {}
            self.add(place, str(told["what"]), str(told["expected"]), str(told["do"]))
        except InputError as error:
            self.adopt(place, error)
        return None

    def judge(self, judged: Callable[[], ValueT]) -> ValueT | None:
        """What `judged` gives, or None where it asked for what was refused before."""
        try:
            return judged()
        except UnreadError:
            return None

    @property
    def count(self) -> int:
        """How many things are wrong so far."""
        return len(self._found)

    @property
    def all(self) -> tuple[Finding, ...]:
        """Everything that is wrong so far, in the order it was noticed."""
        return tuple(self._found)

    def settled(self, value: ValueT | None) -> ValueT:
        """The value, when nothing is wrong with the file.

        Raises: InputError with everything found; a value that is None was noted.
        """
        if self._found or value is None:
            raise InputError(self._found)
        return value


def checked(
    model: type[ModelT],
    raw: object,
    table: str,
    findings: Findings,
    also: Iterable[str] = (),
) -> ModelT | None:
    """The table as its model, or None with everything wrong noted.

    `also` names keys that others read, told when an unknown one turns up.
    """
    if not isinstance(raw, dict):
        findings.add(
            table,
            f"found {shown(raw)}",
            "a table of keys",
            f"Write {table or 'the keys'} as a table.",
        )
        return None
    try:
        return model.model_validate(raw)
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            _note(_Spot.of(detail, model, also), detail, table, findings)
    return None


def named_tables(
    document: Mapping[str, object], kind: str, findings: Findings
) -> dict[str, object]:
    """The tables `[kind.*]` by their id, sorted; wrong ids are noted."""
    tables = document.get(kind, {})
    if not isinstance(tables, dict):
        findings.add(
            f"[{kind}]",
            f"found {shown(tables)}",
            f"tables named [{kind}.some-id]",
            f"Write [{kind}.some-id] and put the keys below it.",
        )
        return {}
    for identity in tables:
        if not ID_PATTERN.fullmatch(identity):
            findings.add(
                f"[{kind}.{shown(identity)}]",
                f"the id {shown(identity)} cannot be used",
                ID_EXPECTED,
                "Choose a shorter or plainer id; a name with any letters goes in name.",
            )
    return {
        identity: tables[identity]
        for identity in sorted(tables)
        if ID_PATTERN.fullmatch(identity)
    }


def suggestion(word: str, known: Iterable[str]) -> str:
    """`Did you mean "…"? ` for the nearest known word, else nothing."""
    near = get_close_matches(word, sorted(known), n=1, cutoff=0.6)
    return f'Did you mean "{near[0]}"? ' if near else ""


def shown(value: object) -> str:
    """A found value as it looks in the file, cut when long."""
    if isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, str):
        text = f'"{value}"'
    elif isinstance(value, dict):
        return "a table"
    elif isinstance(value, list):
        return "a list" if value else "an empty list"
    else:
        text = str(value)
    printable = "".join(mark if mark.isprintable() else "?" for mark in text)
    if len(printable) > SHOWN_CHARACTERS:
        return f"{printable[:SHOWN_CHARACTERS]}…"
    return printable


def listed(words: Iterable[str]) -> str:
    """Words joined by commas, or "none"."""
    return ", ".join(words) or "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Spot:
    """Where in a table an error is, and what its model says about the place."""

    path: str
    key: str
    field: FieldInfo | None
    siblings: tuple[str, ...]

    @classmethod
    def of(
        cls, detail: ErrorDetails, model: type[TableModel], also: Iterable[str]
    ) -> "_Spot":
        place = [str(part) for part in detail["loc"]]
        field, siblings = None, (*model.model_fields, *also)
        for part in place:
            own = model.model_fields.get(part)
            if own is None:
                continue
            field, siblings = own, tuple(model.model_fields)
            inner = inner_model(own)
            if inner is not None and part != place[-1]:
                model, siblings = inner, tuple(inner.model_fields)
        key = place[-1] if place else ""
        return cls(path=".".join(place), key=key, field=field, siblings=siblings)


def _note(spot: _Spot, detail: ErrorDetails, table: str, findings: Findings) -> None:
    where = f"{table} {spot.path}".strip()
    if detail["type"] == "extra_forbidden":
        findings.add(
            where,
            f"nobody reads the key {shown(spot.key)}",
            f"one of {listed(spot.siblings)}",
            f"{suggestion(spot.key, spot.siblings)}Remove it or mend its spelling.",
        )
    elif detail["type"] == "missing":
        findings.add(
            where,
            "the key is missing",
            described(spot.field, spot.key),
            f"Add a line like  {_example(spot)}",
        )
    else:
        context = detail.get("ctx", {})
        findings.add(
            where,
            str(context.get("what", f"found {shown(detail['input'])}")),
            str(context.get("expected", _plain_expectation(detail, spot.field))),
            str(
                context.get("do", f"Write it like  {_example(spot)}"),
            ),
        )


def inner_model(field: FieldInfo) -> type[TableModel] | None:
    """The table model inside a field such as `dict[str, CapTable]`."""
    waiting: list[object] = [field.annotation]
    while waiting:
        kind = waiting.pop()
        if isinstance(kind, type) and issubclass(kind, TableModel):
            return kind
        waiting.extend(getattr(kind, "__args__", ()))
    return None


def described(field: FieldInfo | None, key: str) -> str:
    """What a key is for, as its model says."""
    text = field.description if field and field.description else key
    return text[:1].lower() + text[1:]


def _example(spot: _Spot) -> str:
    return example_of(spot.field, spot.key, spot.path.split("."))


def _plain_expectation(detail: ErrorDetails, field: FieldInfo | None) -> str:
    kinds = {
        "string_type": "text in quotes",
        "int_type": "a whole number without quotes",
        "bool_type": "true or false without quotes",
        "list_type": "a list in [brackets]",
        "dict_type": "a table in {braces}",
        "model_type": "a table in {braces}",
        "date_type": "a date like 2026-05-03 without quotes",
        "date_from_datetime_inexact": "a date like 2026-05-03 without a time",
    }
    expected = kinds.get(detail["type"])
    if expected is not None:
        return expected
    message = detail["msg"]
    purpose = described(field, "")
    return f"{message[:1].lower()}{message[1:]}" + (f" ({purpose})" if purpose else "")
