"""Reads a configuration file from disk into plain TOML tables.

Floor 6. One subject: bytes of one file. Laws here: a file is refused whole; what is
wrong with its encoding or grammar is told with the line; text is NFC from here on, so
two ways of typing one letter are one letter; nothing is guessed.
"""

import hashlib
import re
import tomllib
import unicodedata
from pathlib import Path

from slackwater.errors import Finding, InputError

MACHINE_FILE = "slackwater.toml"
PLAN_FILE = "plan.toml"
FILES = (MACHINE_FILE, PLAN_FILE)

# A hundred pumps fit into a tenth of this; more is not a configuration.
LARGEST_BYTES = 262_144

_BYTE_ORDER_MARKS = (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")
_REPEATED = re.compile(r"overwrite|twice|Duplicate|immutable")

# A key of 32 bytes in hex. Source: RFC 2104, section 3.
_KEY_DIGITS = 64
_KEY = re.compile(rb"([0-9a-fA-F]{64})\r?\n?")

Table = dict[str, object]


def read_document(directory: Path, name: str) -> Table:
    """The tables of one file of the configuration directory.

    Raises: InputError when the directory or file is missing, unreadable, too large,
    not UTF-8, or not TOML (a key written twice included).
    """
    text = _decoded(name, _bytes_of(directory, name))
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(_grammar_finding(name, error)) from error


def file_digests(directory: Path) -> dict[str, str]:
    """SHA-256 of the bytes of each configuration file, by file name, in hex.

    Raises: InputError when the directory or a file is missing or unreadable.
    """
    return {
        name: hashlib.sha256(_bytes_of(directory, name)).hexdigest() for name in FILES
    }


def handed_over(
    directory: Path, credentials: Path | None, name: str | None
) -> Path | None:
    """Where a secret is read: as handed over by the service manager, else as named."""
    if name is None:
        return None
    handed = None if credentials is None else credentials / Path(name).name
    return handed if handed is not None and handed.exists() else directory / name


def read_key(path: Path, where: str) -> bytes:
    """A node's key from a file of 64 hex digits.

    Raises: InputError when the file cannot be read or holds anything else.
    """
    try:
        with path.open("rb") as file:
            content = file.read(_KEY_DIGITS + 2)
    except OSError as error:
        raise InputError(_unreadable(where, path, error)) from error
    match = _KEY.fullmatch(content)
    if match is None:
        raise InputError(
            Finding(
                what=f"{path} does not hold a key",
                where=where,
                expected=f"one line of {_KEY_DIGITS} hex digits",
                do="Write the key there that was given to the node.",
            )
        )
    return bytes.fromhex(match[1].decode())


_NEW = (
    "On a new machine `slackwater setup` writes both files by asking; or copy one of "
    "the samples."
)


def _bytes_of(directory: Path, name: str) -> bytes:
    if not directory.is_dir():
        raise InputError(
            Finding(
                what=f"there is no directory {directory}",
                where=name,
                expected=f"a directory that holds {MACHINE_FILE} and {PLAN_FILE}",
                do=f"Name it with --config DIR. {_NEW}",
            )
        )
    path = directory / name
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise InputError(_unreadable(name, path, error)) from error
    if len(content) > LARGEST_BYTES:
        raise InputError(
            Finding(
                what=f"the file is larger than {LARGEST_BYTES // 1024} KiB",
                where=name,
                expected="a configuration written by hand",
                do="Check that this is the right file.",
            )
        )
    return content


def _decoded(name: str, content: bytes) -> str:
    if content.startswith(_BYTE_ORDER_MARKS):
        raise InputError(
            Finding(
                what="the file begins with a byte order mark",
                where=name,
                expected="plain UTF-8 text",
                do="Save it again as UTF-8 without a byte order mark.",
            )
        )
    try:
        return unicodedata.normalize("NFC", content.decode("utf-8"))
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise InputError(
            Finding(
                what=f"byte 0x{content[error.start]:02x} in line {line} is not UTF-8",
                where=name,
                expected="UTF-8 text",
                do="Save the file as UTF-8 (not Latin-1) and type the letter again.",
            )
        ) from error


def _grammar_finding(name: str, error: Exception) -> Finding:
    if isinstance(error, RecursionError):
        what = "brackets are nested too deeply"
    elif isinstance(error, tomllib.TOMLDecodeError):
        what = str(error)
    else:
        what = "a number is too long to read"
    if _REPEATED.search(what):
        return Finding(
            what=f"a key or table stands there twice ({what})",
            where=name,
            expected="each key and each table once",
            do="Remove one of the two.",
        )
    return Finding(
        what=f"the text is not TOML ({what})",
        where=name,
        expected='lines like  key = "value"  under a [table]',
        do="Mend the line named, or the one before it.",
    )


def _unreadable(where: str, path: Path, error: OSError) -> Finding:
    return Finding(
        what=f"{path} cannot be read ({error.strerror or type(error).__name__})",
        where=where,
        expected="a file this user may read",
        do="Check that the file exists and who may read it."
        + (f" {_NEW}" if path.name in {MACHINE_FILE, PLAN_FILE} else ""),
    )
