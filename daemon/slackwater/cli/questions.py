"""Volumes asked for in a dialogue.

Floor 8. One subject: asking once more. Laws here: questions go to standard error; a
person at a terminal who typed what cannot be read is told why and asked again, a script
is refused.
"""

import sys
from collections.abc import Callable, Collection

import click

from slackwater.cli.document import finding_text
from slackwater.cli.typed import typed_ul
from slackwater.cli.width import error_columns, fitted
from slackwater.errors import InputError, SlackwaterError

Read = Callable[[str, str], int]


def ask_ul(question: str, place: str, read: Read = typed_ul) -> int:
    """The microlitres a person typed as an answer; `place` names it in an error.

    `read` turns text and place into microlitres.
    Raises: InputError for what is no volume, when nobody sits at a terminal.
    """
    while True:
        volume_ul = _read(_ask(question), place, read)
        if volume_ul is not None:
            return volume_ul


def ask_ul_or(
    question: str, place: str, words: Collection[str], read: Read = typed_ul
) -> int | None:
    """The same; None when one of the words was typed that stand for no volume.

    `words` are in lower case; a person may write them larger.

    Raises: InputError for what is no volume, when nobody sits at a terminal.
    """
    found = ask_word_or_ul(question, place, words, read)
    return None if isinstance(found, str) else found


def ask_word_or_ul(
    question: str, place: str, words: Collection[str], read: Read = typed_ul
) -> int | str:
    """The same; the word itself, in lower case, where one of them was typed.

    Raises: InputError for what is no volume, when nobody sits at a terminal.
    """
    while (text := _ask(question)).lower() not in words:
        volume_ul = _read(text, place, read)
        if volume_ul is not None:
            return volume_ul
    return text.lower()


def _ask(question: str) -> str:
    return str(click.prompt(fitted(question, error_columns()), err=True)).strip()


def _read(text: str, place: str, read: Read = typed_ul) -> int | None:
    """The microlitres of an answer; None when it is to be asked for again."""
    try:
        return read(text, place)
    except InputError as error:
        if not is_asked_again():
            raise
        tell_again(error)
    return None


def is_asked_again() -> bool:
    """Whether somebody sits there who can be asked once more."""
    return sys.stdin.isatty()


def tell_again(error: SlackwaterError) -> None:
    """Say what is wrong with an answer before it is asked for again."""
    for finding in error.findings:
        click.echo(fitted(finding_text(finding), error_columns()), err=True)
    click.echo("Once more, please.", err=True)
