"""Volumes, places and short texts typed by people.

Floor 8. One subject: reading what is typed. Laws here: a volume has a unit and is read
by the settings' own reader, so that one spelling means one thing everywhere; a text is
one line and short, because every start reads it again.
"""

from secrets import token_hex
from urllib.parse import urlsplit

from slackwater.errors import Finding, InputError
from slackwater.outside.settings.quantities import Volume
from slackwater.outside.settings.tables import Findings

TYPED = Volume("0 mL", "1000 L")
NOTE_AT_MOST = 200
WORD_AT_MOST = 40


def typed_ul(text: str, place: str) -> int:
    """The microlitres of a typed volume.

    Raises: InputError naming the place, what was found and what is accepted.
    """
    findings = Findings(place)
    return findings.settled(findings.attempt("", lambda: _read_ul(text)))


def _read_ul(text: str) -> int:
    return int(TYPED.read(text))


def host_and_port(text: str) -> tuple[str, int] | None:
    """The two parts of HOST:PORT, or of [ADDRESS]:PORT with colons inside.

    None for anything else. Source: RFC 3986, 3.2.2 and 3.2.3.
    """
    try:
        parts = urlsplit(f"//{text}")
        host, port = parts.hostname, parts.port
    except ValueError:
        return None
    odd = "@" in text or any(letter.isspace() for letter in text)
    if odd or not host or not port or parts.netloc != text:
        return None
    return host, port


def typed_text(text: str, place: str, most: int = NOTE_AT_MOST) -> str:
    """A text on one line, its spaces made single.

    Raises: InputError when it is longer or holds what cannot be printed.
    """
    line = " ".join(text.split())
    if len(line) <= most and line.isprintable():
        return line
    raise InputError(
        Finding(
            what=f"the text has {len(line)} characters or holds what cannot be printed",
            where=place,
            expected=f"at most {most} printable characters",
            do="Make it shorter; nothing was written.",
        )
    )


def typed_name(text: str | None, place: str) -> str:
    """A short name; "" where the option was not given at all.

    Raises: InputError as `typed_text`, and for a name that is given and empty.
    """
    if text is None:
        return ""
    if name := typed_text(text, place, WORD_AT_MOST):
        return name
    raise InputError(
        Finding(
            what="the name is empty",
            where=place,
            expected=f"a name of up to {WORD_AT_MOST} characters",
            do=f"Give the name, or leave {place} out; nothing was written.",
        )
    )


def kept_text(text: str, most: int = NOTE_AT_MOST) -> str:
    """A text as it can be kept: one line, printable, not too long; never refused.

    For what makes things safer, and must not fail for a word about it.
    """
    line = " ".join(text.split())
    return "".join(letter for letter in line if letter.isprintable())[:most]


def new_id(letter: str) -> str:
    """A short name for an entry, so that a later one can refer to it."""
    return f"{letter}-{token_hex(5)}"
