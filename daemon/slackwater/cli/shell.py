"""What every verb is given: the two directories, and whether JSON is asked for.

Floor 8. One subject: the options all verbs share. Laws here: they may stand before the
verb or behind it, the later one counts; nothing is read from the environment.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import click

from slackwater.cli.document import Answer

CONFIG = Path("/etc/slackwater")
STATE = Path("/var/lib/slackwater")

FunctionT = TypeVar("FunctionT", bound=Callable[..., object])


@dataclass(slots=True)
class Shell:
    """Where things are; `json` when a document is asked for instead of text."""

    config: Path = CONFIG
    state: Path = STATE
    json: bool = False


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
        return click.command(name, epilog=epilog)(shared_options(passing))

    return made


def _keep(context: click.Context, parameter: click.Parameter, value: object) -> None:
    shell = context.ensure_object(Shell)
    if value is not None and parameter.name is not None:
        setattr(shell, parameter.name, value)
