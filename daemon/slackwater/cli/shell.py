"""What every verb is given: the two directories, and whether JSON is asked for.

Floor 8. One subject: the options all verbs share. Laws here: they may stand before the
verb or behind it, the later one counts; nothing is read from the environment.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from shlex import quote
from typing import TypeVar

import click

from slackwater.cli.document import Answer
from slackwater.cli.verbs import PROGRAM

CONFIG = Path("/etc/slackwater")
STATE = Path("/var/lib/slackwater")

FunctionT = TypeVar("FunctionT", bound=Callable[..., object])


# The library's words for a range of whole numbers, and ours.
_BETWEEN, _FROM = re.compile(r"(\d+)<=x<=(\d+)"), re.compile(r"x>=(\d+)")


def record_of(
    parameter: click.Parameter, context: click.Context
) -> tuple[str, str] | None:
    """An option and what help says of it, ranges in words; None for an argument."""
    found = parameter.get_help_record(context)
    if found is None or isinstance(parameter, click.Argument):
        return None
    label, text = found
    text = _BETWEEN.sub(r"\1 to \2", text)
    return label, _FROM.sub(r"\1 or more", text)


class _Verb(click.Command):
    """A verb whose help speaks plainly."""

    def format_options(
        self, ctx: click.Context, formatter: click.HelpFormatter
    ) -> None:
        found = (record_of(one, ctx) for one in self.get_params(ctx))
        with formatter.section("Options"):
            formatter.write_dl([one for one in found if one is not None])


@dataclass(slots=True)
class Shell:
    """Where things are; `json` when a document is asked for instead of text."""

    config: Path = CONFIG
    state: Path = STATE
    json: bool = False

    @property
    def program(self) -> str:
        """The program with the directories that are not where it looks by itself."""
        words = [PROGRAM]
        for option, place, usual in (
            ("--config", self.config, CONFIG),
            ("--state", self.state, STATE),
        ):
            if place != usual:
                words += [option, quote(str(place))]
        return " ".join(words)


def shared_options(function: FunctionT) -> FunctionT:
    """Add `--config`, `--state` and `--json` to a verb or to the program."""
    for add in (
        click.option(
            "--json",
            is_flag=True,
            default=None,
            expose_value=False,
            callback=_keep,
            help="Print one JSON document on standard output.",
        ),
        click.option(
            "--state",
            type=click.Path(path_type=Path, readable=False),
            metavar="DIR",
            expose_value=False,
            callback=_keep,
            help=f"Directory of the ledger  [default: {STATE}]",
        ),
        click.option(
            "--config",
            type=click.Path(path_type=Path, readable=False),
            metavar="DIR",
            expose_value=False,
            callback=_keep,
            help=f"Directory of the two files  [default: {CONFIG}]",
        ),
    ):
        function = add(function)
    return function


def verb(
    name: str, epilog: str = ""
) -> Callable[[Callable[..., Answer]], click.Command]:
    """Make a verb of a function that takes a Shell first and gives an Answer."""

    def made(function: Callable[..., Answer]) -> click.Command:
        passing = click.pass_obj(function)
        return click.command(name, cls=_Verb, epilog=epilog)(shared_options(passing))

    return made


def _keep(context: click.Context, parameter: click.Parameter, value: object) -> None:
    shell = context.ensure_object(Shell)
    if value is not None and parameter.name is not None:
        setattr(shell, parameter.name, value)
