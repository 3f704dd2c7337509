"""The program `slackwater`: words in, an exit code out.

Floor 8. One subject: choosing a verb and telling what came of it. Laws here: a verb is
loaded when it is asked for and help loads none; whatever happens is told as findings,
never as a traceback; exit code 0 fine, 1 refused or findings, 2 wrong usage or
configuration, or a fault.
"""

import gc
import os
import sys
from collections.abc import MutableMapping, Sequence
from contextlib import suppress
from importlib import import_module
from types import ModuleType
from typing import Any, NoReturn, cast

import click

from slackwater import __version__
from slackwater.cli.document import (
    REFUSED,
    WRONG,
    Answer,
    document_text,
    finding_text,
)
from slackwater.cli.guards import share_guards
from slackwater.cli.mistakes import failure, unusable
from slackwater.cli.shell import shared_options
from slackwater.cli.verbs import BY_NAME, PROGRAM, SECTIONS, VERBS
from slackwater.cli.width import error_columns, fitted, page_columns
from slackwater.errors import Finding

COMMANDS = "slackwater.cli.commands"
_JSON = "--json"
# What a shell sets while a word is typed; the name is click's.
_COMPLETE = f"_{PROGRAM.upper()}_COMPLETE"
_COMPLETING = "slackwater.cli.completing"
# structlog loads it, where it finds it, to draw tracebacks; a journal shows none drawn,
# and with what it loads in turn it takes 4 MiB.
_FOR_SCREENS = "rich"
# What stays is loaded floor by floor: what one floor gives back, the next one takes.
_FLOORS = (
    "slackwater.facts.fold",
    "slackwater.assessment.assess",
    "slackwater.turn.step",
)


class Program(click.Group):
    """The group of all verbs; tells every outcome itself."""

    def main(
        self,
        args: Sequence[str] | None = None,
        *_positional: object,
        **_extra: object,
    ) -> NoReturn:
        """Run one verb and end the process with its exit code."""
        words = list(sys.argv[1:] if args is None else args)
        answer = self._answer(words)
        try:
            _tell(answer, words)
        except BrokenPipeError:
            # The reader's choice: no error, and nothing more to print.
            _let_go()
        except OSError as error:
            _let_go()
            _tell_error(unusable(error, "standard output"))
            sys.exit(WRONG)
        sys.exit(answer.exit_code)

    def _answer(self, words: list[str]) -> Answer:
        asked = os.environ.get(_COMPLETE, "")
        try:
            if asked:
                code = _loaded(_COMPLETING).complete(self, asked)
                return Answer(raw=(), exit_code=code)
            given = super().main(words, PROGRAM, standalone_mode=False)
        except Exception as error:  # noqa: BLE001 -- the last resort: one clear error, no traceback
            if asked:
                # It would stand in the middle of the line that is being typed.
                return Answer(raw=(), exit_code=REFUSED)
            if isinstance(error, click.Abort):
                # The question still stands on the line.
                click.echo(err=True)
            return failure(error, words)
        if isinstance(given, Answer):
            return given
        return Answer(raw=(), exit_code=given if isinstance(given, int) else 0)

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The verbs in the order of the table."""
        del ctx
        return [verb.name for verb in VERBS]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Load one verb."""
        del ctx
        verb = BY_NAME.get(cmd_name)
        if verb is None:
            return None
        module = _loaded(f"{COMMANDS}.{verb.module}", stays=verb.stays)
        found = getattr(module, verb.attribute)
        return found if isinstance(found, click.Command) else None

    def format_commands(
        self, ctx: click.Context, formatter: click.HelpFormatter
    ) -> None:
        """Write the three sections from the table, loading nothing."""
        del ctx
        for section in SECTIONS:
            rows = [(v.name, v.purpose) for v in VERBS if v.section == section]
            if rows:
                with formatter.section(section):
                    formatter.write_dl(rows)


_CONTEXT: MutableMapping[str, Any] = {"help_option_names": ["-h", "--help"]}


@click.group(
    cls=Program,
    context_settings=_CONTEXT,
    epilog=(
        "`slackwater VERB --help` explains a verb, `slackwater manual` prints all of "
        "it as a manual page, and `slackwater completion` what makes a shell complete "
        "words. Stock solutions can burn skin and eyes: wear eye protection, never "
        "mix them; leave mains voltage beside salt water to an electrician; keep "
        "children away. The program advises and counts; a person decides."
    ),
)
@click.version_option(__version__, prog_name=PROGRAM)
@shared_options
def program() -> None:
    """Dose a reef aquarium by an approved plan.

    What is not approved is not dosed, and a missed dose is never made up.
    Begin with `slackwater setup`.
    """


def main() -> NoReturn:
    """Run the program on the words it was started with."""
    program.main()


def _loaded(name: str, *, stays: bool = False) -> ModuleType:
    """A verb's module, loaded in the quickest way, or in the smallest if it `stays`.

    What loading makes stays until the end, so searching it for rings of dead objects,
    while it is made, in the work after it and at the end, is a fifth of it for nothing.
    """
    if name in sys.modules:
        return sys.modules[name]
    was_on = gc.isenabled()
    gc.disable()
    try:
        module = _lean(name) if stays else import_module(name)
        gc.freeze()
    finally:
        if was_on:
            gc.enable()
    return module


def _lean(name: str) -> ModuleType:
    """A module without what only screens need, and without the litter of loading."""
    modules = cast("MutableMapping[str, ModuleType | None]", sys.modules)
    is_hidden = modules.setdefault(_FOR_SCREENS, None) is None
    try:
        for floor in (*_FLOORS, name):
            import_module(floor)
            share_guards(_own_modules())
            gc.collect()
    finally:
        if is_hidden:
            del modules[_FOR_SCREENS]
    return sys.modules[name]


def _own_modules() -> list[ModuleType]:
    return [module for name, module in sys.modules.items() if name.startswith(PROGRAM)]


def _tell(answer: Answer, words: Sequence[str]) -> None:
    if _JSON in words and answer.raw is None:
        click.echo(document_text(_command(words), answer))
        return
    if answer.raw is not None:
        for piece in answer.raw:
            click.echo(piece, nl=False)
    elif answer.text:
        click.echo(fitted(answer.text.rstrip("\n"), page_columns()))
    if sys.stdout is not None:  # closed before the start
        sys.stdout.flush()
    for finding in () if answer.is_told else answer.findings:
        _tell_error(finding)


def _tell_error(finding: Finding) -> None:
    text = f"error: {finding_text(finding)}"
    with suppress(OSError):  # nobody is left to tell
        click.echo(fitted(text, error_columns()), err=True)


def _let_go() -> None:
    """Keep the end of the process from writing to a reader that is gone."""
    with suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _command(words: Sequence[str]) -> str:
    return next((word for word in words if word in BY_NAME), PROGRAM)
