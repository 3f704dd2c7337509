"""Volumes asked for in a dialogue.

Floor 8. One subject: asking once more. Laws here: questions go to standard error; a
person at a terminal who typed what cannot be read is told why and asked again, a script
is refused.
"""

import sys

import click

from slackwater.cli.document import finding_text
from slackwater.cli.typed import typed_ul
from slackwater.errors import InputError


def ask_ul(question: str, place: str) -> int:
    """The microlitres a person typed as an answer; `place` names it in an error.

    Raises: InputError for what is no volume, when nobody sits at a terminal.
    """
    while True:
        text = str(click.prompt(question, err=True)).strip()
        try:
            return typed_ul(text, place)
        except InputError as error:
            if not sys.stdin.isatty():
                raise
            for finding in error.findings:
                click.echo(finding_text(finding), err=True)
            click.echo("Once more, please.", err=True)
