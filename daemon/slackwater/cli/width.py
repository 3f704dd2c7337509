"""How wide a page is, and prose fitted to it.

Floor 8. One subject: lines that do not run off the screen. Laws here: nothing is ever
cut off, it goes on in the next line; a step to type is left whole, for a terminal
breaks it so that it can be copied; where there is no terminal and nobody states a
width, a line is as long as it needs to be, so that a search finds whole lines.
"""

import os
import re
import sys
from textwrap import fill
from typing import TextIO

# Narrower than this nothing can be read; a terminal may say 0.
NARROWEST = 40
SCREEN = 80
# A word or three and two spaces or more behind them, then what they stand for.
_LABEL = re.compile(r" *\S+(?: \S+){0,2}  +")
LONGEST_LABEL = 20
# A step that names directories: broken before its verb it would be two commands.
_STEP = re.compile(r" *(?:[0-9]+\. )?slackwater --(?:config|state) ")


def page_columns() -> int | None:
    """Columns of standard output; None where there is no terminal and no COLUMNS."""
    return _columns(sys.stdout)


def error_columns() -> int | None:
    """The same of standard error, where questions and errors go."""
    return _columns(sys.stderr)


def _columns(stream: TextIO | None) -> int | None:
    stated = os.environ.get("COLUMNS", "")
    if stated.isdecimal() and int(stated):
        return max(int(stated), NARROWEST)
    try:
        # A stream that was closed before the start is None.
        found = os.get_terminal_size(stream.fileno()).columns if stream else 0
    except (OSError, ValueError):
        return None
    return max(found, NARROWEST) if found else None


def within(most: int) -> int:
    """Columns for prose that breaks its own lines: so many, or the screen's if less."""
    columns = page_columns()
    return most if columns is None else min(most, columns)


def fitted(text: str, columns: int | None) -> str:
    """The text with every line within the columns; nothing changes without any.

    What goes on in the next line stands below its own column where a line begins with
    a short label, such as "  found     ", and two further in where it does not.
    """
    if columns is None:
        return text
    return "\n".join(
        line if len(line) <= columns or _STEP.match(line) else _wrapped(line, columns)
        for line in text.split("\n")
    )


def _wrapped(line: str, columns: int) -> str:
    words = line.lstrip(" ")
    indent = len(line) - len(words)
    label = _LABEL.match(line)
    hang = label.end() if label and label.end() <= LONGEST_LABEL else indent + 2
    return fill(
        words,
        columns,
        initial_indent=" " * indent,
        subsequent_indent=" " * hang,
        break_on_hyphens=False,
    )
