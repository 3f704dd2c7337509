"""Bytes of a file become text.

Floor 6. One subject: size and encoding. Laws here: no more is read than a report can
be; UTF-8 comes first, Windows-1252 (with Latin-1 inside it) second; what holds control
characters is no text and is refused with the line.
"""

import re
import stat
import unicodedata
from pathlib import Path
from typing import NoReturn

from slackwater.outside.lab.cells import refuse

# Sixty elements with every remark a laboratory may add fit into a twentieth of this.
REPORT_BYTES_AT_MOST = 1_048_576

_UTF8_MARK = b"\xef\xbb\xbf"
_OTHER_MARKS = (b"\xff\xfe", b"\xfe\xff")
_LINE_ENDS_AND_TABS = frozenset("\t\r\n")
_LINE_END = re.compile(r"\r\n?|\n")


def bytes_of(path: Path, at_most: int, noun: str) -> bytes:
    """The content of a plain file.

    Raises: InputError when it is missing, no plain file, unreadable, empty or larger
    than `at_most` bytes.
    """
    try:
        # Asked before it is opened: a pipe would keep us waiting for its writer.
        if not stat.S_ISREG(path.stat().st_mode):
            refuse(
                f"{path} is not a plain file", path.name, noun, "Name the file itself."
            )
        with path.open("rb") as file:
            content = file.read(at_most + 1)
    except OSError as error:
        refuse(
            f"{path} cannot be read ({error.strerror or type(error).__name__})",
            path.name,
            f"{noun} this user may read",
            "Check that the file exists and who may read it.",
        )
    if not content.strip():
        refuse("the file is empty", path.name, noun, "Check the file.")
    if len(content) > at_most:
        refuse(
            f"the file is larger than {at_most // 1024} KiB",
            path.name,
            f"{noun}, which is much smaller",
            "Check that this is the right file; cut out the one report if it is many.",
        )
    return content


def report_text(content: bytes, file: str) -> str:
    """The text of a report.

    Raises: InputError for another encoding or control characters, with the line.
    """
    if content.startswith(_OTHER_MARKS):
        refuse(
            "the file is UTF-16",
            file,
            "UTF-8, with or without a byte order mark, or Latin-1",
            "Save it again as CSV in UTF-8.",
        )
    bare = content.removeprefix(_UTF8_MARK)
    try:
        text = bare.decode("utf-8")
    except UnicodeDecodeError:
        text = _old_text(bare, file)
    _refuse_control(text, file)
    return unicodedata.normalize("NFC", text)


def utf8_of(content: bytes, file: str) -> str:
    """The text of a file that a person wrote for this program.

    Raises: InputError for anything but UTF-8, with the line.
    """
    try:
        text = content.removeprefix(_UTF8_MARK).decode("utf-8")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        refuse(
            f"byte 0x{content[error.start]:02x} in line {line} is not UTF-8",
            f"{file} line {line}",
            "UTF-8 text",
            "Save the file as UTF-8 and type the letter again.",
        )
    return unicodedata.normalize("NFC", text)


def first_unprintable(text: str) -> int | None:
    """Where the first character stands that belongs into no text; None for none."""
    for place, letter in enumerate(text):
        if letter in _LINE_ENDS_AND_TABS or letter.isprintable():
            continue
        # No-break and thin spaces do not print and are text all the same.
        if unicodedata.category(letter) != "Zs":
            return place
    return None


def _old_text(content: bytes, file: str) -> str:
    try:
        return content.decode("cp1252")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        _refuse_text(f"byte 0x{content[error.start]:02x}", file, line)


def _refuse_control(text: str, file: str) -> None:
    place = first_unprintable(text)
    if place is not None:
        line = len(_LINE_END.findall(text, 0, place)) + 1
        _refuse_text(f"character U+{ord(text[place]):04X}", file, line)


def _refuse_text(what: str, file: str, line: int) -> NoReturn:
    refuse(
        f"{what} does not belong into a text",
        f"{file} line {line}",
        "a report as plain text: CSV or JSON",
        "Export it as CSV; a spreadsheet or a PDF cannot be read.",
    )
