"""Writes the page where a person asked for it.

Floor 8. One subject: one file, whole or not at all. Laws here: only a page of our own
is written over; anything else that stands there is left as it is.
"""

from contextlib import suppress
from pathlib import Path

from slackwater.cli.report.page import MARK
from slackwater.errors import Finding, InputError


def write_page(path: Path, text: str, mark: str = MARK) -> None:
    """Write the page, in the place of an older one if there is one.

    `mark` stands in every page of the kind that may be written over.
    Raises: InputError when something else stands there or it cannot be written.
    """
    if not path.name:
        raise InputError(_nameless(path))
    part = path.with_name(f"{path.name}.part")
    try:
        if path.exists() and mark not in path.read_text("utf-8", errors="replace"):
            raise InputError(_foreign(path))
        part.write_text(text, encoding="utf-8")
        part.replace(path)
    except OSError as error:
        with suppress(OSError):
            part.unlink()
        raise InputError(
            Finding(
                what=f"it cannot be written: {error.strerror}",
                where=str(path),
                expected="a place for a file",
                do="Choose another place, or mend its permissions.",
            )
        ) from error


def _nameless(path: Path) -> Finding:
    return Finding(
        what="that is no name of a file",
        where=str(path),
        expected="a file name like report.html",
        do="Give the page a name; nothing was written.",
    )


def _foreign(path: Path) -> Finding:
    return Finding(
        what="something else than a report stands there already",
        where=str(path),
        expected="a new file name, or an older report",
        do="Choose another name; nothing was written.",
    )
