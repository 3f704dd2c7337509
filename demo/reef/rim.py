"""Where files enter the invented reef.

Outside every floor; never imports Slackwater. One subject: a JSON file to a checked
record, or one error a person can act on. Laws here: unknown fields, repeated keys,
wrong types and numbers that are none are refused whole; the error names the file, the
field, what was expected and what to do.
"""

import json
import os
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

_FILE_BYTES_AT_MOST = 1_000_000


class ReefError(Exception):
    """The invented reef cannot start or go on; says so in four words for people."""

    def __init__(self, *, what: str, where: str, expected: str, remedy: str) -> None:
        super().__init__(f"{where}: {what}; expected {expected}. {remedy}")


class Record(BaseModel):
    """What all records from files share: strict, frozen, nothing unknown."""

    model_config = ConfigDict(
        strict=True, frozen=True, extra="forbid", allow_inf_nan=False
    )


Model = TypeVar("Model", bound=Record)


def read_file(path: Path) -> bytes:
    """The bytes of a file.

    Raises: ReefError when it cannot be read or is larger than any real one.
    """
    try:
        content = path.read_bytes()
    except OSError as error:
        found = error.strerror or "cannot be read"
        raise ReefError(
            what=found,
            where=str(path),
            expected="a readable file",
            remedy="Check --help.",
        ) from error
    if len(content) > _FILE_BYTES_AT_MOST:
        raise ReefError(
            what=f"{len(content)} bytes",
            where=str(path),
            expected=f"at most {_FILE_BYTES_AT_MOST}",
            remedy="Name the right file.",
        )
    return content


def read_record(content: bytes, model: type[Model], where: str) -> Model:
    """The record in these bytes.

    Raises: ReefError naming the first wrong field.
    """
    try:
        json.loads(content, object_pairs_hook=_without_repeats)
        return model.model_validate_json(content)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        field = ".".join(str(step) for step in first["loc"]) or "the whole"
        raise ReefError(
            what=f"{field}: {first['msg']}",
            where=where,
            expected="the form of the sample beside the program",
            remedy="Correct it; nothing was applied.",
        ) from error
    except (ValueError, RecursionError) as error:
        raise ReefError(
            what=f"not to be read ({error})",
            where=where,
            expected="one JSON object in UTF-8 without repeated keys",
            remedy="Correct it; nothing was applied.",
        ) from error


def write_whole(path: Path, document: dict[str, object]) -> None:
    """Replace a file in one step, so that a reader never sees half of it.

    Raises: ReefError when the folder cannot be written to.
    """
    draft = path.with_name(f".{path.name}.draft")
    try:
        draft.write_text(json.dumps(document, indent=1, sort_keys=True) + "\n")
        os.replace(draft, path)  # noqa: PTH105  # the name of the system call
    except OSError as error:
        found = error.strerror or "cannot be written"
        raise ReefError(
            what=found,
            where=str(path),
            expected="a folder to write to",
            remedy="Name another --delivered.",
        ) from error


def _without_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    names = [name for name, _ in pairs]
    repeated = [name for name in names if names.count(name) > 1]
    if repeated:
        message = f"{repeated[0]!r} stands twice"
        raise ValueError(message)
    return dict(pairs)
